"""Where clients come in: the socket, waited at, and made again where somebody removes its file."""

from __future__ import annotations

import errno
import logging
import selectors
import socket
import time
from collections.abc import Callable
from pathlib import Path

from monitor.link.endpoint import LinkServerError, LinkSocket

LOG = logging.getLogger(__name__)

LOOK_EVERY_S = 1.0
"""How often the socket's file is looked for; a page that finds none asks every two seconds."""


class Reception:
    """Lets clients in, in the server's thread.

    Parameters
    ----------
    path : Path
        Where the socket is made.
    selector : selectors.BaseSelector
        Which waits for clients, among others.
    pause : callable
        Keeps a full table of descriptors from becoming a busy loop.

    Attributes
    ----------
    listening : socket.socket or None
        Readable when somebody comes; None before the first ``look``.
    problem : str
        Why nobody new can connect, in one line; empty if they can.

    Raises
    ------
    LinkServerError
        If the socket cannot be opened.
    """

    def __init__(
        self, path: Path, selector: selectors.BaseSelector, *, pause: Callable[[], object]
    ) -> None:
        self._socket = LinkSocket(path)
        self._selector = selector
        self._pause = pause
        self._look_next_mono_s = time.monotonic() + LOOK_EVERY_S
        self.listening: socket.socket | None = None
        self.problem = ""

    def look(self) -> None:
        """Make the socket's file again if somebody removed it; who is connected stays so."""
        now_mono_s = time.monotonic()
        if self.listening is not None and now_mono_s < self._look_next_mono_s:
            return
        self._look_next_mono_s = now_mono_s + LOOK_EVERY_S
        if not self._socket.is_in_place():
            try:
                before = self._socket.renew()
            except LinkServerError as error:
                self.problem = f"nobody new can connect: {error}"
                return
            if before is not self.listening:
                before.close()  # nobody has waited at it yet
            LOG.warning("the socket's file was gone and is made again")
        if self.listening is not self._socket.listening:
            self._listen()

    def accept(self) -> socket.socket | None:
        """Return who has come, None if they have gone again or cannot be taken."""
        try:
            connection, _ = self._socket.listening.accept()
        except OSError as error:
            if error.errno not in (errno.EAGAIN, errno.ECONNABORTED):  # it has gone again
                self.cannot_take(error)  # descriptors ran out: the others go on
            return None
        return connection

    def cannot_take(self, error: OSError) -> None:
        """Say that somebody could not be let in, and wait a moment."""
        self.problem = f"nobody new can connect: {error.strerror or error}"
        self._pause()

    def close(self) -> None:
        """Remove the socket."""
        self._socket.close()
        if self.listening is not None:
            self.listening.close()  # another one where the new one could not be waited at

    def _listen(self) -> None:
        """Wait for clients at the socket that there is now, and no more at the one before."""
        before, now = self.listening, self._socket.listening
        try:
            self._selector.register(now, selectors.EVENT_READ)
        except OSError as error:
            self.cannot_take(error)
            return
        if before is not None:
            self._selector.unregister(before)
            before.close()
        self.listening = now
        self.problem = ""
