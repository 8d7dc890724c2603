"""How a line has come to be where it is: its last seconds, one point a window.

A slow loop climbs for seconds, and a loop that something holds at its limit stands for long: what a
line does now looks like a held note, how it came there does not.  The newest second in full detail
is ``evidence``'s business.

Conventions
-----------
Arrays are [n_points, n_lines], newest last; a point is one analysis window.  What was not heard
yet, after a start, is not asked: with fewer than ``FEWEST_POINTS`` all numbers are 0.
"""

from __future__ import annotations

import numpy as np

from monitor.listening.attention import NEIGHBOURS
from monitor.listening.lines import CENTS, LOBE, StraightLines, follows, peak_offset, rest_of
from monitor.listening.spectrum import SpectrumHistory

PAST_S = 5.0
"""A loop 0.3 dB past its limit with a loop time of 50 ms climbs 30 dB in this time."""
FEWEST_POINTS = 4
_SUNK_DB = 5.0
_OUT_DB = 6.0
_READABLE_DB = 8.0
"""What stands so far out has a frequency that can be read."""
_PARTS = (0.25, 0.5, 1.0)
"""Of ``PAST_S``, over which a straight line is laid."""
_HARMONIC_RATIOS = (2.0, 3.0, 0.5)

PAST_FEATURES: tuple[str, ...] = (
    *(f"past_slope_{part * PAST_S:g}_s" for part in _PARTS),
    *(f"past_residual_{part * PAST_S:g}_s_db" for part in _PARTS),
    "past_out_half",
    "past_out",
    "past_age_s",
    "past_rise_db",
    "past_rise_2_db",
    "past_rise_ago_s",
    "past_growth_since_rise_db",
    "past_fall_db",
    "past_wander_cents",
    "past_rest_spread_db",
    "past_follows_rest",
    *(f"past_harmonic_{ratio:g}_db" for ratio in _HARMONIC_RATIOS),
    *(f"past_harmonic_{ratio:g}_most_db" for ratio in _HARMONIC_RATIOS),
    *(f"past_harmonic_{ratio:g}_follows" for ratio in _HARMONIC_RATIOS),
)


