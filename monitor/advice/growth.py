"""How fast one line grows or dies: the slope of its level in dB, with its uncertainty.

A loop's level runs along straight lines in dB, one for each gain, until something limits.  The
programme in the same band bends them.  Of all stretches that are straight, the one that chance
explains least is taken: a long climb tells more than a steep one, and a note's beginning is steep.

Conventions
-----------
Levels in dBFS hop by hop, as the spectrum's windows overlap: four hops are one window, and hops
that share a window are not independent.  Times in seconds of the sample clock.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

HOPS_A_WINDOW = 4
"""Both resolutions of the listening look four times a window."""
CLIMB_HOPS = (8, 10, 12, 16, 20, 24, 32, 40, 48, 64, 96)
"""At least two windows: a note's beginning fills one with what looks like a ramp."""
FALL_HOPS = (4, 5, 6, 8, 10, 12, 16, 20, 24, 32)
"""A ring that was pulled falls into the programme sooner than it came out of it."""
MOST_RESIDUAL_DB = 0.6
"""On 51 runs of the practice stage 0.4 and 1.0 dB brought fewer slopes within a factor of 1.5
of the loop's own (88 and 87 % beside 90 %)."""
CLEAR_DB = 8.0
"""Nearer to the floor the noise adds to the line and flattens its slope."""
LEAST_RESIDUAL_DB = 0.25
"""No slope is believed more than if its line were this uneven."""
SLOPE_PART = 0.2
"""Nor to better than this part: with the true loop time 8 in 10 excesses came out between -0.36
and +0.13 of the true one by the logarithm (115 runs of the practice stage): gains move, and the
programme sounds in the same band."""

LONGEST_S = 8.0
CLIMB_S = 3.0
"""Older climbs belong to another gain."""
SETTLE_S = 0.1
"""After a pull this much is left out: the hand is still moving and the window still full of
what was before."""
STANDS_S = 0.3
STANDS_DB = 1.0
LASTS_S = 2.0
LASTS_DB = 3.0
"""What falls by less in two seconds, a pull has not caught: with no more than half a decibel of
margin a loop of the usual time falls ten times as far.  Our choice."""


@dataclass(frozen=True, slots=True)
class Slope:
    """A straight stretch: dB/s (negative: it dies), one standard deviation, and where it lay."""

    db_per_s: float
    spread_db_per_s: float
    from_s: float
    to_s: float


def straightest(
    times_s: np.ndarray,
    level_db: np.ndarray,
    clear: np.ndarray,
    *,
    lengths: tuple[int, ...],
) -> Slope | None:
    """Return the rising straight stretch that chance explains least, or None.

    Parameters
    ----------
    times_s, level_db : np.ndarray [shape=(n,)]
        Evenly spaced.
    clear : np.ndarray of bool [shape=(n,)]
        Where the line stands out enough to be read.
    lengths : tuple of int
        How long a stretch may be, in hops.
    """
    best, best_score = None, 0.0
    for n in (n for n in lengths if n <= len(times_s)):
        hop_s = float(times_s[-1] - times_s[0]) / (len(times_s) - 1)
        offset_s = (np.arange(n) - (n - 1) / 2) * hop_s
        view = np.lib.stride_tricks.sliding_window_view
        stretch = view(level_db, n)
        slope = stretch @ offset_s / np.sum(offset_s**2)
        mean_square = np.mean((stretch - stretch.mean(axis=1, keepdims=True)) ** 2, axis=1)
        residual = np.sqrt(np.maximum(mean_square - slope**2 * np.mean(offset_s**2), 0.0))
        independent = max(n / HOPS_A_WINDOW, 1.5)
        error = np.maximum(residual, LEAST_RESIDUAL_DB) * np.sqrt(12.0 / independent) / (n * hop_s)
        usable = view(clear, n).all(axis=1) & (residual <= MOST_RESIDUAL_DB)
        score = np.where(usable, slope / error, 0.0)
        i = int(np.argmax(score))
        if score[i] > best_score:
            best_score = float(score[i])
            spread = float(np.hypot(error[i], SLOPE_PART * slope[i]))
            best = Slope(float(slope[i]), spread, float(times_s[i]), float(times_s[i + n - 1]))
    return best


class LineTrace:
    """The level of one line over the last seconds, and the slopes in it."""

    def __init__(self) -> None:
        self._points: deque[tuple[float, float, float]] = deque()

    def push(self, at_s: float, level_dbfs: float, floor_dbfs: float) -> None:
        """Take in one hop: the line's level and that of its surroundings."""
        self._points.append((at_s, level_dbfs, floor_dbfs))
        while self._points[0][0] < at_s - LONGEST_S:
            self._points.popleft()

    def reset(self) -> None:
        """Forget everything, as after lost samples."""
        self._points.clear()

    def climb(self, until_s: float) -> Slope | None:
        """Return how it grew in the last seconds before a moment, before anything limited it."""
        times_s, level_db, floor_db = self._span(until_s - CLIMB_S, until_s)
        clear = level_db - floor_db >= CLEAR_DB
        return straightest(times_s, level_db, clear, lengths=CLIMB_HOPS)

    def answer(self, moved_s: float, until_s: float) -> Slope | None:
        """Return how it went on after a pull, a fader move or a phrase: it dies, or still grows."""
        times_s, level_db, floor_db = self._span(moved_s + SETTLE_S, until_s)
        clear = level_db - floor_db >= CLEAR_DB
        fall = straightest(times_s, -level_db, clear, lengths=FALL_HOPS)
        climb = straightest(times_s, level_db, clear, lengths=CLIMB_HOPS)
        if fall is None or (climb is not None and _sure(climb) > _sure(fall)):
            return climb
        return Slope(-fall.db_per_s, fall.spread_db_per_s, fall.from_s, fall.to_s)

    def stands(self, until_s: float) -> bool:
        """Whether it stands still, within 1 dB of the highest: its loop is at an end stop."""
        times_s, level_db, _ = self._span(until_s - CLIMB_S, until_s)
        last = level_db[times_s > until_s - STANDS_S]
        if len(last) < HOPS_A_WINDOW:
            return False
        return bool(np.ptp(last) <= STANDS_DB and last.max() >= level_db.max() - STANDS_DB)

    def lasts(self, until_s: float) -> bool:
        """Whether it has been heard for two seconds and has hardly fallen in them."""
        times_s, level_db, _ = self._span(until_s - LASTS_S, until_s)
        if len(times_s) < 2 * HOPS_A_WINDOW or times_s[-1] - times_s[0] < 0.9 * LASTS_S:
            return False
        first, last = level_db[: len(level_db) // 4], level_db[-(len(level_db) // 4) :]
        return bool(np.median(first) - np.median(last) < LASTS_DB)

    def _span(self, from_s: float, to_s: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        inside = [point for point in self._points if from_s < point[0] <= to_s]
        times_s, level_db, floor_db = np.array(inside).reshape(-1, 3).T
        return times_s, level_db, floor_db


def _sure(slope: Slope) -> float:
    """How much of a stretch there is: its rise or fall in dB."""
    return abs(slope.db_per_s) * (slope.to_s - slope.from_s)
