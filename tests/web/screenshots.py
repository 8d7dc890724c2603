"""Pictures of every state of the page: ``python -m tests.web.screenshots DIR``."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import waitress
from waitress import wasyncore

from monitor.link.client import LinkClient, Received
from tests.browser import browser, screenshot
from tests.web.states import STATES
from web.app import create_app

SIZES = ((360, 640), (390, 844), (1280, 800))


class StillClient(LinkClient):
    """A connection that shows one snapshot for ever; ``None`` is a watcher that is not there."""

    def __init__(self) -> None:
        super().__init__("/nonexistent/link.sock", start=False)
        self.problem = "no watcher is running"
        self.asked: list[dict[str, Any]] = []

    def hold(self, snapshot: dict[str, Any] | None, *, age_s: float = 0.0) -> None:
        with self.condition:
            self.connected = snapshot is not None
            self.problem = "" if self.connected else "no watcher is running"
            mono_s = time.monotonic() - age_s
            self.latest = Received(snapshot, mono_s) if snapshot is not None else None
            self.condition.notify_all()

    def announce(self, message: dict[str, Any]) -> None:
        """Tell a ring, as the watcher does ahead of its next snapshot."""
        with self.condition:
            for subscription in self._subscriptions:
                subscription.put(message)
            self.condition.notify_all()

    def request(self, command: Any, timeout_s: float = 2.0) -> dict[str, Any]:
        self.asked.append(dict(command))
        return {"class": "done"}


@contextmanager
def page_server(client: LinkClient, *, max_streams: int = 4, port: int = 0) -> Iterator[str]:
    """The real server in this process; yields its address, and closes ``client`` at the end."""
    server = waitress.create_server(
        create_app(client, max_streams=max_streams),
        host="127.0.0.1",
        port=port,
        threads=max_streams + 4,
    )
    stopping = threading.Event()

    def run() -> None:
        while not stopping.is_set():
            wasyncore.loop(timeout=0.05, map=server._map, count=1)
        wasyncore.close_all(server._map, ignore_all=True)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.effective_port}/"
    finally:
        # Streams first, then the workers, then the sockets in the thread that watches them:
        # closed in any other order, a worker writes to a descriptor that is gone.
        client.close()
        server.task_dispatcher.shutdown(cancel_pending=True, timeout=5)
        stopping.set()
        thread.join(timeout=5)


def both_lengths(driver: Any, folder: Path, name: str, size: tuple[int, int], light: str) -> None:
    """Picture the whole page and what the window shows of it."""
    width, height = size
    whole = driver.execute_script("return document.documentElement.scrollHeight")
    metrics = {"width": width, "deviceScaleFactor": 1, "mobile": width < 700}
    for tall in (whole, height):
        driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {**metrics, "height": tall})
        time.sleep(0.3)
        part = "whole-" if tall == whole else ""
        screenshot(driver, folder / f"{name}-{part}{width}x{height}-{light}.png")


def before_it_rings(folder: Path) -> None:
    """The rooms Place and Level in their states, the whole page each."""
    from tests.web.evening import METERS, EveningClient

    for width, height in SIZES:
        for night in (True, False):
            client = EveningClient()
            light = "night" if night else "day"
            with page_server(client) as url, browser(width, height, night=night) as driver:
                for name in ("place", "tried", "level", *METERS):
                    client.script = METERS.get(name, {})
                    client.measuring = client.script.get("kind", "")
                    driver.get("about:blank")
                    driver.get(url + ("#place" if name in ("place", "tried") else "#level"))
                    time.sleep(2.0)
                    if name == "tried":
                        driver.execute_script(
                            "document.querySelector('#plan-changes button').click()"
                        )
                        time.sleep(1.0)
                    both_lengths(driver, folder, f"before-{name}", (width, height), light)
                driver.get("about:blank")


def after_it_rang(folder: Path) -> None:
    """The gig, its venue, the room After and pairing, the whole page each."""
    from tests.web.kept import HERON, KeptClient

    taps = {"venue": "gig-venue", "pairing": "gig-song", "who": "who-words"}
    for width, height in SIZES:
        for night in (True, False):
            client = KeptClient(control="code")
            light = "night" if night else "day"
            with page_server(client) as url, browser(width, height, night=night) as driver:
                for name in ("after", "known", "venue", "pairing", "who"):
                    client.venue = HERON if name == "known" else None
                    driver.get("about:blank")
                    driver.get(url + ("#after" if name == "after" else "#set"))
                    time.sleep(2.5)
                    if name in taps:
                        driver.execute_script(
                            "const e = document.getElementById(arguments[0]);"
                            "const d = e.closest('details'); if (d) d.open = true; else e.click()",
                            taps[name],
                        )
                        time.sleep(1.0)
                    both_lengths(driver, folder, f"gig-{name}", (width, height), light)
                driver.get("about:blank")


def main(folder: Path) -> None:
    """Write STATE-WIDTHxHEIGHT-night.png and -day.png for each state and size."""
    folder.mkdir(parents=True, exist_ok=True)
    client = StillClient()
    with page_server(client) as url:
        for width, height in SIZES:
            for night in (True, False):
                with browser(width, height, night=night) as driver:
                    for name, state in {**STATES, "stale": STATES["howl"], "gone": None}.items():
                        client.hold(state, age_s=30.0 if name == "stale" else 0.0)
                        driver.get("about:blank")  # another fragment alone loads nothing
                        driver.get(url + ("#ring-out" if name.startswith("ring-out") else ""))
                        stop = time.monotonic() + 1.0
                        while time.monotonic() < stop:
                            if name != "stale":
                                client.hold(state)
                            time.sleep(0.1)
                        light = "night" if night else "day"
                        screenshot(
                            driver,
                            folder / f"{name.replace(' ', '-')}-{width}x{height}-{light}.png",
                        )
    before_it_rings(folder)
    after_it_rang(folder)
    print(f"{len(list(folder.glob('*.png')))} pictures in {folder}")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
