"""One client at the watcher's end of the link: what waits for it, and whether it takes it."""

from __future__ import annotations

import os
import socket
import struct
import time
from collections import deque

from monitor.link.commands import LONGEST_COMMAND_BYTES
from monitor.link.messages import LineBuffer

MAX_QUEUED = 256
"""Lines waiting for one client: minutes of ring events."""


class OneClient:
    """Sends lines through a non-blocking socket, as far as that takes them.

    Parameters
    ----------
    connection : socket.socket
        Connected; belongs to this client from now on.

    Attributes
    ----------
    is_owner : bool
        Whether root or the watcher's own user is at the other end.
    lines : LineBuffer
        What it sends, cut into lines.
    stuck_since_mono_s : float or None
        Since when it takes nothing, though something waits.

    Raises
    ------
    OSError
        If the kernel does not say who is at the other end.
    """

    def __init__(self, connection: socket.socket) -> None:
        connection.setblocking(False)
        self.connection = connection
        self.is_owner = _is_owner(connection)
        self.lines = LineBuffer(LONGEST_COMMAND_BYTES)
        self.stuck_since_mono_s: float | None = None
        self._queue: deque[bytes] = deque()
        self._partial: memoryview | None = None

    @property
    def has_waiting(self) -> bool:
        """Whether something has not been taken yet."""
        return self._partial is not None or bool(self._queue)

    def hold(self, line: bytes) -> bool:
        """Put a line at the end of what waits; False where there is no room."""
        if len(self._queue) >= MAX_QUEUED:
            return False
        self._queue.append(line)
        return True

    def flush(self, *, skippable: bool = False) -> bool:
        """Send what the socket takes.

        Parameters
        ----------
        skippable : bool
            Forget a line of which it takes nothing.

        Returns
        -------
        bool
            Whether a line was forgotten.

        Raises
        ------
        OSError
            If nobody is at the other end any more.
        """
        while self._partial is not None or self._queue:
            is_fresh = self._partial is None
            if self._partial is None:
                self._partial = memoryview(self._queue.popleft())
            try:
                sent = self.connection.send(self._partial)
            except BlockingIOError:
                if self.stuck_since_mono_s is None:
                    self.stuck_since_mono_s = time.monotonic()
                if skippable and is_fresh:
                    self._partial = None
                    return True
                return False
            self.stuck_since_mono_s = None
            self._partial = self._partial[sent:] if sent < len(self._partial) else None
        return False

    def close(self) -> None:
        """Hang up, and forget what waits."""
        self.connection.close()
        self._queue.clear()
        self._partial = None


def _is_owner(connection: socket.socket) -> bool:
    """Whether root or the watcher's own user is at the other end, as the kernel knows it.

    ``SO_PEERCRED`` of unix(7): who connected, which no client can forge.
    """
    size = struct.calcsize("3i")
    _pid, uid, _gid = struct.unpack(
        "3i", connection.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, size)
    )
    return uid in (0, os.geteuid())
