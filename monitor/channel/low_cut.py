"""Which low cut takes most of what lies below a voice and nothing of the voice.

A low cut is reckoned as a Butterworth high-pass of 12, 18 or 24 dB an octave, of order n = 2, 3,
4: power gain 1 / (1 + (corner / f)^(2 n)), -3 dB at its corner.  Real ones are close to it; what
one costs at the lowest note is what the lowest partial of that note loses.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

USUAL_HZ = (80.0, 120.0)
"""Low cut of a vocal channel while nothing is known of the voice: common practice, no source."""

MOST_COST_DB = 1.0
"""About the least change of level that is heard at all; common practice, no source."""

ALIKE_DB = 0.5
"""Choices that take the same to this much: the lowest of them is the gentlest."""

BELOW_SHARE = 0.8
"""Below is what lies four semitones and more under the lowest note: vibrato and the width of a
window reach no further."""

FREE_STEP_HZ = 5.0
FREE_HZ = (40.0, 200.0)
"""Knobs that turn freely have no finer marks."""

LEAST_RUMBLE_DB = -35.0
"""Rumble that is further below the voice than this is not worth a number: the beginnings of sung
notes alone put -38 dB there (made singers)."""

HUM_STANDS_DB = 10.0
"""How far a hum's line stands above its surroundings; noise in one window in a hundred does
(exponential distribution of power), in the mean of ten almost never."""

_HUM_HZ = (50.0, 60.0)


@dataclass(frozen=True, slots=True)
class Choice:
    """One frequency of the desk's low cut: what it takes of the rumble and costs the voice."""

    hz: float
    takes_db: float
    costs_db: float


def gain(frequency_hz: np.ndarray | float, corner_hz: float, slope_db: int) -> np.ndarray:
    """Power gain of a low cut."""
    order = slope_db // 6
    with np.errstate(divide="ignore", over="ignore"):
        ratio = corner_hz / np.asarray(frequency_hz, dtype=float)
        return np.asarray(1.0 / (1.0 + ratio ** (2 * order)))


def weigh(
    corners_hz: Sequence[float],
    *,
    frequency_hz: np.ndarray,
    below: np.ndarray,
    lowest_hz: float,
    slope_db: int,
) -> list[Choice]:
    """What each corner takes and costs.

    Parameters
    ----------
    frequency_hz, below : float [n]
        Mean power of each line of the low end; lines above ``BELOW_SHARE`` of the lowest note are
        left out, and so are those below 15 Hz, which no loudspeaker plays.
    lowest_hz : float
        The lowest note.
    """
    is_below = (frequency_hz >= 15.0) & (frequency_hz <= BELOW_SHARE * lowest_hz)
    f, power = frequency_hz[is_below], below[is_below]
    total = float(power.sum())
    choices = []
    for corner_hz in corners_hz:
        left = float((power * gain(f, corner_hz, slope_db)).sum())
        takes = -10.0 * np.log10(left / total) if total > 0.0 and left > 0.0 else 0.0
        costs = -10.0 * np.log10(gain(lowest_hz, corner_hz, slope_db))
        choices.append(Choice(corner_hz, float(takes), float(costs)))
    return choices


def choose(choices: Sequence[Choice], lowest_hz: float) -> Choice | None:
    """The choice that takes most among those that cost the voice nothing.

    Where every one costs something, the lowest, unless it lies above the lowest note: then
    None, the low cut stays out.
    """
    free = [one for one in choices if one.costs_db <= MOST_COST_DB]
    if free:
        most_db = max(one.takes_db for one in free)
        return min((one for one in free if one.takes_db >= most_db - ALIKE_DB), key=lambda c: c.hz)
    lowest = min(choices, key=lambda one: one.hz)
    return lowest if lowest.hz <= lowest_hz else None


def corners(low_cuts_hz: Sequence[float], lowest_hz: float) -> list[float]:
    """The corners to weigh: the desk's own, or steps of 5 Hz where it turns freely."""
    if low_cuts_hz:
        return sorted(low_cuts_hz)
    first, last = FREE_HZ
    steps = np.arange(first, last + FREE_STEP_HZ, FREE_STEP_HZ)
    return [float(hz) for hz in steps if hz <= lowest_hz] or [first]


def hum_hz(frequency_hz: np.ndarray, power: np.ndarray) -> float | None:
    """50 or 60 if the mains hums: its line or both of the next two stand out; else None."""
    best: tuple[float, float] | None = None
    for mains_hz in _HUM_HZ:
        stands = [_stands_db(frequency_hz, power, k * mains_hz) for k in (1, 2, 3)]
        if stands[0] >= HUM_STANDS_DB or min(stands[1:]) >= HUM_STANDS_DB:
            weight = sum(max(0.0, each) for each in stands)
            if best is None or weight > best[0]:
                best = (weight, mains_hz)
    return best[1] if best else None


def _stands_db(frequency_hz: np.ndarray, power: np.ndarray, line_hz: float) -> float:
    """How far a line stands above what lies 9 to 18 Hz to both sides, in dB."""
    off_hz = np.abs(frequency_hz - line_hz)
    line = power[off_hz < 3.0]
    around = power[(off_hz > 9.0) & (off_hz < 18.0)]
    if len(line) == 0 or len(around) == 0 or float(line.max()) < 1e-13:
        return 0.0
    return float(10.0 * np.log10(line.max() / max(float(np.median(around)), 1e-15)))
