"""What any thread has to send over the link, until the link's own thread comes to it."""

from __future__ import annotations

import socket
import threading
from collections import deque
from collections.abc import Mapping
from typing import Any

from monitor.link.one_client import OneClient

MAX_UNSENT = 4096
"""Events and answers that the thread has not come to yet."""

Unsent = tuple[OneClient | None, Mapping[str, Any]]
"""A message and who gets it; None: every client."""


class Outbox:
    """Takes messages from any thread at once, and wakes the one that sends them.

    Attributes
    ----------
    awake : socket.socket
        Becomes readable when something has come; non-blocking.
    lost_count : int
        Events and answers for which there was no room.
    """

    def __init__(self) -> None:
        self.awake, self._poke = socket.socketpair()
        self.awake.setblocking(False)
        self._poke.setblocking(False)
        self._lock = threading.Lock()
        self._unsent: deque[Unsent] = deque()
        self._snapshot: Mapping[str, Any] | None = None
        self.lost_count = 0

    def put(self, receiver: OneClient | None, message: Mapping[str, Any]) -> None:
        """Have a message sent; the oldest that waits is lost where there is no room."""
        with self._lock:
            if len(self._unsent) >= MAX_UNSENT:
                self._unsent.popleft()
                self.lost_count += 1
            self._unsent.append((receiver, message))
        self.wake()

    def put_snapshot(self, snapshot: Mapping[str, Any]) -> None:
        """Have a snapshot sent in the place of one that waits."""
        with self._lock:
            self._snapshot = snapshot
        self.wake()

    def wake(self) -> None:
        """Wake the thread that sends."""
        try:
            self._poke.send(b"!")
        except OSError:
            pass  # a full pipe wakes as well; a closed one has nobody to wake

    def drain(self) -> None:
        """Read off what has woken it: not readable until something comes again."""
        try:
            while self.awake.recv(4096):
                pass
        except BlockingIOError:
            pass  # all is read

    def take(self) -> Unsent | None:
        """Return the oldest message that waits, None if there is none."""
        with self._lock:
            return self._unsent.popleft() if self._unsent else None

    def take_snapshot(self) -> Mapping[str, Any] | None:
        """Return the newest snapshot, None if it was taken before."""
        with self._lock:
            snapshot, self._snapshot = self._snapshot, None
        return snapshot

    def close(self) -> None:
        """Wake nobody any more; nothing is sent after this."""
        self._poke.close()
