"""How much a spectral line behaves like a feedback loop: what is measured on each candidate.

A loop that has gone unstable grows along a straight line in dB, at a frequency that stands
still, out of the floor and without harmonics until something clips.  Instruments and voices
begin with a jump, wander, or bring harmonics along.  Each candidate line of a hop is described
by the numbers of ``FEATURES``, all of them measured on the last second or two of its own bin;
whether they add up to feedback is the scorer's business.

Conventions
-----------
Arrays over candidates are [n_candidates]; histories are [n_hops, n_candidates], newest last.
Levels in dB, times in seconds, slopes in dB/s, deviations in cents or bins.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from monitor.listening.attention import NEIGHBOURS, Attention
from monitor.listening.candidates import LineFinder
from monitor.listening.lines import CENTS, LOBE, follows, peak_offset, rest_of, straight_lines
from monitor.listening.past import PAST_FEATURES, LongPast, past_hops
from monitor.listening.spectrum import SILENCE_DBFS, SpectrumHistory
from monitor.listening.steadiness import STEADINESS_FEATURES, Steadiness, steadiness_hops

HISTORY_HOPS = 56
"""About 1.2 s at the main resolution, 2.4 s at the low one."""

OUT_DB = 10.0
"""What stands so far over its surroundings is a line: of the bins of steady white noise 0.3 % are
peaks that do (measured)."""
STRAIGHT_DB = 1.0
"""Residual of a straight line through a loop's level: under 0.3 dB when it stands clear, more
while it still emerges from the floor."""
RECORD_S = 20.0
"""How long a bin's loudest moment is remembered: some lines of a song.  Notes come back as loud
as they were; what grows goes beyond."""
RECORD_DB = 20.0
"""How far the loudest moment has faded by then."""
LINGER_S = 2.5
"""How long a bin's standing out is remembered: about a line of a song.  A loop's frequencies
ring on after every note for a while before they go unstable."""
MOST_LINGER_DB = 30.0
OTHERS_HOPS = 16
"""Time over which a line's change is held against that of all other lines: a fader or somebody
walking moves them together, a loop goes its own way."""
FEWEST_OTHERS = 3
"""Bins of other lines; with fewer there is nothing to compare with."""
ONSET_HOPS = 3
"""Time over which the spectrum's rise is taken: an abrupt note fills the main window in four."""

_REACH = np.arange(-3, 4)[:, None]
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

