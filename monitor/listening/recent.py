"""What a line has done in the newest second or two, hop by hop.

Conventions
-----------
Arrays over lines are [n]; histories are [n_hops, n], newest last.  Levels in dB, times in seconds,
slopes in dB/s, deviations in cents or bins.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.listening.attention import NEIGHBOURS
from monitor.listening.lines import CENTS, LOBE, StraightLines, follows, peak_offset, rest_of
from monitor.listening.spectrum import SpectrumHistory
from monitor.listening.surroundings import OUT_DB

HISTORY_HOPS = 56
"""About 1.2 s at the main resolution, 2.4 s at the low one."""
STRAIGHT_DB = 1.0
"""Residual of a straight line through a loop's level: under 0.3 dB when it stands clear, more
while it still emerges from the floor."""

_SHOULDERS = np.array([[-4], [-3], [3], [4]])
_HARMONIC_RATIOS = np.array([2.0, 3.0, 4.0, 5.0, 0.5, 1.5, 1 / 3, 2 / 3, 4 / 3, 0.25, 0.75])
"""Where else an instrument shows: its harmonics, its fundamental, and what lies between."""
_SLOPE_HOPS = (4, 8, 16, 32)
_MEAN_HOPS = (12, 32)
_ONES = np.ones(HISTORY_HOPS)
"""Sums over hops as products: for arrays this small quicker than sum()."""
_OFFSET_MEANS = np.zeros((3, 12))
_OFFSET_MEANS[0, -4:] = _OFFSET_MEANS[2, :4] = 0.25
_OFFSET_MEANS[1] = 1.0 / 12.0
_CHANGES = np.zeros((2, 34))
"""Means of two hops: the newest less those 8 and 32 hops before."""
_CHANGES[:, -2:] = 0.5
_CHANGES[0, -10:-8] = _CHANGES[1, :2] = -0.5

RECENT_FEATURES: tuple[str, ...] = (
    "prominence_db",
    *(f"prominence_{n}_db" for n in _MEAN_HOPS),
    *(f"slope_{n}" for n in _SLOPE_HOPS),
    *(f"residual_{n}_db" for n in _SLOPE_HOPS),
    "deviation_12_cents",
    "deviation_4_bins",
    "drift_12_bins",
    *(f"harmonic_{ratio:.2f}_db" for ratio in _HARMONIC_RATIOS),
    "largest_rise_db",
    "growth_since_rise_db",
    "largest_bend_db",
    "ramp_s",
    "ramp_residual_db",
    "fall_from_peak_db",
    "persistence",
    "age_s",
    "share_of_power_db",
    "share_of_octave_db",
    "shoulder_db",
    "rest_change_8_db",
    "floor_change_8_db",
    "rest_change_32_db",
    "floor_change_32_db",
    "follows_rest",
    "window_s",
)


@dataclass(frozen=True, slots=True)
class Recently:
    """Lines and their newest second.

    ``features`` [n_features, n] are the ``RECENT_FEATURES``; ``exact_bins`` [n] places to a part of
    a bin, ``level_db`` [n_hops, n] the levels of the lines' own bins, ``on_ramp`` bool
    [n_hops, n] what has come since the lowest point; ``line_level_db`` and ``slope_db_per_s`` [n]
    are the lines' own now.
    """

    features: np.ndarray
    exact_bins: np.ndarray
    frequency_hz: np.ndarray
    level_db: np.ndarray
    on_ramp: np.ndarray
    line_level_db: np.ndarray
    slope_db_per_s: np.ndarray


class Recent:
    """Measures lines of one resolution.

    Parameters
    ----------
    history : SpectrumHistory
        At least ``HISTORY_HOPS`` hops long; pushed by the caller.
    hop_s, window_s : float
        Time between two pushes and length of a window, as planned: what a sample rate makes of
        them is rounded to its samples, and would tell the scorer which rate it is.
    window_hops : int
        Hops in a window.
    """

    def __init__(
        self, history: SpectrumHistory, *, hop_s: float, window_s: float, window_hops: int
    ) -> None:
        self._history = history
        self._hop_s = hop_s
        self._window_s = window_s
        self._window_hops = window_hops
        self._lines = StraightLines(_SLOPE_HOPS, length=HISTORY_HOPS, step_s=hop_s)
        self._mean_rows = np.zeros((len(_MEAN_HOPS), HISTORY_HOPS))
        for row, n in zip(self._mean_rows, _MEAN_HOPS, strict=True):
            row[-n:] = 1.0 / n
        self._times_s = (np.arange(HISTORY_HOPS) - (HISTORY_HOPS - 1)) * hop_s
        # Mean and variance of the times from each hop to the last one.
        self._ramp_times = np.array(
            [
                (self._times_s[i:].mean(), self._times_s[i:].var() + 1e-9)
                for i in range(HISTORY_HOPS)
            ]
        ).T
        self._hop_numbers = np.arange(HISTORY_HOPS)[:, None]

    def measure(self, bins: np.ndarray, shares_db: np.ndarray, total_power: np.ndarray) -> Recently:
        """What the lines at int ``bins`` [n] have done.

        ``shares_db`` [2, n] are their shares of all the power and of the octave, ``total_power``
        is that of all sound hop by hop, newest last.
        """
        history, hops = self._history, self._window_hops
        each = np.arange(len(bins))
        recent = history.level_db(HISTORY_HOPS)
        # A standing line: the level of its bin is its own level less a constant.
        three = recent[:, bins + NEIGHBOURS].astype(np.float64)  # [n_hops, below here above, n]
        y = three[:, 1]
        floor_db = history.floor_db(HISTORY_HOPS)[:, bins].astype(np.float64)
        now = y[-1]
        relative = y - now
        prominence = y - floor_db

        below, above = three[-12:, 0], three[-12:, 2]
        offset = peak_offset(below, y[-12:], above)
        exact = bins + offset[-1]
        slopes, residuals = self._lines.through(relative)

        # The largest rise within one window: a note's beginning, or a very fast loop.
        rise = y[hops:] - y[:-hops]
        at = rise.argmax(axis=0)
        largest_rise = rise[at, each]
        bend = np.abs(rise[-16 + hops :] - rise[-16:-hops]).max(axis=0)
        on_ramp, ramp_s, ramp_residual = self._ramp(relative)

        # Hops since the line last sank into its surroundings; all of them if it never did.
        sunk = prominence[::-1] <= OUT_DB / 2.0
        age_hops = np.where(sunk.any(axis=0), sunk.argmax(axis=0), HISTORY_HOPS)

        features = np.vstack(
            (
                prominence[-1],
                self._mean_rows @ prominence,
                slopes,
                residuals,
                self._deviations(offset, exact),
                self._prominence_at(_HARMONIC_RATIOS[:, None] * exact),
                largest_rise,
                now - y[at + hops, each],
                bend,
                ramp_s,
                ramp_residual,
                relative.max(axis=0),
                (prominence[-48:] > OUT_DB).sum(axis=0) / 48.0,
                age_hops * self._hop_s,
                shares_db,
                recent[-4:, bins + _SHOULDERS].sum(axis=(0, 1)) / 16.0 - now,
                self._rest(bins, y, floor_db, total_power),
                np.full(len(bins), self._window_s),
            )
        )
        return Recently(
            features=features,
            exact_bins=exact,
            frequency_hz=exact * history.bin_hz,
            level_db=y,
            on_ramp=on_ramp,
            line_level_db=now - 0.25 * (below[-1] - above[-1]) * offset[-1],
            slope_db_per_s=_straightest(slopes[1:], residuals[1:]),
        )

    def _ramp(self, relative: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """The hops since the lowest point, how long that is, and how far from straight.

        The lowest point is smoothed, so that one noise dip does not count.
        """
        lowest = (relative[:-2] + relative[1:-1] + relative[2:]).argmin(axis=0) + 1
        on_ramp = self._hop_numbers >= lowest
        count = HISTORY_HOPS - lowest
        values = on_ramp * relative
        mean_t, variance_t = self._ramp_times[:, lowest]
        mean_v = _ONES @ values / count
        variance_v = _ONES @ (values * values) / count - mean_v**2
        covariance = self._times_s @ values / count - mean_t * mean_v
        residual = np.sqrt(np.maximum(variance_v - covariance**2 / variance_t, 0.0))
        return on_ramp, count * self._hop_s, residual

    def _deviations(self, offset: np.ndarray, exact: np.ndarray) -> np.ndarray:
        """How the place wanders: 12 hops in cents, 4 in bins, and from the first to the last 4."""
        means = _OFFSET_MEANS @ offset  # of the last 4, all 12, the first 4
        squares = _OFFSET_MEANS[:2] @ (offset * offset)
        spread_4, spread_12 = np.sqrt(np.maximum(squares - means[:2] ** 2, 0.0))
        return np.stack((spread_12 * (CENTS / exact), spread_4, np.abs(means[0] - means[2])))

    def _rest(
        self, bins: np.ndarray, y: np.ndarray, floor_db: np.ndarray, total_power: np.ndarray
    ) -> np.ndarray:
        """How the sound without the line has changed, and whether the line keeps time with it.

        Changes over 8 and 32 hops, of the rest and of the floor around the line each, then the
        correlation of moves: a loop does not keep time.
        """
        lobe_db = self._history.level_db(34)[:, bins + LOBE]
        around = np.empty((2, 34, len(bins)))
        around[1] = floor_db[-34:]
        around[0] = rest_db = rest_of(total_power[-34:], lobe_db, around[1])
        change_8, change_32 = (_CHANGES @ around).swapaxes(0, 1)
        moves = y[-31:] - y[-32:-1]
        rest_moves = rest_db[-31:] - rest_db[-32:-1]
        return np.vstack((change_8, change_32, follows(moves, rest_moves)))

    def _prominence_at(self, exact_bins: np.ndarray) -> np.ndarray:
        """Highest prominence within +-1 bin of given places over the last 2 hops; 0 outside."""
        history = self._history
        # Places outside are moved to the edge and then set to 0.
        edge = history.n_bins - 3
        nearest = (exact_bins + 0.5).astype(np.int64)
        inside = (nearest >= 4) & (nearest <= edge)
        nearest = np.minimum(np.maximum(nearest, 4), edge)
        level = history.level_db(2)[:, nearest + NEIGHBOURS[:, :, None]]  # [2, 3, n_ratios, n]
        above = level.max(axis=1) - history.floor_db(2)[:, nearest]
        return inside * (0.5 * (above[0] + above[1]))


def _straightest(slopes: np.ndarray, residuals: np.ndarray) -> np.ndarray:
    """Slope over the longest window that is straight within 1 dB, else over the shortest given.

    ``slopes`` and ``residuals`` are [n_windows, n], shortest window first.
    """
    straight = residuals <= STRAIGHT_DB
    straight[0] = True
    longest = len(slopes) - 1 - straight[::-1].argmax(axis=0)
    best: np.ndarray = slopes[longest, np.arange(slopes.shape[1])]
    return best
