"""Where the watcher answers that a command of the terminal asks for something."""

from __future__ import annotations

from pathlib import Path

from monitor import places
from monitor.settings import Settings

UNIT = Path("/usr/local/lib/systemd/system/howl-lantern.service")
"""Where ``systemd/install`` puts the watcher's unit."""


def is_installed() -> bool:
    """Return whether this is an installed box, where watcher and page are to run all the time."""
    return UNIT.exists()


def is_there(path: Path) -> bool:
    """Return whether there is anything at a path, as far as this person may see."""
    try:
        return path.exists()
    except OSError:  # nobody may look for it there
        return False


def where_it_answers(settings: Settings) -> Path:
    """Return the watcher's socket: as set, or on an installed box the usual one.

    There it answers at that one where no socket can be made at the one that is set.
    """
    path = places.socket_path(settings)
    is_made = is_there(path) and path.is_socket()
    return path if is_made or not is_installed() else places.usual_socket_path()
