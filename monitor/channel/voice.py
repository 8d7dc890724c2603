"""Whether somebody sings, speaks or is silent, from how long the pitch is held.

Singing stands on notes: its pitch, vibrato averaged out, stays within a fraction of a semitone
for a third of a second and longer.  Speech glides all the time.  The share of voiced sound that
stands decides; between two bounds the last decision stays.
"""

from __future__ import annotations

from collections import deque
from typing import Literal

import numpy as np

Voice = Literal["silent", "speech", "singing", "other"]

LOOK_BACK_S = 4.0
"""A phrase; a decision is about half of this late."""

HELD_S = 0.30
"""A vowel of speech is shorter than this and a note is mostly longer."""

DRIFT_SEMITONES = 0.5
SPAN_SEMITONES = 2.5
"""What a held note's two halves may differ by, and what it may span in all: a wide vibrato."""

SINGING_SHARE = 0.45
SPEECH_SHARE = 0.30
"""Where speech and singing of the bench's sounds lie farthest apart: `python -m
tests.bench.channel`."""

LEAST_VOICED_S = 0.5
VOICED_SHARE = 0.15
"""Sound with less voiced in it is neither speech nor singing: noise, drums, breath."""

SILENT_AFTER_S = 0.8


class VoiceJudge:
    """Decides hop by hop; ``state`` is the newest decision."""

    def __init__(self, hop_s: float) -> None:
        self._held_hops = round(HELD_S / hop_s)
        self._half = self._held_hops // 2
        self._least_voiced = round(LEAST_VOICED_S / hop_s)
        self._silent_hops = round(SILENT_AFTER_S / hop_s)
        look_back = round(LOOK_BACK_S / hop_s)
        self._keys: deque[float] = deque(maxlen=self._held_hops)
        self._was_held: deque[bool] = deque(maxlen=look_back)
        self._was_voiced: deque[bool] = deque(maxlen=look_back)
        self._was_active: deque[bool] = deque(maxlen=look_back)
        self._quiet_hops = self._silent_hops
        self._sound: Voice = "other"
        self.state: Voice = "silent"

    @property
    def sound(self) -> Voice:
        """The newest decision about what sounded, which stays while it is silent."""
        return self._sound

    def reset(self) -> None:
        """Begin the note anew after a gap."""
        self._keys.clear()

    def push(self, key: float | None, *, is_active: bool) -> Voice:
        """Take in a hop: its key number, None when not clear, and whether anything sounds."""
        if key is None:
            self._keys.clear()
        else:
            self._keys.append(key)
        self._was_voiced.append(key is not None)
        self._was_active.append(is_active)
        self._was_held.append(False)
        if self._is_held():
            self._mark_held()
        self._quiet_hops = 0 if is_active else self._quiet_hops + 1
        if self._quiet_hops >= self._silent_hops:
            self.state = "silent"
        else:
            self._sound = self._decide()
            self.state = self._sound
        return self.state

    def _is_held(self) -> bool:
        if len(self._keys) < self._held_hops:
            return False
        keys = np.array(self._keys)
        drift = abs(float(keys[: self._half].mean() - keys[-self._half :].mean()))
        return drift < DRIFT_SEMITONES and float(np.ptp(keys)) < SPAN_SEMITONES

    def _mark_held(self) -> None:
        """All hops of a held note count as held, also those before it was known."""
        for back in range(1, min(self._held_hops, len(self._was_held)) + 1):
            self._was_held[-back] = True

    def _decide(self) -> Voice:
        voiced, active = sum(self._was_voiced), sum(self._was_active)
        if voiced < VOICED_SHARE * active:
            return "other"
        if voiced < self._least_voiced:
            return self._sound
        share = sum(self._was_held) / voiced
        if share >= SINGING_SHARE:
            return "singing"
        if share <= SPEECH_SHARE or self._sound == "other":
            return "speech"
        return self._sound
