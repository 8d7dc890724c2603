"""Whether anything sounds at all, by A-weighted level, so that rumble opens no gate."""

from __future__ import annotations

from collections import deque

import numpy as np

from monitor.channel.loudness import dbfs
from monitor.channel.weighting import a_power
from monitor.listening.spectrum import friendly_length, hann

WINDOW_S = 0.06
"""Shorter ones spread hum of 50 Hz up to where A-weighting lets it through."""

ABOVE_DB = 6.0
"""Sound stands so far above the quiet; whether it is a voice its pitch decides."""

BOUNDS_DBFS = (-80.0, -50.0)
"""The gate lies no lower, where converters hiss, and no higher: a singer who begins without a pause
would otherwise be taken for the quiet."""

QUIET_OVER_CELLS = 100
"""30 s, within which everybody breathes."""

HUM_HZ = (50.0, 60.0)
HUM_UP_TO_HZ = 240.0
HUM_WITHIN = 0.006
"""Mains stays within a fifth of a per cent of its frequency (EN 50160: 1 % at most), the tracker
within the rest."""

HUM_HELD_S = 0.3
HUM_STILL_SEMITONES = 0.1
"""No voice stands so still for so long, and that at a multiple of the mains."""


class ALevel:
    """The A-weighted mean square of the newest 60 ms, up to half of a low rate."""

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
    """Open while the level stands clear of the quiet of the last 30 s.

    The quiet is taken from the lowest hop of each cell, which the gap between two words reaches
    also where nobody pauses for longer; the quietest tenth of those counts.
    """

    def __init__(self) -> None:
        self._lowest: deque[float] = deque(maxlen=QUIET_OVER_CELLS)
        self.level_dbfs = BOUNDS_DBFS[1]

    def is_open(self, a_power: float) -> bool:
        """Whether an A-weighted mean square opens it."""
        return dbfs(a_power) > self.level_dbfs

    def push(self, a_power: float) -> None:
        """Take in a cell's lowest A-weighted mean square."""
        self._lowest.append(a_power)
        quiet = sorted(self._lowest)[len(self._lowest) // 10]
        lowest, highest = BOUNDS_DBFS
        self.level_dbfs = min(max(dbfs(quiet) + ABOVE_DB, lowest), highest)


class Hum:
    """Knows the mains' hum by its pitch: a low multiple of 50 or 60 Hz that stands quite still."""

    def __init__(self, hop_s: float) -> None:
        self._pitches_hz: deque[float] = deque(maxlen=round(HUM_HELD_S / hop_s))

    def push(self, hz: float | None) -> bool:
        """Take in a hop's pitch, None when it has none; return whether it is hum."""
        if hz is None or not _is_of_mains(hz):
            self._pitches_hz.clear()
            return False
        self._pitches_hz.append(hz)
        span = max(self._pitches_hz) / min(self._pitches_hz)
        is_long = len(self._pitches_hz) == self._pitches_hz.maxlen
        return is_long and span < 2.0 ** (HUM_STILL_SEMITONES / 12.0)


def _is_of_mains(hz: float) -> bool:
    if hz > HUM_UP_TO_HZ:
        return False
    return any(abs(hz / mains - round(hz / mains)) < HUM_WITHIN * hz / mains for mains in HUM_HZ)
