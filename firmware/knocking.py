"""Whether a device answers at all, found out by another process before it is opened here.

alsa-lib's Python binding holds the interpreter's lock while it opens.  A card whose driver hangs,
or a halted sound server, would freeze the whole program there: lamp, panel and page would go on
saying what was true before, until the service manager ends it, and again after every restart.
"""

from __future__ import annotations

import contextlib
import subprocess
import sys

PATIENCE_S = 3.0
ENDED_WITHIN_S = 0.5

KNOCK = """
import sys, alsaaudio
try:
    alsaaudio.PCM(
        type=alsaaudio.PCM_CAPTURE, mode=alsaaudio.PCM_NONBLOCK, device=sys.argv[1], rate=48000
    ).close()
except alsaaudio.ALSAAudioError:
    pass
"""
"""Not waiting, or a card that another program holds would not answer; and at the rate that is asked
for first, so that it need not be set twice."""


class Knocker:
    """Knocks, one process at a time.  For one thread at a time."""

    def __init__(self, *, patience_s: float = PATIENCE_S) -> None:
        self._patience_s = patience_s
        self._child: subprocess.Popen[bytes] | None = None

    def answers(self, alsa_name: str) -> bool:
        """Return whether a device answers; a refusal is an answer as well, only silence is not."""
        if self._child is not None and self._child.poll() is None:
            # In the hands of a driver it cannot be ended, and a second would only hang beside it.
            return False
        try:
            self._child = child = subprocess.Popen(
                [sys.executable, "-I", "-c", KNOCK, alsa_name],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
        except OSError:
            return True  # no process to be had: better to risk the opening than to stay deaf
        try:
            child.wait(self._patience_s)
        except subprocess.TimeoutExpired:
            child.kill()
            with contextlib.suppress(subprocess.TimeoutExpired):
                child.wait(ENDED_WITHIN_S)
            return False
        return True
