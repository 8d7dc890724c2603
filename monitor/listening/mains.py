"""Mains hum: lines on a grid of 50 or 60 Hz that stand there together.

A hum that swells with its channel's fader climbs and stands like a loop; what gives it away is its
company.  A line alone on the grid may be a loop as well, and is left to the scorer.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from monitor.listening.spectrum import SpectrumHistory

MAINS_HZ = (50.0, 60.0)
WITHIN_PART = 0.01
"""Public supplies keep their frequency within 1 % (EN 50160, from memory)."""
HIGHEST_ORDER = 24
LOOKED_FOR = 12
"""Orders that are looked for beside a line: the loud ones of a hum, and within what is kept of the
longer window's spectrum."""
COMPANY = 3
"""So many lines beside it that are no multiples of it: fewer fit by chance, between music and a
loop."""
STANDS_OUT_DB = 8.0
FAR_ABOVE_DB = 20.0
"""What stands so far above all its company is more than a hum."""
OFF_HZ = 0.6
"""By so much the frequency of a line may be told wrong that has just come out of the noise: the
Cramer-Rao bound of the longer window is 0.5 Hz for one that stands 14 dB out of it."""
HELD_S = 0.5
"""An answer holds for so long: the lines stand, and looking costs as much as some hops."""


class Mains:
    """Tells the lines of a hum.

    Parameters
    ----------
    history : SpectrumHistory
        Of the longer window.
    exact_hz : callable
        Exact frequency of the line near a frequency, from the newest samples of that window.
    """

    def __init__(self, history: SpectrumHistory, exact_hz: Callable[[float], float]) -> None:
        self._history = history
        self._exact_hz = exact_hz
        self._told: dict[int, tuple[float, bool]] = {}

    def reset(self) -> None:
        """Forget what was told."""
        self._told.clear()

    def has(self, frequency_hz: float, now_s: float) -> bool:
        """Return whether a line is a harmonic of the mains beside others, no louder than they are.

        Its own multiples do not count: a loop that clips has them, too.
        """
        if frequency_hz > (HIGHEST_ORDER + 0.5) * max(MAINS_HZ):
            return False
        place = round(frequency_hz)
        until_s, told = self._told.get(place, (now_s, False))
        if now_s >= until_s:
            self._told = {k: v for k, v in self._told.items() if v[0] > now_s}
            told = self._is_hum(frequency_hz)
            self._told[place] = now_s + HELD_S, told
        return told

    def _is_hum(self, near_hz: float) -> bool:
        for mains_hz in MAINS_HZ:
            order = round(near_hz / mains_hz)
            if not 1 <= order <= HIGHEST_ORDER:
                continue
            if abs(near_hz / order - mains_hz) > WITHIN_PART * mains_hz:
                continue
            exact_hz = self._exact_hz(near_hz)
            company = self._company(exact_hz, order)
            if len(company) < COMPANY:
                continue
            # The grid by least squares over the company alone: is this line on it?
            weight = float(sum(other**2 for other in company))
            mains_hz = sum(other * hz for other, hz in company.items()) / weight
            if abs(exact_hz - order * mains_hz) <= OFF_HZ * (1.0 + order / math.sqrt(weight)):
                loudest_db = max(self._level_db(hz) for hz in company.values())
                return self._level_db(exact_hz) < loudest_db + FAR_ABOVE_DB
        return False

    def _company(self, own_hz: float, order: int) -> dict[int, float]:
        """Exact frequencies of what stands on the grid of a line, by order."""
        found = {}
        for other in (n for n in range(1, LOOKED_FOR + 1) if n % order):
            at_hz = other * own_hz / order
            place = round(at_hz / self._history.bin_hz)
            if place + 2 > self._history.n_bins:
                break
            floor_db = float(self._history.floor_db(1)[0, place])
            if self._level_db(at_hz) - floor_db < STANDS_OUT_DB:
                continue
            exact_hz = self._exact_hz(at_hz)
            if abs(exact_hz - at_hz) <= OFF_HZ * (1.0 + other / order):
                found[other] = exact_hz
        return found

    def _level_db(self, frequency_hz: float) -> float:
        place = round(frequency_hz / self._history.bin_hz)
        place = min(place, self._history.n_bins - 2)
        return float(self._history.level_db(1)[0, place - 1 : place + 2].max())
