"""The link's socket as a file: claimed by a lock, made again when somebody removed it."""

from __future__ import annotations

import errno
import fcntl
import os
import socket
import stat
from pathlib import Path

from monitor.errors import LanternError

BACKLOG = 8
"""As many as the server serves at once."""
LONGEST_PATH_BYTES = 107
"""``sun_path`` of unix(7) holds 108 bytes with its final zero."""
MODE = 0o660
"""Owner and group, nobody else."""


class LinkServerError(LanternError):
    """The socket cannot be opened; the message says why and what to do."""


class OtherWatcherError(LinkServerError):
    """Somebody answers at the socket: this watcher is one too many."""


class LinkSocket:
    """A listening Unix socket at ``path``, and the lock that makes it the only one.

    A socket file that nobody answers at is replaced; a live one never is.

    Attributes
    ----------
    listening : socket.socket
        Non-blocking; another one after ``renew``.

    Raises
    ------
    LinkServerError
        If another watcher is running, something else is at the path, or it cannot be made.
    """

    def __init__(self, path: Path) -> None:
        if len(os.fsencode(path)) > LONGEST_PATH_BYTES:
            raise LinkServerError(
                f"{path}: a socket's path may have {LONGEST_PATH_BYTES} bytes; set a shorter "
                "[link] socket"
            )
        self._path = path
        self._lock_path = path.with_name(path.name + ".lock")
        self._lock_fd = -1
        self.listening = self._claim()
        self._place = _place(path)

    def is_in_place(self) -> bool:
        """Whether the file at the path still leads here."""
        return self._place is not None and _place(self._path) == self._place

    def renew(self) -> socket.socket:
        """Make the file again; return the old socket, still open, for whoever waits at it to close.

        Raises
        ------
        LinkServerError
            As at the beginning; nothing has changed then.
        """
        before, self.listening = self.listening, self._claim()
        self._place = _place(self._path)
        return before

    def close(self) -> None:
        """Stop listening and remove the file, if it is ours."""
        try:
            if self.is_in_place():
                self._path.unlink()
        except OSError:
            pass  # its folder is gone, or may not be written any more
        # Not before: a closed socket's place may be given to another file.
        self.listening.close()
        os.close(self._lock_fd)

    def _claim(self) -> socket.socket:
        lock_fd = self._lock_fd
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            # The lock closes the gap between asking whether anybody answers and taking the
            # place.  One whose file was removed as well keeps nobody out any more.
            if lock_fd < 0 or _place(self._lock_path) != _place(lock_fd):
                lock_fd = os.open(self._lock_path, os.O_CREAT | os.O_RDWR, 0o600)
                fcntl.flock(lock_fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
            _make_room(self._path)
            listening = _listen(self._path)
        except Exception as error:
            if lock_fd not in (-1, self._lock_fd):
                os.close(lock_fd)
            if isinstance(error, OSError):
                raise self._in_words(error) from error
            raise
        if lock_fd != self._lock_fd:
            if self._lock_fd >= 0:
                os.close(self._lock_fd)
            self._lock_fd = lock_fd
        return listening

    def _in_words(self, error: OSError) -> LinkServerError:
        if isinstance(error, BlockingIOError):
            return _running(self._path)
        return LinkServerError(
            f"{self._path}: cannot open the socket: {error.strerror}; use a folder that may be "
            "written, see [link] socket"
        )


def _place(file: Path | int) -> tuple[int, int] | None:
    """Which file this is, whatever its name; None if there is none."""
    try:
        found = file.lstat() if isinstance(file, Path) else os.fstat(file)
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _running(path: Path) -> OtherWatcherError:
    return OtherWatcherError(f"another watcher is running (it answers at {path}); stop it first")


def _make_room(path: Path) -> None:
    try:
        mode = path.lstat().st_mode
    except FileNotFoundError:
        return
    if not stat.S_ISSOCK(mode):
        raise LinkServerError(
            f"{path}: something that is not a socket is here; move it away or set [link] socket"
        )
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_NONBLOCK) as probe:
        # EAGAIN means a full backlog: somebody listens, however slowly.
        if probe.connect_ex(str(path)) != errno.ECONNREFUSED:
            raise _running(path)
    path.unlink(missing_ok=True)


def _listen(path: Path) -> socket.socket:
    listening = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_NONBLOCK)
    try:
        # On Linux the file is born with the mode of its descriptor, less the umask, and never
        # with more.  The umask itself belongs to all threads and is left alone.
        os.fchmod(listening.fileno(), MODE)
        listening.bind(str(path))
        path.chmod(MODE)
        listening.listen(BACKLOG)
    except OSError:
        listening.close()
        raise
    return listening
