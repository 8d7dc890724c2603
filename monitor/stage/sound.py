"""The practice stage's sound for whoever wants to hear it: a door of its own.

The sound never goes over the link, so nothing that carries sound is near the listening, and on
a real box there is neither this code nor the door.

Conventions
-----------
A Unix socket that keeps packets whole.  Each packet is a run of samples of one channel at the
stage's rate, signed 16 bit, little-endian, never beyond the ceiling.  Whoever connects listens;
hanging up ends it.  A packet that does not fit is dropped: nobody is waited for.
"""

from __future__ import annotations

import contextlib
import logging
import os
import socket
from pathlib import Path

import numpy as np

LOG = logging.getLogger(__name__)

CEILING = 0.25
"""Peak of full scale, -12 dB: a howl in headphones must stay far below what they can do."""
GAIN = 10.0 ** (10.0 / 20.0)
"""A howl stands at the box's -16 dBFS; 10 dB more and it touches the ceiling, and the singer
stays well below it."""
MOST_LISTENERS = 4
_BUFFER_BYTES = 64 * 1024
"""Bounds what waits for one listener: well under a second at 48 kHz with the kernel's doubling
and its bookkeeping for each packet."""


def softened(samples: np.ndarray) -> np.ndarray:
    """Return float samples as int16 that bend towards the ceiling and never pass it."""
    bent = CEILING * np.tanh(np.nan_to_num(samples, posinf=1.0, neginf=-1.0) * (GAIN / CEILING))
    return np.trunc(bent * 32767.0).astype("<i2")


class SoundDoor:
    """Where listeners come in; ``publish`` is all there is to it, and it returns at once.

    Raises
    ------
    OSError
        If the socket cannot be made.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        path.unlink(missing_ok=True)  # of a run that was killed; the link's lock says it is ours
        self._server = socket.socket(
            socket.AF_UNIX, socket.SOCK_SEQPACKET | socket.SOCK_NONBLOCK | socket.SOCK_CLOEXEC
        )
        try:
            before = os.umask(0o117)  # born 0660, like the link
            try:
                self._server.bind(str(path))
            finally:
                os.umask(before)
            self._server.listen(MOST_LISTENERS)
        except OSError:
            self._server.close()
            raise
        self._listeners: list[socket.socket] = []

    @property
    def listener_count(self) -> int:
        """How many listen, as of the last block."""
        return len(self._listeners)

    def publish(self, samples: np.ndarray) -> None:
        """Give a block to everybody who listens and takes it now."""
        with contextlib.suppress(OSError):  # nobody new, or they have gone again
            self._let_in(self._server.accept()[0])
        if not self._listeners:
            return
        packet = softened(samples).tobytes()
        for listener in list(self._listeners):
            try:
                listener.send(packet)
            except BlockingIOError:
                pass  # late sound is worth nothing
            except OSError:
                self._listeners.remove(listener)
                listener.close()

    def _let_in(self, listener: socket.socket) -> None:
        if len(self._listeners) >= MOST_LISTENERS:
            listener.close()
            return
        listener.setblocking(False)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, _BUFFER_BYTES)
        self._listeners.append(listener)

    def close(self) -> None:
        """Send everybody away and take the door out; may be called twice."""
        for listener in self._listeners:
            listener.close()
        self._listeners.clear()
        self._server.close()
        self._path.unlink(missing_ok=True)
