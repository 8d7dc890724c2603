"""When to take a spectrum: in windows with a voice, and in windows well clear of one."""

from __future__ import annotations

from collections import deque

from monitor.channel.hops import Windows
from monitor.channel.spectra import LONG_S, SHORT_S, Spectra

CLEAR_HOPS = 2
"""A pause begins 40 ms after the last voiced hop: what still sounds then is the room."""


class Looks:
    """Takes windows in turn, the long ones half overlapping, and tells voice from pause."""

    def __init__(self, spectra: Spectra, hop_s: float) -> None:
        self.spectra = spectra
        self._long = round(LONG_S / hop_s)
        self._short = round(SHORT_S / hop_s)
        self._voiced: deque[bool] = deque(maxlen=self._long)
        self.reset()

    def reset(self) -> None:
        """Begin anew after a gap: no window reaches over it."""
        self._hops = self._unvoiced = 0
        self._voiced.clear()

    def push(self, windows: Windows, *, is_voiced: bool) -> None:
        """Take in a hop."""
        self._hops += 1
        self._unvoiced = 0 if is_voiced else self._unvoiced + 1
        self._voiced.append(is_voiced)
        if self._hops > self._short and self._hops % self._short == 0:
            has_voice = self._has_voice(self._short)
            if has_voice is not None:
                self.spectra.push_high(windows.whole, has_voice=has_voice)
        if self._hops > self._long and self._hops % (self._long // 2) == 0:
            has_voice = self._has_voice(self._long)
            if has_voice is not None:
                self.spectra.push_low(windows.low, has_voice=has_voice)

    def _has_voice(self, hops: int) -> bool | None:
        """Whether a window of so many hops has a voice; None where it is neither."""
        if 2 * sum(list(self._voiced)[-hops:]) >= hops:
            return True
        return False if self._unvoiced >= hops + CLEAR_HOPS else None
