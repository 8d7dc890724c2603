"""Whether anything sounds at all, by A-weighted level, so that rumble opens no gate."""

from __future__ import annotations

from collections import deque

import numpy as np

from monitor.channel.loudness import dbfs
from monitor.channel.weighting import a_power
from monitor.listening.spectrum import friendly_length, hann

WINDOW_S = 0.04

ABOVE_DB = 10.0
"""A voice stands so far above the quiet."""

BOUNDS_DBFS = (-80.0, -40.0)
"""The gate lies no lower, where converters hiss, and no higher: a singer who begins without a pause
would otherwise be taken for the quiet."""

QUIET_OVER_CELLS = 100
"""30 s, within which everybody breathes."""


class ALevel:
    """The A-weighted mean square of the newest 40 ms, up to half of a low rate."""

    def __init__(self, low_rate_hz: float) -> None:
        n = friendly_length(WINDOW_S, low_rate_hz)
        self._window = hann(n)
        scale = 2.0 / (n * float(np.sum(self._window**2)))
        self._weights = a_power(np.fft.rfftfreq(n, 1.0 / low_rate_hz)) * scale

    def power(self, low: np.ndarray) -> float:
        """Mean square of the newest samples of the low rate, [n]."""
        spectrum = np.fft.rfft(low[-len(self._window) :] * self._window)
        return float((np.square(spectrum.real) + np.square(spectrum.imag)) @ self._weights)


class Gate:
    """Open while the level stands clear of the quietest tenth of the last 30 s."""

    def __init__(self) -> None:
        self._cells: deque[float] = deque(maxlen=QUIET_OVER_CELLS)
        self.level_dbfs = BOUNDS_DBFS[1]

    def is_open(self, a_power: float) -> bool:
        """Whether an A-weighted mean square opens it."""
        return dbfs(a_power) > self.level_dbfs

    def push(self, a_power: float) -> None:
        """Take in a cell's A-weighted mean square."""
        self._cells.append(a_power)
        quiet = sorted(self._cells)[len(self._cells) // 10]
        lowest, highest = BOUNDS_DBFS
        self.level_dbfs = min(max(dbfs(quiet) + ABOVE_DB, lowest), highest)
