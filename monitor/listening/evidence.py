"""How much a spectral line behaves like a feedback loop: candidates and what is measured on them.

A loop that has gone unstable grows along a straight line in dB, at a frequency that stands
still, out of the floor and without harmonics until something clips.  Instruments and voices
begin with a jump, wander, or bring harmonics along.  Each candidate line of a hop is described
by the numbers of ``FEATURES``, all of them measured on the last second of its own bin; whether
they add up to feedback is the scorer's business.

Conventions
-----------
Arrays over candidates are [n_candidates]; histories are [n_hops, n_candidates], newest last.
Levels in dB, times in seconds, slopes in dB/s, deviations in cents.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.listening.spectrum import SpectrumHistory

HISTORY_HOPS = 56
"""About 1.2 s at the main resolution, 2.4 s at the low one."""

MIN_PROMINENCE_DB = 10.0
"""Of the bins of steady white noise 0.3 % are peaks that stand so far out (measured)."""
MIN_LEVEL_DBFS = -96.0
"""Below the last bit of a 16-bit converter there is nothing to hear."""
LEAST_SHARE_OF_POWER_DB = -40.0
LEAST_SHARE_OF_OCTAVE_DB = -20.0
"""Lines fainter than this beside the sound around them are left for later: a loop climbs out
of there, and what does not is not worth the measuring."""
MOST_SPREAD_BINS = 0.15
STEEPEST_FALL_DB_PER_S = -40.0
"""Over its last four hops a loop's line wanders less and falls less steeply: on the tuning part
this keeps 9 of 10 hops of feedback and leaves out two thirds of all others (measured)."""
STRAIGHT_DB = 1.0
"""Residual of a straight line through a loop's level: under 0.3 dB when it stands clear, more
while it still emerges from the floor."""
ALL_EVERY_HOPS = 4
"""Lines that the scorer was sure are no feedback are measured again only this often."""
MAX_CANDIDATES = 16

DB_TO_NEPERS = np.log(10.0) / 10.0
"""Of power: exp(DB_TO_NEPERS * level_db) is a power ratio."""
_NEIGHBOURS = np.array([-1, 0, 1])[:, None, None]
_SHOULDERS = np.array([[-4], [-3], [3], [4]])
_HARMONIC_RATIOS = np.array([2.0, 3.0, 4.0, 0.5, 1.5, 1.0 / 3.0])
_SLOPE_HOPS = (4, 8, 16, 32)
_MEAN_HOPS = (4, 12, 32)

FEATURES: tuple[str, ...] = (
    "log2_frequency",
    "prominence_db",
    *(f"prominence_{n}_db" for n in _MEAN_HOPS),
    *(f"slope_{n}" for n in _SLOPE_HOPS),
    *(f"residual_{n}_db" for n in _SLOPE_HOPS),
    "deviation_4_cents",
    "deviation_12_cents",
    "deviation_4_bins",
    "drift_12_bins",
    *(f"harmonic_{ratio:.2f}_db" for ratio in _HARMONIC_RATIOS),
    "largest_rise_db",
    "since_largest_rise_s",
    "growth_since_rise_db",
    "largest_bend_db",
    "ramp_s",
    "ramp_rise_db",
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


_SQUASH_AT = {
    **dict.fromkeys((f"slope_{n}" for n in _SLOPE_HOPS), 10.0),
    **dict.fromkeys((f"residual_{n}_db" for n in _SLOPE_HOPS), 0.3),
    "drift_12_bins": 0.01,
    "largest_rise_db": 3.0,
    "growth_since_rise_db": 1.0,
    "largest_bend_db": 1.0,
    "ramp_rise_db": 3.0,
    "ramp_residual_db": 0.3,
    "fall_from_peak_db": 1.0,
    **dict.fromkeys(("rest_change_8_db", "rest_change_32_db"), 3.0),
    **dict.fromkeys(("floor_change_8_db", "floor_change_32_db"), 3.0),
}
"""Features given as a signed logarithm, linear below this, so that no wild value dominates."""
_SQUASHED = np.array([FEATURES.index(name) for name in _SQUASH_AT])
_SQUASH_RATE = 1.0 / np.array(list(_SQUASH_AT.values()))[:, None]


@dataclass(frozen=True, slots=True)
class Candidates:
    """The lines of one hop: floats [n], ``bins`` int [n], ``features`` [n, n_features].

    Shares compare the line's power with that of all the sound and of the octave around it.
    """

    bins: np.ndarray
    frequency_hz: np.ndarray
    level_db: np.ndarray
    prominence_db: np.ndarray
    slope_db_per_s: np.ndarray
    share_of_power_db: np.ndarray
    share_of_octave_db: np.ndarray
    features: np.ndarray


def _rows(hop_s: float) -> tuple[np.ndarray, np.ndarray]:
    """Means and slopes over the last hops as one matrix product.

    Returns weights [2 * n_windows, HISTORY_HOPS], alternately a mean and a slope (dB/s) for
    each window of ``_SLOPE_HOPS``, and the variance of time within each window, s^2.
    """
    rows = []
    for n in _SLOPE_HOPS:
        times_s = (np.arange(n) - (n - 1) / 2) * hop_s
        for weights in (np.full(n, 1.0 / n), times_s / np.sum(times_s**2)):
            row = np.zeros(HISTORY_HOPS)
            row[-n:] = weights
            rows.append(row)
    return np.array(rows), np.array(
        [np.sum(((np.arange(n) - (n - 1) / 2) * hop_s) ** 2) / n for n in _SLOPE_HOPS]
    )


def _straightest(slopes: np.ndarray, residuals: np.ndarray) -> np.ndarray:
    """Slope over the longest window that is straight within 1 dB, else over the shortest given.

    ``slopes`` and ``residuals`` are [n_windows, n_candidates], shortest window first.
    """
    straight = residuals <= STRAIGHT_DB
    straight[0] = True
    longest = len(slopes) - 1 - straight[::-1].argmax(axis=0)
    best: np.ndarray = slopes[longest, np.arange(slopes.shape[1])]
    return best


class Evidence:
    """Finds the candidate lines of one resolution and measures them.

    Parameters
    ----------
    history : SpectrumHistory
        At least ``HISTORY_HOPS`` hops long; pushed by the caller.
    hop_s : float
        Time between two pushes.
    lowest_hz, highest_hz : float
        The range this resolution answers for.
    """

    def __init__(
        self, history: SpectrumHistory, *, hop_s: float, lowest_hz: float, highest_hz: float
    ) -> None:
        self._history = history
        self._hop_s = hop_s
        bin_hz = history.bin_hz
        self._first = max(int(np.ceil(lowest_hz / bin_hz)), 5)
        self._last = min(int(np.ceil(highest_hz / bin_hz)), history.n_bins - 6)
        self.window_s = 1.0 / bin_hz
        self._window_hops = max(2, round(self.window_s / hop_s))
        self._rows, self._time_variances = _rows(hop_s)
        self._mean_of = np.ascontiguousarray(self._rows[0::2])
        self._mean_rows = np.zeros((len(_MEAN_HOPS), HISTORY_HOPS))
        for row, n in zip(self._mean_rows, _MEAN_HOPS, strict=True):
            row[-n:] = 1.0 / n
        self._times_s = (np.arange(HISTORY_HOPS) - (HISTORY_HOPS - 1))[:, None] * hop_s
        self._hop_numbers = np.arange(HISTORY_HOPS)[:, None]
        self._total = np.full(HISTORY_HOPS, 1e-15)
        self._power_sums = np.zeros(history.n_bins + 1)
        self._dismissed = np.zeros(history.n_bins, dtype=bool)
        self._hops = 0

    def reset(self) -> None:
        """Forget the programme's past level (the history is reset by its owner)."""
        self._total[:] = 1e-15
        self._dismissed[:] = False
        self._hops = 0

    def dismiss(self, bins: np.ndarray) -> None:
        """Pass over these bins and their neighbours until the next hop that looks at all."""
        self._dismissed[bins + np.array([[-1], [0], [1]])] = True

    def find(self) -> Candidates | None:
        """Candidates of the newest hop, or None; call exactly once a hop."""
        history = self._history
        level = history.level_db(1)[0]
        floor = history.floor_db(1)[0]
        np.cumsum(history.power, out=self._power_sums[1:])
        self._total[:-1] = self._total[1:]
        self._total[-1] = self._power_sums[-1] + 1e-15

        self._hops += 1
        if self._hops % ALL_EVERY_HOPS == 0:
            self._dismissed[:] = False
        first, last = self._first, self._last
        here = level[first:last]
        is_peak = (
            (here > level[first - 1 : last - 1])
            & (here >= level[first + 1 : last + 1])
            & (here >= floor[first:last] + MIN_PROMINENCE_DB)
            & (here >= MIN_LEVEL_DBFS)
            & ~self._dismissed[first:last]
        )
        bins = np.flatnonzero(is_peak) + first
        if len(bins) == 0:
            return None
        shares_db = self._shares_db(bins)
        heard = (shares_db[0] >= LEAST_SHARE_OF_POWER_DB) & (
            shares_db[1] >= LEAST_SHARE_OF_OCTAVE_DB
        )
        kept = np.flatnonzero(heard)
        if len(kept):
            kept = kept[self._stands(bins[kept])]
        if len(kept) > MAX_CANDIDATES:
            prominence = level[bins[kept]] - floor[bins[kept]]
            kept = np.sort(kept[np.argpartition(-prominence, MAX_CANDIDATES)[:MAX_CANDIDATES]])
        return self._measure(bins[kept], *shares_db[:, kept]) if len(kept) else None

    def _stands(self, bins: np.ndarray) -> np.ndarray:
        """Whether each line stood out, stood still and did not fall over the last four hops."""
        history = self._history
        level = history.level_db(4)
        below, here, above = level[:, bins - 1], level[:, bins], level[:, bins + 1]
        highest = np.maximum(np.maximum(below, here), above)
        out = highest - history.floor_db(4)[:, bins] >= MIN_PROMINENCE_DB - 4.0
        curvature = np.minimum(below - 2.0 * here + above, -1e-6)
        offset = np.minimum(np.maximum(0.5 * (below - above) / curvature, -1.0), 1.0)
        spread = (offset * offset).sum(axis=0) / 4.0 - (offset.sum(axis=0) / 4.0) ** 2
        fall_db = here[3] - here[0] + (here[2] - here[1]) / 3.0  # 10/3 of the slope a hop
        steepest_db = STEEPEST_FALL_DB_PER_S * self._hop_s * 10.0 / 3.0
        standing: np.ndarray = (
            out.all(axis=0) & (spread <= MOST_SPREAD_BINS**2) & (fall_db >= steepest_db)
        )
        return standing

    def _measure(
        self, bins: np.ndarray, share_of_power_db: np.ndarray, share_of_octave_db: np.ndarray
    ) -> Candidates:
        history = self._history
        n = len(bins)
        each = np.arange(n)
        recent = history.level_db(HISTORY_HOPS)
        # A standing line: the level of its bin is its own level less a constant.
        y = recent[:, bins].astype(np.float64)
        floor_db = history.floor_db(HISTORY_HOPS)[:, bins].astype(np.float64)
        now = y[-1]
        relative = y - now
        prominence = y - floor_db

        # Vertex of the parabola through three bins, wherever the middle one is the highest.
        below = recent[-12:, bins - 1].astype(np.float64)
        above = recent[-12:, bins + 1].astype(np.float64)
        curvature = np.minimum(below - 2.0 * y[-12:] + above, -1e-6)
        offset = np.minimum(np.maximum(0.5 * (below - above) / curvature, -1.0), 1.0)
        exact = bins + offset[-1]
        frequency_hz = exact * history.bin_hz
        cents_a_bin = 1200.0 / np.log(2.0) / exact

        moments = self._rows @ relative
        means, slopes = moments[0::2], moments[1::2]
        square_means = self._mean_of @ (relative * relative)
        residuals = np.sqrt(
            np.maximum(square_means - means**2 - slopes**2 * self._time_variances[:, None], 0.0)
        )
        last_4, first_4 = offset[-4:], offset[:4]
        sum_4, sum_12 = last_4.sum(axis=0), offset.sum(axis=0)
        spread_4 = np.sqrt(
            np.maximum((last_4 * last_4).sum(axis=0) / 4.0 - (sum_4 / 4.0) ** 2, 0.0)
        )
        spread_12 = np.sqrt(
            np.maximum((offset * offset).sum(axis=0) / 12.0 - (sum_12 / 12.0) ** 2, 0.0)
        )
        drift = np.abs(sum_4 - first_4.sum(axis=0)) / 4.0

        # The largest rise within one window: a note's beginning, or a very fast loop.
        hops = self._window_hops
        rise = y[hops:] - y[:-hops]
        at = rise.argmax(axis=0)
        largest_rise = rise[at, each]
        bend = np.abs(rise[-16 + hops :] - rise[-16:-hops]).max(axis=0)

        # The ramp since the lowest point (smoothed, so that one noise dip does not count).
        lowest = (relative[:-2] + relative[1:-1] + relative[2:]).argmin(axis=0) + 1
        on_ramp = self._hop_numbers >= lowest
        count = HISTORY_HOPS - lowest
        times = on_ramp * self._times_s
        values = on_ramp * relative
        mean_t, mean_v = times.sum(axis=0) / count, values.sum(axis=0) / count
        variance_t = (times * times).sum(axis=0) / count - mean_t**2 + 1e-9
        variance_v = (values * values).sum(axis=0) / count - mean_v**2
        covariance = (times * values).sum(axis=0) / count - mean_t * mean_v
        ramp_residual = np.sqrt(np.maximum(variance_v - covariance**2 / variance_t, 0.0))

        # Hops since the line last sank into its surroundings; all of them if it never did.
        sunk = prominence[::-1] <= MIN_PROMINENCE_DB / 2.0
        age_hops = np.where(sunk.any(axis=0), sunk.argmax(axis=0), HISTORY_HOPS)

        shoulders = recent[-4:, bins + _SHOULDERS].sum(axis=(0, 1)) / 16.0

        # The programme without this line (a Hann line's power is 1.5 times its middle bin's).
        around = np.empty((2, 34, n))  # the rest of the sound, and the floor around the line
        around[1] = floor_db[-34:]
        line = np.exp(DB_TO_NEPERS * y[-34:])
        floor = np.exp(DB_TO_NEPERS * around[1])
        rest_db = np.log(np.maximum(self._total[-34:, None] - 1.5 * line, floor)) / DB_TO_NEPERS
        around[0] = rest_db
        ends = around[:, [0, 1, -10, -9, -2, -1]]
        around_now = ends[:, 4] + ends[:, 5]
        change_8 = 0.5 * (around_now - ends[:, 2] - ends[:, 3])
        change_32 = 0.5 * (around_now - ends[:, 0] - ends[:, 1])
        # Correlation of the line's moves with the programme's: a loop does not keep time.
        moves = y[-31:] - y[-32:-1]
        rest_moves = rest_db[-31:] - rest_db[-32:-1]
        follows = (moves * rest_moves).sum(axis=0) / np.sqrt(
            (moves * moves).sum(axis=0) * (rest_moves * rest_moves).sum(axis=0) + 1e-9
        )

        # In the order of FEATURES; rows here, columns for the scorer.
        values = np.empty((len(FEATURES), n))
        values[0] = np.log2(frequency_hz / 1000.0)
        values[1] = prominence[-1]
        values[2:5] = self._mean_rows @ prominence
        values[5:9] = slopes
        values[9:13] = residuals
        values[13] = np.log(spread_4 * cents_a_bin + 0.05)
        values[14] = np.log(spread_12 * cents_a_bin + 0.05)
        values[15] = np.log(spread_4 + 0.001)
        values[16] = drift
        values[17:23] = self._prominence_at(_HARMONIC_RATIOS[:, None] * exact)
        values[23] = largest_rise
        values[24] = (len(rise) - 1 - at) * self._hop_s
        values[25] = now - y[at + hops, each]
        values[26] = bend
        values[27] = count * self._hop_s
        values[28] = -relative[lowest, each]
        values[29] = ramp_residual
        values[30] = relative.max(axis=0)
        values[31] = (prominence[-48:] > MIN_PROMINENCE_DB).sum(axis=0) / 48.0
        values[32] = age_hops * self._hop_s
        values[33] = share_of_power_db
        values[34] = share_of_octave_db
        values[35] = shoulders - now
        values[36:38] = change_8
        values[38:40] = change_32
        values[40] = follows
        values[41] = np.log2(self.window_s / 0.0853)
        squashed = values[_SQUASHED]
        values[_SQUASHED] = np.sign(squashed) * np.log1p(np.abs(squashed) * _SQUASH_RATE)
        return Candidates(
            bins=bins,
            frequency_hz=frequency_hz,
            level_db=now - 0.25 * (below[-1] - above[-1]) * offset[-1],
            prominence_db=prominence[-1],
            slope_db_per_s=_straightest(slopes[1:], residuals[1:]),
            share_of_power_db=share_of_power_db,
            share_of_octave_db=share_of_octave_db,
            features=values.T,
        )

    def _shares_db(self, bins: np.ndarray) -> np.ndarray:
        """Lines' power over all the sound's, and over that of the octave around each, dB [2, n]."""
        sums = self._power_sums
        line_power = sums[bins + 2] - sums[bins - 1] + 1e-15
        lower = (bins * 0.7071).astype(np.int64)
        upper = np.minimum((bins * 1.4142).astype(np.int64) + 1, len(sums) - 1)
        shares = np.empty((2, len(bins)))
        shares[0] = line_power / self._total[-1]
        shares[1] = line_power / (sums[upper] - sums[lower] + 1e-15)
        shares_db: np.ndarray = 10.0 * np.log10(shares)
        return shares_db

    def _prominence_at(self, exact_bins: np.ndarray) -> np.ndarray:
        """Highest prominence within +-1 bin of given places over the last 2 hops; 0 outside."""
        history = self._history
        # Places outside are moved to the edge and then set to 0.
        edge = history.n_bins - 3
        nearest = (exact_bins + 0.5).astype(np.int64)
        inside = (nearest >= 4) & (nearest <= edge)
        nearest = np.minimum(np.maximum(nearest, 4), edge)
        level = history.level_db(2)[:, nearest + _NEIGHBOURS]  # [2, 3, n_ratios, n]
        above = level.max(axis=1) - history.floor_db(2)[:, nearest]
        return inside * (0.5 * (above[0] + above[1]))
