"""``howl-lantern check``: looks the box over and says for each part what is right or to do.

With a watcher running, microphone, level, lamp and panel are asked of it: they are its own
and cannot be opened twice.  Otherwise they are opened here for a moment.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from monitor import places
from monitor.commands import check_around, check_devices
from monitor.commands.finding import Finding
from monitor.commands.whereabouts import is_there, where_it_answers
from monitor.errors import SettingsError
from monitor.link.client import LinkClient
from monitor.settings import Loaded, Settings
from monitor.settings_reader import PACKAGED

_PARTS = (
    "lamp panel button journal adviser soundcheck access gigs link board settings showing"
).split()
"""All of the snapshot's parts that say how they are."""
_SPOKEN = {"adviser": "advice"}


def broken_settings(error: SettingsError) -> Finding:
    """Return the finding that the settings cannot be used."""
    return Finding("settings", "", "correct these first: " + "; ".join(error.problems))


def look_over(loaded: Loaded) -> Iterable[Finding]:
    """Yield the findings one after the other; nothing here raises."""
    settings = loaded.settings
    n_own = sum(origin != PACKAGED for origin in loaded.origins.values())
    yield Finding("settings", f"{n_own} of your own" if n_own else "the defaults")
    snapshot = ask_watcher(settings)
    if snapshot is not None:
        yield from _from_watcher(snapshot)
    else:
        yield from _guarded("microphone", lambda: check_devices.microphone(settings))
        yield from _guarded("lamp", lambda: check_devices.lamp(settings))
        yield from _guarded("panel", lambda: check_devices.panel(settings))
    yield check_devices.cards(settings)
    path = places.socket_path(settings) if snapshot is None else where_it_answers(settings)
    yield check_around.socket(path, snapshot)
    yield check_around.page(settings.page)
    yield check_around.disk(places.journal_path(settings))
    yield check_around.clock()


def _guarded(part: str, look: Callable[[], Sequence[Finding]]) -> Sequence[Finding]:
    try:
        return look()
    except ModuleNotFoundError as error:
        return [Finding(part, "", f"the package {error.name} is missing; install it")]
    except Exception as error:  # a check reports whatever it finds
        return [Finding(part, "", f"cannot be looked at: {error}")]


def ask_watcher(settings: Settings) -> dict[str, Any] | None:
    """Return the running watcher's snapshot, None if none answers."""
    path = where_it_answers(settings)
    if not is_there(path):
        return None
    with LinkClient(path) as client:
        received = client.wait_for_snapshot(0.0, timeout_s=2.0)
    return None if received is None else received.snapshot


def _from_watcher(snapshot: dict[str, Any]) -> Iterable[Finding]:
    microphone = snapshot.get("microphone", {})
    if snapshot.get("deaf_reason"):
        yield Finding("microphone", "", snapshot["deaf_reason"])
    else:
        said = ("device", "detail", "automatic_gain")
        yield check_devices.heard(*(microphone.get(key, "") for key in said))
        yield check_devices.level(
            snapshot.get("level_dbfs", -150.0),
            snapshot.get("peak_dbfs", -150.0),
            bool(snapshot.get("clipping")),
        )
    for part in _PARTS:
        health = snapshot.get(part, {}).get("health", "unknown")
        # The file's own line is there already; what the watcher uses is said if it is another.
        if part in snapshot and (part, health) != ("settings", "ok"):
            yield check_devices.health(_SPOKEN.get(part, part), health)