FEATURES: tuple[str, ...] = (
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
    "linger_db",
    "onset_on_ramp_db",
    "peaks",
    "others_change_db",
    "over_others_db",
    "over_record_db",
    "over_record_octave_db",
    *STEADINESS_FEATURES,
    *PAST_FEATURES,
)


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
    hop_s, window_s : float
        Time between two pushes and length of a window, as planned: what a sample rate makes of
        them is rounded to its samples, and would tell the scorer which rate it is.
    lowest_hz, highest_hz : float
        The range this resolution answers for.
    """

    def __init__(
        self,
        history: SpectrumHistory,
        *,
        hop_s: float,
        window_s: float,
        lowest_hz: float,
        highest_hz: float,
    ) -> None:
        self._history = history
        self._hop_s = hop_s
        self._finder = LineFinder(
            history,
            hop_s=hop_s,
            lowest_hz=lowest_hz,
            highest_hz=highest_hz,
            n_hops=kept_hops(hop_s, window_s),
        )
        self._window_s = window_s
        self._window_hops = window_hops_of(hop_s, window_s)
        self._steadiness = Steadiness(history, hop_s=hop_s, window_hops=self._window_hops)
        self._past = LongPast(history, hop_s=hop_s, window_hops=self._window_hops)
        self._record_db = np.full(history.n_bins, SILENCE_DBFS, dtype=np.float32)
        self._record_fade_db = np.float32(RECORD_DB * hop_s / RECORD_S)
        self._rows, self._time_variances = straight_lines(
            _SLOPE_HOPS, length=HISTORY_HOPS, step_s=hop_s
        )
        self._mean_of = np.ascontiguousarray(self._rows[0::2])
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
        self._linger = np.zeros(history.n_bins, dtype=np.float32)
        self._linger_part = np.float32(1.0 - math.exp(-hop_s / LINGER_S))
        self._onsets = np.zeros(HISTORY_HOPS)
        self._each_bin = np.ones(history.n_bins, dtype=np.float32)
        self._out = np.zeros(history.n_bins, dtype=bool)
        self._change_db = np.zeros(history.n_bins, dtype=np.float32)

    def reset(self) -> None:
        """Forget the programme's past (the history is reset by its owner)."""
        self._finder.reset()
        self._linger[:] = 0.0
        self._record_db[:] = SILENCE_DBFS
        self._onsets[:] = 0.0

    @property
    def attention(self) -> Attention:
        """Which lines are passed over."""
        return self._finder.attention

    def find(self, *, measure: bool = True) -> Candidates | None:
        """Candidates of the newest hop, or None; call exactly once a hop."""
        self._follow_the_whole()
        found = self._finder.find()
        return self._measure(*found) if found is not None and measure else None

    def _follow_the_whole(self) -> None:
        """Note how the newest hop's spectrum rose, and how long each bin has stood out."""
        level = self._history.level_db(ONSET_HOPS + 1)
        rise = level[-1] - level[0]
        np.maximum(rise, 0.0, out=rise)
        self._onsets[:-1] = self._onsets[1:]
        self._onsets[-1] = (rise @ self._each_bin) / len(rise)
        # The newest second is left out: a line is not to be held against itself.
        self._record_db -= self._record_fade_db
        np.maximum(self._record_db, self._history.level_db(HISTORY_HOPS)[0], out=self._record_db)
        out = level[-1] - self._history.floor_db(1)[0]
        self._out = out >= OUT_DB
        self._change_db = (level[-1] - self._history.level_db(OTHERS_HOPS + 1)[0]) * self._out
        np.minimum(out, MOST_LINGER_DB, out=out)
        np.maximum(out, 0.0, out=out)
        out -= self._linger
        out *= self._linger_part
        self._linger += out

    def _measure(self, bins: np.ndarray, shares_db: np.ndarray) -> Candidates:
        history = self._history
        n = len(bins)
        each = np.arange(n)
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
        frequency_hz = exact * history.bin_hz
        cents_a_bin = CENTS / exact

        moments = self._rows @ relative
        means, slopes = moments[0::2], moments[1::2]
        square_means = self._mean_of @ (relative * relative)
        residuals = np.sqrt(
            np.maximum(square_means - means**2 - slopes**2 * self._time_variances, 0.0)
        )
        offset_means = _OFFSET_MEANS @ offset  # of the last 4, all 12, the first 4
        offset_squares = _OFFSET_MEANS[:2] @ (offset * offset)
        spread_4, spread_12 = np.sqrt(np.maximum(offset_squares - offset_means[:2] ** 2, 0.0))
        drift = np.abs(offset_means[0] - offset_means[2])

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
        values = on_ramp * relative
        mean_t, variance_t = self._ramp_times[:, lowest]
        mean_v = _ONES @ values / count
        variance_v = _ONES @ (values * values) / count - mean_v**2
        covariance = self._times_s @ values / count - mean_t * mean_v
        ramp_residual = np.sqrt(np.maximum(variance_v - covariance**2 / variance_t, 0.0))

        # Hops since the line last sank into its surroundings; all of them if it never did.
        sunk = prominence[::-1] <= OUT_DB / 2.0
        age_hops = np.where(sunk.any(axis=0), sunk.argmax(axis=0), HISTORY_HOPS)

        shoulders = recent[-4:, bins + _SHOULDERS].sum(axis=(0, 1)) / 16.0

        # The programme without this line.
        around = np.empty((2, 34, n))  # the rest of the sound, and the floor around the line
        around[1] = floor_db[-34:]
        total_power = self._finder.total_power
        rest_db = rest_of(total_power[-34:], recent[-34:, bins + LOBE], around[1])
        around[0] = rest_db
        change_8, change_32 = (_CHANGES @ around).swapaxes(0, 1)
        # Correlation of the line's moves with the programme's: a loop does not keep time.
        moves = y[-31:] - y[-32:-1]
        rest_moves = rest_db[-31:] - rest_db[-32:-1]

        # How all other lines have changed; 0 where there are none to speak of.
        reach = bins + _REACH
        others = self._out.sum() - self._out[reach].sum(axis=0)
        others_db = self._change_db.sum() - self._change_db[reach].sum(axis=0)
        others_change = np.where(others >= FEWEST_OTHERS, others_db / np.maximum(others, 1), 0.0)

        # In the order of FEATURES; rows here, columns for the scorer.
        values = np.empty((len(FEATURES), n))
        values[0] = prominence[-1]
        values[1:3] = self._mean_rows @ prominence
        values[3:7] = slopes
        values[7:11] = residuals
        values[11] = spread_12 * cents_a_bin
        values[12] = spread_4
        values[13] = drift
        values[14:25] = self._prominence_at(_HARMONIC_RATIOS[:, None] * exact)
        values[25] = largest_rise
        values[26] = now - y[at + hops, each]
        values[27] = bend
        values[28] = count * self._hop_s
        values[29] = ramp_residual
        values[30] = relative.max(axis=0)
        values[31] = (prominence[-48:] > OUT_DB).sum(axis=0) / 48.0
        values[32] = age_hops * self._hop_s
        values[33:35] = shares_db
        values[35] = shoulders - now
        values[36:38] = change_8
        values[38:40] = change_32
        values[40] = follows(moves, rest_moves)
        values[41] = self._window_s
        values[42] = self._linger[bins + NEIGHBOURS].max(axis=0)
        values[43] = (on_ramp * self._onsets[:, None]).max(axis=0)
        values[44] = self._finder.peaks
        values[45] = others_change
        values[46] = now - y[-1 - OTHERS_HOPS] - others_change
        values[47] = now - self._record_db[bins + NEIGHBOURS].max(axis=0)
        values[48] = now - self._octave_records_db(bins)
        steadiness_end = 49 + len(STEADINESS_FEATURES)
        values[49:steadiness_end] = self._steadiness.measure(bins, frequency_hz)
        values[steadiness_end:] = self._past.measure(bins, exact, total_power, self._finder.looks)
        return Candidates(
            bins=bins,
            frequency_hz=frequency_hz,
            level_db=now - 0.25 * (below[-1] - above[-1]) * offset[-1],
            prominence_db=prominence[-1],
            slope_db_per_s=_straightest(slopes[1:], residuals[1:]),
            share_of_power_db=shares_db[0],
            share_of_octave_db=shares_db[1],
            features=values.T,
        )

    def _octave_records_db(self, bins: np.ndarray) -> np.ndarray:
        """Loudest moment of the octave around each bin [n]."""
        ends = np.empty(2 * len(bins), dtype=np.intp)
        ends[0::2] = bins * 0.7071
        ends[1::2] = np.minimum(bins * 1.4142 + 1, self._history.n_bins - 1)
        # From each of these places to the next: every second stretch is an octave.
        records_db: np.ndarray = np.maximum.reduceat(self._record_db, ends)[0::2]
        return records_db

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


def window_hops_of(hop_s: float, window_s: float) -> int:
    """Hops in a window: after so many it holds nothing of what it held."""
    return max(2, round(window_s / hop_s))


def kept_hops(hop_s: float, window_s: float) -> int:
    """How many hops the history must hold."""
    return max(HISTORY_HOPS, past_hops(hop_s, window_hops_of(hop_s, window_s)) + 1)


def phase_hops(hop_s: float, window_s: float) -> int:
    """How many hops of its phase the history must hold."""
    return steadiness_hops(window_hops_of(hop_s, window_s))
