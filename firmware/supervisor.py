"""Talk to the service manager: ready, alive, what is going on.

The protocol is sd_notify(3): one datagram of ``KEY=value`` lines to the socket named in
``NOTIFY_SOCKET``.  Without that variable (started by hand) every call does nothing.
"""

from __future__ import annotations

import os
import socket
import time
from collections.abc import Mapping


class Supervisor:
    """Messages to the service manager; never raises, never blocks.

    ``health()`` says whether the last message went out.  ``watchdog_s`` is the time within
    which ``alive()`` is expected, None if nobody waits for it.
    """

    def __init__(self, environ: Mapping[str, str] | None = None) -> None:
        environ = os.environ if environ is None else environ
        self._address = environ.get("NOTIFY_SOCKET", "")
        self._health = "ok" if self._address else "off"
        self._status = ""
        self.watchdog_s = _watchdog_s(environ)
        # Half the limit, as sd_watchdog_enabled(3) advises; more often only costs.
        self._alive_every_s = self.watchdog_s / 2.0 if self.watchdog_s else None
        self._alive_next_mono_s = 0.0

    def ready(self) -> None:
        """Say that start-up is over."""
        self._send("READY=1")

    def status(self, text: str) -> None:
        """Say in one line what goes on; sent only when it changed."""
        line = " ".join(text.split())
        if line != self._status and self._send(f"STATUS={line}"):
            self._status = line

    def alive(self) -> None:
        """Call from the loop that must not hang, as often as it turns."""
        if self._alive_every_s is None:
            return
        now = time.monotonic()
        # One that did not go out is sent again at the next turn: the next half would be late.
        if now >= self._alive_next_mono_s and self._send("WATCHDOG=1"):
            self._alive_next_mono_s = now + self._alive_every_s

    def stopping(self) -> None:
        """Say that the stop is wanted and under way."""
        self._send("STOPPING=1")

    def health(self) -> str:
        """ "ok", "off" (nobody supervises) or one sentence that says what is wrong."""
        return self._health

    def _send(self, message: str) -> bool:
        """Send one message; return whether it went out."""
        if not self._address:
            return False
        # A leading @ stands for the zero byte of an abstract socket.
        address = "\0" + self._address[1:] if self._address[0] == "@" else self._address
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as channel:
                channel.setblocking(False)
                channel.sendto(message.encode(errors="replace"), address)
            self._health = "ok"
            return True
        except (OSError, ValueError) as error:  # ValueError: no possible path
            why = getattr(error, "strerror", None) or error
            self._health = (
                f"the service manager cannot be told ({why}); check NOTIFY_SOCKET={self._address}"
            )
            return False


def _watchdog_s(environ: Mapping[str, str]) -> float | None:
    if environ.get("WATCHDOG_PID", str(os.getpid())) != str(os.getpid()):
        return None
    try:
        limit_s = int(environ.get("WATCHDOG_USEC", "0")) / 1e6
    except ValueError:
        return None
    return limit_s if limit_s > 0.0 else None
