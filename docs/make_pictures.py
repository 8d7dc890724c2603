"""``make pictures``: the pictures of the README and the guides, from the program as it is.

The panel's faces are drawn by the panel's own code.  The page is the demo's own page in a real
browser at a phone's size, after the fader has been pushed until the practice stage howls.  The room
After is the page's own too; the gig in it is the tests' invented one.
"""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import tempfile
import time
from datetime import UTC
from pathlib import Path

from PIL import Image

from firmware.example_faces import EXAMPLE_FACES
from firmware.faces import draw_face
from monitor.link.client import LinkClient
from monitor.placing.drawing import plan_picture
from monitor.placing.picture_file import write_png
from monitor.placing.reckon import reckon
from monitor.placing.stage_file import EXAMPLE, read_stage
from monitor.report.pictures import gig_png
from tests.browser import browser, screenshot
from tests.report.made_gig import record
from tests.web.kept import HERON, KeptClient
from tests.web.screenshots import page_server

PICTURES = Path(__file__).parent / "pictures"
SHOWN_FACES = (
    "starting",
    "quiet",
    "ringing-depth",
    "howl-depth",
    "several-share",
    "deaf-no-microphone",
)
SCALE = 2
GAP_PIXELS = 12
PHONE_PIXELS = (390, 844)
STEP_DB = 1.0
STEP_S = 0.5
PATIENCE_S = 120.0


def faces_sheet() -> Image.Image:
    """Return the six faces, two in a row, as large pixels on dark grey."""
    tiles = [
        draw_face(EXAMPLE_FACES[name]).convert("RGB").resize((128 * SCALE, 64 * SCALE), 0)
        for name in SHOWN_FACES
    ]
    columns = 2
    rows = -(-len(tiles) // columns)
    width, height = tiles[0].size
    sheet = Image.new(
        "RGB",
        (GAP_PIXELS + columns * (width + GAP_PIXELS), GAP_PIXELS + rows * (height + GAP_PIXELS)),
        (48, 48, 48),
    )
    for index, tile in enumerate(tiles):
        row, column = divmod(index, columns)
        left = GAP_PIXELS + column * (width + GAP_PIXELS)
        sheet.paste(tile, (left, GAP_PIXELS + row * (height + GAP_PIXELS)))
    return sheet


def push_until_howl(client: LinkClient) -> None:
    """Push the demo's fader, a decibel at a time, until the lantern is sure.

    Raises
    ------
    TimeoutError
        If it does not howl within ``PATIENCE_S``.
    """
    end_mono_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < end_mono_s:
        time.sleep(STEP_S)
        if client.latest is None:
            continue
        snapshot = client.latest.snapshot
        if snapshot["state"] == "howl":
            return
        stage = snapshot["stage"]
        if snapshot["state"] == "quiet" and stage["fader_db"] < stage["fader_max_db"]:
            fader_db = min(stage["fader_max_db"], stage["fader_db"] + STEP_DB)
            client.request({"class": "stage", "fader_db": fader_db}, timeout_s=5.0)
    raise TimeoutError("the practice stage did not howl")


def page_picture(target: Path) -> None:
    """Photograph the page of a demo that howls."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    with tempfile.TemporaryDirectory(prefix="pictures") as state:
        words = ["--set", "page.host=127.0.0.1", "--set", f"page.port={port}"]
        demo = subprocess.Popen(
            [sys.executable, "-m", "monitor.cli", "demo", *words],
            env={**os.environ, "XDG_STATE_HOME": state},
            stdin=subprocess.DEVNULL,
        )
        try:
            with LinkClient(Path(state) / "howl-lantern" / "demo" / "link.sock") as client:
                push_until_howl(client)
                with browser(*PHONE_PIXELS, scale=2.0) as driver:
                    driver.get(f"http://127.0.0.1:{port}/#set")
                    push_until_howl(client)
                    time.sleep(2.0)  # the page's own drawing
                    screenshot(driver, target)
        finally:
            demo.terminate()
            demo.wait(10.0)


def after_picture(target: Path) -> None:
    """Photograph the room After with an invented gig."""
    client = KeptClient()
    client.venue = HERON
    with page_server(client) as url, browser(*PHONE_PIXELS, scale=2.0) as driver:
        driver.get(f"{url}#after")
        end_mono_s = time.monotonic() + PATIENCE_S
        while time.monotonic() < end_mono_s and not driver.execute_script(
            "return !!document.querySelector('#af-timeline svg')"
            " && !!document.querySelector('#af-next li')"
        ):
            time.sleep(STEP_S)
        screenshot(driver, target)
        driver.get("about:blank")


def report_picture(target: Path) -> None:
    """Draw the timeline of an invented gig as ``howl-lantern report`` does."""
    target.write_bytes(gig_png(record(40), zone=UTC))


def example_plan(target: Path) -> None:
    """Draw the example's plan as ``howl-lantern plan`` does."""
    stage = read_stage(EXAMPLE)
    write_png(target, plan_picture(stage, reckon(stage), caption=True))


def main() -> None:
    """Make them all."""
    PICTURES.mkdir(exist_ok=True)
    faces_sheet().save(PICTURES / "faces.png", optimize=True)
    page_picture(PICTURES / "page-howl.png")
    after_picture(PICTURES / "page-after.png")
    report_picture(PICTURES / "report.png")
    example_plan(PICTURES / "stage-plan.png")
    for path in sorted(PICTURES.glob("*.png")):
        print(f"{path.name}: {path.stat().st_size} bytes")


if __name__ == "__main__":
    main()
