"""``howl-lantern check``: looks the box over and says for each part what is right or to do.

With a watcher running, microphone, level, lamp and panel are asked of it: they are its own
and cannot be opened twice.  Otherwise they are opened here for a moment.
"""

from __future__ import annotations

import os
import shutil
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from firmware.cards import card_id_of, list_capture_devices, twins
from monitor import clock, places
from monitor.errors import SettingsError
from monitor.link.client import LinkClient
from monitor.settings import Loaded, Page, Settings

QUIET_DBFS = -75.0
"""Below this a room microphone is next to deaf: even a silent room with its noise is louder."""
LEAST_FREE_BYTES = 50 * 1024 * 1024
HEAR_S = 3.0
UNIT = Path("/usr/local/lib/systemd/system/howl-lantern.service")
"""Where ``systemd/install`` puts the watcher's unit."""
PAGE_S = 3.0
READ_BYTES = 4096
"""The page's title is in its first lines."""
_PARTS = ("lamp panel button journal adviser soundcheck access gigs link board settings").split()
"""All of the snapshot's parts that say how they are."""
_SPOKEN = {"adviser": "advice"}


@dataclass(frozen=True, slots=True)
class Finding:
    """One line of the report; ``to_do`` says what to do and is empty when all is well."""

    part: str
    well: str
    to_do: str = ""


def broken_settings(error: SettingsError) -> Finding:
    """Return the finding that the settings cannot be used."""
    return Finding("settings", "", "correct these first: " + "; ".join(error.problems))


def report(findings: Iterable[Finding]) -> int:
    """Print findings as they come; return 1 if anything needs doing."""
    n_to_do = 0
    for finding in findings:
        if finding.to_do:
            n_to_do += 1
            print(f"  !!  {finding.part:<11} {finding.to_do}", flush=True)
        else:
            print(f"  ok  {finding.part:<11} {finding.well}", flush=True)
    if n_to_do:
        print(f"{n_to_do} thing{'s need' if n_to_do > 1 else ' needs'} doing.")
    else:
        print("All is well.")
    return 1 if n_to_do else 0


def look_over(loaded: Loaded) -> Iterable[Finding]:
    """Yield the findings one after the other; nothing here raises."""
    settings = loaded.settings
    own = sorted({o for o in loaded.origins.values() if o != "default"})
    yield Finding("settings", f"{len(own)} of your own" if own else "the defaults")
    snapshot = ask_watcher(places.socket_path(settings), spare=places.usual_socket_path())
    if snapshot is not None:
        yield from _from_watcher(snapshot)
    else:
        yield from _guarded("microphone", lambda: _microphone(settings))
        yield from _guarded("lamp", lambda: _lamp(settings))
        yield from _guarded("panel", lambda: _panel(settings))
    yield _cards(settings)
    yield _socket(places.socket_path(settings), snapshot)
    yield _page(settings.page)
    yield _disk(places.journal_path(settings))
    yield _clock()


def _guarded(part: str, look: Callable[[], Sequence[Finding]]) -> Sequence[Finding]:
    try:
        return look()
    except ModuleNotFoundError as error:
        return [Finding(part, "", f"the package {error.name} is missing; install it")]
    except Exception as error:  # a check reports whatever it finds
        return [Finding(part, "", f"cannot be looked at: {error}")]


def ask_watcher(path: Path, *, spare: Path | None = None) -> dict[str, Any] | None:
    """Return the snapshot of the watcher at a socket, None if none answers.

    On an installed box it may be at ``spare``, where no socket can be made at ``path``.
    """
    if spare is not None and is_installed() and not (_is_there(path) and path.is_socket()):
        path = spare
    if not _is_there(path):
        return None
    with LinkClient(path) as client:
        received = client.wait_for_snapshot(0.0, timeout_s=2.0)
    return None if received is None else received.snapshot


def is_installed() -> bool:
    """Return whether this is an installed box, where watcher and page are to run all the time."""
    return UNIT.exists()


