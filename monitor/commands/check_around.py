"""``check``'s looks at what is around the devices: socket, page, disk and clock."""

from __future__ import annotations

import errno
import os
import shutil
from pathlib import Path
from typing import Any

from monitor import clock as clocks
from monitor.commands.finding import Finding
from monitor.commands.whereabouts import is_installed, is_there
from monitor.settings import Page

LEAST_FREE_BYTES = 50 * 1024 * 1024
PAGE_S = 3.0
READ_BYTES = 4096
"""The page's title is in its first lines."""


def socket(path: Path, snapshot: dict[str, Any] | None) -> Finding:
    """Return whether a watcher is at the socket; ``snapshot`` is what it said, None if none did."""
    if snapshot is not None:
        return Finding("socket", f"a watcher answers at {path}")
    folder = path.parent
    if is_there(path) and not path.is_socket():
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
    if is_there(path):
        return Finding("socket", "", f"nobody answers at {path}; start howl-lantern watch")
    if _why_not_written(folder) is not None:
        return Finding("socket", "", f"{folder} cannot be written; set [link] socket")
    return Finding("socket", f"no watcher is running; it would answer at {path}")


def page(page: Page) -> Finding:
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


def disk(path: Path) -> Finding:
    """Return whether there is room for the journal at ``path``, and the right to write it."""
    folder = _existing(path.parent)
    if (why := _why_not_written(folder)) is not None:
        to_do = f"{folder} cannot be written ({why.strerror}); set [journal] file"
        if why.errno == errno.EROFS:
            to_do = (
                f"{folder} has turned read-only, as a worn card does: save the gigs' reports on "
                "a phone and replace the card"
            )
        return Finding("disk", "", to_do)
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


def _why_not_written(folder: Path) -> OSError | None:
    import tempfile

    try:
        with tempfile.TemporaryFile(dir=_existing(folder)):
            return None
    except OSError as error:
        return error


def clock() -> Finding:
    """Return whether the date is set; either way is well."""
    if clocks.is_trusted():
        return Finding("clock", "set from the network")
    # Without internet this is how a box lives; ages stay right, only dates are in doubt.
    return Finding("clock", "not set from the network: dates are marked as unsure, ages are right")
