"""Where the socket and the journal live, on the installed box and for a person at a terminal."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from monitor.settings import Settings

RUN_FOLDER = Path("/run/howl-lantern")
STATE_FOLDER = Path("/var/lib/howl-lantern")


def _own_state_folder(environ: Mapping[str, str]) -> Path:
    home = Path(environ.get("HOME", "/"))
    return Path(environ.get("XDG_STATE_HOME") or home / ".local" / "state") / "howl-lantern"


def socket_path(settings: Settings, environ: Mapping[str, str] = os.environ) -> Path:
    """Return the socket's path: as set, else the usual one."""
    if settings.link.socket:
        return Path(settings.link.socket).expanduser()
    return usual_socket_path(environ)


def usual_socket_path(environ: Mapping[str, str] = os.environ) -> Path:
    """Return where the socket is if none is set: in the service's folder, else in one's own."""
    if given := environ.get("RUNTIME_DIRECTORY"):
        return Path(given.split(":")[0]) / "link.sock"
    if RUN_FOLDER.is_dir():
        return RUN_FOLDER / "link.sock"
    if own := environ.get("XDG_RUNTIME_DIR"):
        return Path(own) / "howl-lantern" / "link.sock"
    return _own_state_folder(environ) / "link.sock"


def journal_path(settings: Settings, environ: Mapping[str, str] = os.environ) -> Path:
    """Return the journal's path: as set, else the service's folder, else one's own."""
    if settings.journal.file:
        return Path(settings.journal.file).expanduser()
    if given := environ.get("STATE_DIRECTORY"):
        return Path(given.split(":")[0]) / "journal.sqlite3"
    if STATE_FOLDER.is_dir() and os.access(STATE_FOLDER, os.W_OK):
        return STATE_FOLDER / "journal.sqlite3"
    return _own_state_folder(environ) / "journal.sqlite3"


def kept_journal_path(settings: Settings, environ: Mapping[str, str] = os.environ) -> Path:
    """Return the journal that commands read and change: on an installed box the service's.

    Who may not open that one is told so, and not that there is none.
    """
    path = journal_path(settings, environ)
    if path == _own_state_folder(environ) / path.name and STATE_FOLDER.is_dir():
        return path if path.exists() else STATE_FOLDER / path.name
    return path