def _is_there(path: Path) -> bool:
    try:
        return path.exists()
    except OSError:  # nobody may look for it there
        return False


def _from_watcher(snapshot: dict[str, Any]) -> Iterable[Finding]:
    microphone = snapshot.get("microphone", {})
    detail = f"{microphone.get('device', '')}: {microphone.get('detail', '')}"
    if snapshot.get("deaf_reason"):
        yield Finding("microphone", "", snapshot["deaf_reason"])
    else:
        yield Finding("microphone", detail)
        yield _level(
            snapshot.get("level_dbfs", -150.0),
            snapshot.get("peak_dbfs", -150.0),
            bool(snapshot.get("clipping")),
        )
    for part in _PARTS:
        health = snapshot.get(part, {}).get("health", "unknown")
        # The file's own line is there already; what the watcher uses is said if it is another.
        if part in snapshot and (part, health) != ("settings", "ok"):
            yield _health(_SPOKEN.get(part, part), health)


def _health(part: str, health: str) -> Finding:
    if health == "ok":
        return Finding(part, "works")
    if health == "off":
        return Finding(part, "off, by your settings")
    if part == "board" and health == "unknown":
        return Finding(part, "says nothing of its voltage and heat")
    return Finding(part, "", health)


def _level(level_dbfs: float, peak_dbfs: float, clipping: bool) -> Finding:
    text = f"{level_dbfs:.0f} dBFS, peaks at {peak_dbfs:.0f} (uncalibrated)"
    if clipping:
        return Finding("level", "", f"{text}: it clips; turn the box's microphone down")
    if level_dbfs < QUIET_DBFS:
        return Finding(
            "level", "", f"{text}: next to nothing; is the microphone muted or its gain at zero?"
        )
    return Finding("level", text)


def _microphone(settings: Settings) -> Sequence[Finding]:
    import numpy as np

    from monitor import opening
    from monitor.hearing import Hearing

    source = opening.open_microphone(settings)
    try:
        hearing = Hearing(time.monotonic())
        chunks: list[Any] = []
        until_mono_s = time.monotonic() + HEAR_S
        while time.monotonic() < until_mono_s:
            block = source.read(0.2)
            if block is not None:
                hearing.take(block, time.monotonic())
                chunks.append(block.samples)
        status = source.status()
        if not chunks or status.state != "hearing":
            return [Finding("microphone", "", status.detail)]
        if status.automatic_gain == "still on":
            first = Finding("microphone", "", f"{status.detail}; turn its automatic gain off")
        else:
            first = Finding("microphone", f"{status.device}: {status.detail}")
        sound = np.concatenate(chunks).astype(np.float64)
        power = max(2.0 * float(np.mean(sound**2)), 1e-15)
        peak = max(float(np.max(np.abs(sound))) ** 2, 1e-15)
        clipping = hearing.is_clipping(time.monotonic())
        return [first, _level(10 * np.log10(power), 10 * np.log10(peak), clipping)]
    finally:
        source.close()


def _cards(settings: Settings) -> Finding:
    """What [microphone] device and [line] device may name."""
    devices = list_capture_devices()
    cards = ", ".join(f"{one.card_id} ({one.name})" for one in devices) or "none that records"
    named = {
        card_id_of(name) or name for name in (settings.microphone.device, settings.line.device)
    }
    for names in twins(devices):
        # "auto" beside a line that is named may take the line instead, too.
        if named & {*names}:
            return Finding(
                "cards",
                "",
                f"{cards}: {' and '.join(names)} are of one make and may swap their names at the "
                "next start; use cards of two makes, or look here again after each start",
            )
    return Finding("cards", cards)


def _lamp(settings: Settings) -> Sequence[Finding]:
    from monitor import opening

    lamp = opening.open_lamp(settings)
    try:
        lamp.show("steady")
        if lamp.health() == "ok" and sys.stdout.isatty():
            print("      (the lamp is lit for a second: look)", flush=True)
            time.sleep(1.0)
        return [_health("lamp", lamp.health())]
    finally:
        lamp.close()