class LongPast:
    """Measures the last ``PAST_S`` seconds of lines of one resolution.

    Parameters
    ----------
    history : SpectrumHistory
        At least ``past_hops`` long.
    hop_s : float
        Time between two pushes.
    window_hops : int
        Hops in an analysis window: the step between two points.
    """

    def __init__(self, history: SpectrumHistory, *, hop_s: float, window_hops: int) -> None:
        self._history = history
        self._step_hops = window_hops
        self._step_s = window_hops * hop_s
        self._points = past_hops(hop_s, window_hops) // window_hops + 1
        self._whole = self._straight_lines(self._points)

    def measure(
        self, bins: np.ndarray, exact_bins: np.ndarray, total_power: np.ndarray, looks: int
    ) -> np.ndarray:
        """``PAST_FEATURES`` of the lines at int ``bins`` [n], as [n_features, n].

        ``exact_bins`` are their places to a fraction of a bin, ``total_power`` is that of all
        sound hop by hop, newest last; ``looks`` says how many hops have been heard.
        """
        n, step = len(bins), self._step_hops
        values = np.zeros((len(PAST_FEATURES), n))
        points = min(self._points, 1 + (looks - step) // step)
        if points < FEWEST_POINTS:
            return values
        hops = step * (points - 1) + 1
        lobe = self._history.level_db(hops)[::step][:, bins + LOBE].astype(np.float64)
        floor_db = self._history.floor_db(hops)[::step][:, bins].astype(np.float64)
        y = lobe[:, 2]
        relative = y - y[-1]
        out = y - floor_db
        half = -(points // 2)

        # Only in the first seconds of a stream is there less.
        whole = points == self._points
        lines = self._whole if whole else self._straight_lines(points)
        values[0:3], values[3:6] = lines.through(relative)
        is_out = out > _OUT_DB
        values[6] = is_out[half:].sum(axis=0) / -half
        values[7] = is_out.sum(axis=0) / points

        # Points since the line last sank into its surroundings; all of them if it never did.
        sunk = out[::-1] <= _SUNK_DB
        age = np.where(sunk.any(axis=0), sunk.argmax(axis=0), points)
        values[8] = age * self._step_s
        # The largest rise since then: a note's beginning, wherever it was.  It may fall into two
        # windows, so both one step and two are asked.
        born = points - 1 - age
        number = np.arange(points)[:, None]
        rise = np.where(number[:-1] >= np.minimum(born, points - 2), y[1:] - y[:-1], -np.inf)
        values[9] = rise.max(axis=0)
        rise_2 = np.where(number[:-2] >= np.minimum(born, points - 3), y[2:] - y[:-2], -np.inf)
        at = rise_2.argmax(axis=0)
        each = np.arange(n)
        values[10] = rise_2[at, each]
        values[11] = (points - 3 - at) * self._step_s
        values[12] = -relative[at + 2, each]
        values[13] = relative.max(axis=0)
        values[14] = self._wander_cents(lobe[half:, 1:4], out[half:], bins)

        rest_db = rest_of(total_power[-hops::step], lobe, floor_db)
        values[15] = np.sqrt(_variance(rest_db[half:]))
        moves = y[1:] - y[:-1]
        values[16] = follows(moves, rest_db[1:] - rest_db[:-1])
        values[17:].reshape(3, len(_HARMONIC_RATIOS), n)[:] = self._harmonics(
            exact_bins, hops, is_out, moves
        )
        return values

    def _harmonics(
        self, exact_bins: np.ndarray, hops: int, is_out: np.ndarray, moves: np.ndarray
    ) -> np.ndarray:
        """What stood at each of ``_HARMONIC_RATIOS`` while the line stood out, [3, n_ratios, n].

        Mean and highest prominence, dB, and the correlation of its moves with the line's: an
        instrument's harmonics come and go with it.  All 0 outside of what is kept.
        """
        history, step = self._history, self._step_hops
        edge = history.n_bins - 2
        places = (np.array(_HARMONIC_RATIOS)[:, None] * exact_bins + 0.5).astype(np.intp)
        inside = (places >= 4) & (places <= edge)
        places = np.minimum(np.maximum(places, 4), edge)
        level_db = history.level_db(hops)[::step][:, places + NEIGHBOURS[:, :, None]]
        level_db = level_db.max(axis=1).astype(np.float64)
        over_db = is_out[:, None] * (level_db - history.floor_db(hops)[::step][:, places])
        told = np.empty((3, len(_HARMONIC_RATIOS), len(exact_bins)))
        told[0] = over_db.sum(axis=0) / np.maximum(is_out.sum(axis=0), 1)
        told[1] = over_db.max(axis=0)
        told[2] = follows(moves[:, None], level_db[1:] - level_db[:-1])
        return inside * told

    def _wander_cents(self, three: np.ndarray, out: np.ndarray, bins: np.ndarray) -> np.ndarray:
        """Standard deviation of the frequency over the points at which it can be read."""
        below, here, above = three[:, 0], three[:, 1], three[:, 2]
        readable = (out > _READABLE_DB) & (here >= below) & (here >= above)
        place = readable * peak_offset(below, here, above)
        count = np.maximum(readable.sum(axis=0), 1)
        mean = place.sum(axis=0) / count
        variance = (place * place).sum(axis=0) / count - mean * mean
        return np.asarray(np.sqrt(np.maximum(variance, 0.0)) * CENTS / bins)

    def _straight_lines(self, points: int) -> StraightLines:
        """Over each part of the past."""
        windows = [min(points, round(part * self._points)) for part in _PARTS]
        return StraightLines(windows, length=points, step_s=self._step_s)


def _variance(values: np.ndarray) -> np.ndarray:
    """Along the first axis; what ``var`` gives at a third of its price for arrays this small."""
    apart = values - values.sum(axis=0) / len(values)
    variance: np.ndarray = (apart * apart).sum(axis=0) / len(values)
    return variance


def past_hops(hop_s: float, window_hops: int) -> int:
    """Hops from the first point of the past to the newest."""
    return window_hops * round(PAST_S / (window_hops * hop_s))
