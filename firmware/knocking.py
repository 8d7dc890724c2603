"""What may hang is asked by another process: whether a device answers, and a card's mixer.

alsa-lib's Python binding holds the interpreter's lock while it opens a device and while it speaks
to a mixer.  A card whose driver hangs, or a halted sound server, would freeze the whole program
there: lamp, panel and page would go on saying what was true before, until the service manager ends
it, and again after every restart.
"""

from __future__ import annotations

import contextlib
import select
import subprocess
import sys
import time
from pathlib import Path

PATIENCE_S = 3.0
ENDED_WITHIN_S = 0.5

KNOCK = """
import sys, alsaaudio
name, card, ours = sys.argv[1:]
try:
    alsaaudio.PCM(
        type=alsaaudio.PCM_CAPTURE, mode=alsaaudio.PCM_NONBLOCK, device=name, rate=48000
    ).close()
except alsaaudio.ALSAAudioError:
    sys.exit()
print("it answers", flush=True)
if card:
    sys.path.insert(0, ours)
    from firmware.mixer import turn_off_automatic_gain
    print(turn_off_automatic_gain(alsaaudio, int(card)))
"""
"""Not waiting, or a card that another program holds would not answer; and at the rate that is asked
for first, so that it need not be set twice.  The mixer comes after that word, while the device is
opened and read already: nobody waits for it."""

OURS = str(Path(__file__).parents[1])


class Knocker:
    """Knocks, one process at a time.  For one thread at a time."""

    def __init__(self, *, patience_s: float = PATIENCE_S) -> None:
        self._patience_s = patience_s
        self._child: subprocess.Popen[bytes] | None = None
        self._at_mixer: subprocess.Popen[bytes] | None = None
        self._until_mono_s = 0.0
        self._gain: str | None = "unknown"

    def answers(self, alsa_name: str, card_index: int | None = None) -> bool:
        """Return whether a device answers; a refusal is an answer as well, only silence is not.

        Where it does, the automatic gain of the card of that number is turned off meanwhile.
        """
        self._gain = "unknown"
        if _is_alive(self._child):
            # In the hands of a driver it cannot be ended, and a second would only hang beside it.
            return False
        if _is_alive(self._at_mixer):
            card_index = None
        elif self._at_mixer is not None and self._at_mixer.stdout is not None:
            self._at_mixer.stdout.close()  # nobody may have asked what it said
        card = "" if card_index is None else str(card_index)
        try:
            self._child = child = subprocess.Popen(
                [sys.executable, "-I", "-c", KNOCK, alsa_name, card, OURS],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
            )
        except OSError:
            return True  # no process to be had: better to risk the opening than to stay deaf
        assert child.stdout is not None
        is_answer = bool(select.select([child.stdout], [], [], self._patience_s)[0])
        if is_answer and child.stdout.readline() and card:
            self._at_mixer, self._child, self._gain = child, None, None
            self._until_mono_s = time.monotonic() + self._patience_s
            return True
        if not is_answer:
            child.kill()
        child.stdout.close()
        with contextlib.suppress(subprocess.TimeoutExpired):
            child.wait(ENDED_WITHIN_S)
        return is_answer

    def automatic_gain(self) -> str | None:
        """Return what ``turn_off_automatic_gain`` made of that card; None while it is at it.

        Returns at once; a mixer that does not answer is "unknown".
        """
        child = self._at_mixer
        if self._gain is None and child is not None and child.stdout is not None:
            if not _is_alive(child):
                self._gain = child.stdout.read().decode().strip() or "unknown"
                child.stdout.close()
            elif time.monotonic() > self._until_mono_s:
                self._gain = "unknown"
                child.kill()
                child.stdout.close()
        return self._gain


def _is_alive(child: subprocess.Popen[bytes] | None) -> bool:
    return child is not None and child.poll() is None