def _panel(settings: Settings) -> Sequence[Finding]:
    from firmware.faces import draw_face
    from firmware.ports import Face
    from monitor import opening

    panel = opening.open_panel(settings)
    try:
        face = Face("starting", settings.box.name, "check", "can you read it?")
        width, height = settings.panel.hung_size
        panel.show(draw_face(face, width=width, height=height))
        return [_health("panel", panel.health())]
    finally:
        panel.close()


def _socket(path: Path, snapshot: dict[str, Any] | None) -> Finding:
    if snapshot is not None:
        return Finding("socket", f"a watcher answers at {path}")
    folder = path.parent
    if _is_there(path) and not path.is_socket():
        return Finding("socket", "", f"{path} is not a socket; move it away")
    if is_installed():
        if not _may_look_into(folder):
            return Finding("socket", "", f"{folder} is not open to you: sudo howl-lantern check")
        return Finding(
            "socket",
            "",
            "the watcher does not answer: sudo systemctl start howl-lantern; if it stops again, "
            "journalctl -u howl-lantern says why",
        )
    if _is_there(path):
        return Finding("socket", "", f"nobody answers at {path}; start howl-lantern watch")
    if not _may_write(folder):
        return Finding("socket", "", f"{folder} cannot be written; set [link] socket")
    return Finding("socket", f"no watcher is running; it would answer at {path}")


def _page(page: Page) -> Finding:
    """Ask the page for itself, at this machine's own address."""
    import http.client

    own = {"": "127.0.0.1", "0.0.0.0": "127.0.0.1", "::": "::1"}.get(page.host, page.host)
    at = f"port {page.port} of {page.host}"
    asking = http.client.HTTPConnection(own, page.port, timeout=PAGE_S)
    try:
        asking.request("GET", "/")
        answer = asking.getresponse()
        is_ours = answer.status == 200 and b"Howl Lantern" in answer.read(READ_BYTES)
    except ConnectionRefusedError:
        if not is_installed():
            return Finding("page", f"not running; it would answer at {at}")
        return Finding(
            "page",
            "",
            f"nobody answers at {at}: sudo systemctl start howl-lantern-page; if it stops again, "
            "journalctl -u howl-lantern-page says why",
        )
    except (OSError, http.client.HTTPException) as error:
        return Finding("page", "", f"it does not answer at {at}: {error}; restart it")
    finally:
        asking.close()
    if not is_ours:
        return Finding("page", "", f"something else answers at {at}; set another [page] port")
    return Finding("page", f"answers at {at}")


def _disk(path: Path) -> Finding:
    folder = _existing(path.parent)
    if not _may_write(folder):
        return Finding("disk", "", f"{folder} cannot be written; set [journal] file")
    free_bytes = shutil.disk_usage(folder).free
    text = f"{free_bytes / 1e6:.0f} MB free for the journal in {folder}"
    if free_bytes < LEAST_FREE_BYTES:
        return Finding("disk", "", f"only {text}; make room, or rings will not be kept")
    return Finding("disk", text)


def _existing(folder: Path) -> Path:
    while not folder.is_dir() and folder != folder.parent:
        folder = folder.parent
    return folder


def _may_look_into(folder: Path) -> bool:
    return not folder.is_dir() or os.access(folder, os.X_OK)


def _may_write(folder: Path) -> bool:
    import tempfile

    try:
        with tempfile.TemporaryFile(dir=_existing(folder)):
            return True
    except OSError:
        return False


def _clock() -> Finding:
    if clock.is_trusted():
        return Finding("clock", "set from the network")
    # Without internet this is how a box lives; ages stay right, only dates are in doubt.
    return Finding("clock", "not set from the network: dates are marked as unsure, ages are right")
