"""Which spectral lines are worth measuring: peaks that stand out, stand still and are heard.

Conventions
-----------
Bins are int arrays [n]; levels in dB, shares of power in dB, never positive.
"""

from __future__ import annotations

import math

import numpy as np

from monitor.listening.attention import NEIGHBOURS, Attention
from monitor.listening.lines import peak_offset
from monitor.listening.spectrum import SpectrumHistory

MIN_PROMINENCE_DB = 8.0
SURE_PROMINENCE_DB = 6.0
"""Of its newest hop and of the two before: at the overtake half of all loops stand out 13 dB, a
quarter less than 10 (measured on the tuning part)."""
MIN_LEVEL_DBFS = -96.0
"""Below the last bit of a 16-bit converter there is nothing to hear."""
LEAST_SHARE_OF_POWER_DB = -36.0
LEAST_SHARE_OF_OCTAVE_DB = -16.0
"""Lines fainter than this beside the sound around them are left for later: a loop climbs out
of there, and what does not is not worth the measuring.  A ring may be called one from 6 and 4 dB
above."""
MOST_SPREAD_BINS = 0.25
STEEPEST_FALL_DB_PER_S = -40.0
HEARD_HZ = (30.0, 12600.0)
"""What counts as all the sound: below lie a cheap converter's offset and rumble, above what hardly
anybody hears, and a line beside them is no less of a ring.  Bass counts: with it left out up to
60 Hz there were 11.0 howls an hour of music at soundcheck, with it 9.2."""
STANDING_HOPS = 3
"""Over its last three hops a loop's line wanders less and falls less steeply.  On the tuning part
56 % of loops get through at the overtake, 71 % 0.1 s later, 93 % 0.3 s later, with 3.3 lines a look
in music; four hops, 10 dB and 0.15 bins let through 43, 60 and 80 %, with 2.0 lines."""
MAX_CANDIDATES = 16

_TINY = 1e-15


class LineFinder:
    """Finds the lines of one resolution's newest hop.

    Parameters
    ----------
    history : SpectrumHistory
        Pushed by the caller.
    hop_s : float
        Time between two pushes.
    lowest_hz, highest_hz : float
        The range this resolution answers for.
    n_hops : int
        How many past hops ``total_power`` holds.
    """

    def __init__(
        self,
        history: SpectrumHistory,
        *,
        hop_s: float,
        lowest_hz: float,
        highest_hz: float,
        n_hops: int,
    ) -> None:
        self._history = history
        self._hop_s = hop_s
        bin_hz = history.bin_hz
        self._first = max(int(np.ceil(lowest_hz / bin_hz)), 5)
        self._last = min(int(np.ceil(highest_hz / bin_hz)), history.n_bins - 6)
        self._heard = tuple(min(math.ceil(hz / bin_hz), history.n_bins) for hz in HEARD_HZ)
        self.total_power = np.zeros(n_hops)
        """Power of all the sound that counts, hop by hop, oldest first."""
        self.peaks = 0
        """How many peaks stood out in the hop that had lines last, passed over or not."""
        self._power_sums = np.zeros(history.n_bins + 1)
        self.attention = Attention(history.n_bins)
        self.reset()

    def reset(self) -> None:
        """Forget the past level and what was dismissed."""
        self.total_power[:] = _TINY
        self.attention.reset()

    @property
    def looks(self) -> int:
        """How many hops have been looked at."""
        return self.attention.looks

    def find(self) -> tuple[np.ndarray, np.ndarray] | None:
        """Bins [n] of the newest hop's lines and their shares [2, n], or None; once a hop.

        Shares compare a line's power with that of all the sound and of the octave around it.
        """
        history = self._history
        level = history.level_db(1)[0]
        floor = history.floor_db(1)[0]
        np.cumsum(history.power, out=self._power_sums[1:])
        self.total_power[:-1] = self.total_power[1:]
        from_bin, to_bin = self._heard
        self.total_power[-1] = self._power_sums[to_bin] - self._power_sums[from_bin] + _TINY

        self.attention.next_look()
        if self.attention.is_closed:
            return None
        first, last = self._first, self._last
        here = level[first:last]
        is_peak = here >= np.maximum(floor[first:last] + MIN_PROMINENCE_DB, MIN_LEVEL_DBFS)
        is_peak &= here > level[first - 1 : last - 1]
        is_peak &= here >= level[first + 1 : last + 1]
        bins = is_peak.nonzero()[0] + first
        self.peaks = len(bins)
        if len(bins):
            bins = bins[self.attention.seen(bins)]
        # In a quiet room hardly any peak stands still: asked first, most looks end here.
        if len(bins):
            bins = bins[self._stands(bins)]
        if len(bins) == 0:
            return None
        shares_db = self._shares_db(bins)
        heard = (shares_db[0] >= LEAST_SHARE_OF_POWER_DB) & (
            shares_db[1] >= LEAST_SHARE_OF_OCTAVE_DB
        )
        kept = heard.nonzero()[0]
        if len(kept) == 0:
            return None
        if len(kept) > MAX_CANDIDATES:
            prominence = level[bins[kept]] - floor[bins[kept]]
            kept = np.sort(kept[np.argpartition(-prominence, MAX_CANDIDATES)[:MAX_CANDIDATES]])
        return bins[kept], shares_db[:, kept]

    def _stands(self, bins: np.ndarray) -> np.ndarray:
        """Whether each line has stood out, stood still and not fallen over the last hops."""
        history = self._history
        level = history.level_db(STANDING_HOPS)
        below, here, above = level[:, bins + NEIGHBOURS].swapaxes(0, 1)
        highest = np.maximum(np.maximum(below, here), above)
        out = highest - history.floor_db(STANDING_HOPS)[:, bins] >= SURE_PROMINENCE_DB
        standing: np.ndarray = out.all(axis=0)
        if not standing.any():
            return standing
        offset = peak_offset(below, here, above)
        mean = offset.sum(axis=0) / STANDING_HOPS
        spread = (offset * offset).sum(axis=0) / STANDING_HOPS - mean * mean
        fall_db = here[-1] - here[0]
        steepest_db = STEEPEST_FALL_DB_PER_S * self._hop_s * (STANDING_HOPS - 1)
        standing &= (spread <= MOST_SPREAD_BINS**2) & (fall_db >= steepest_db)
        return standing

    def _shares_db(self, bins: np.ndarray) -> np.ndarray:
        sums = self._power_sums
        line_power = sums[bins + 2] - sums[bins - 1] + _TINY
        lower = (bins * 0.7071).astype(np.int64)
        upper = np.minimum((bins * 1.4142).astype(np.int64) + 1, len(sums) - 1)
        shares = np.empty((2, len(bins)))
        shares[0] = line_power / self.total_power[-1]
        shares[1] = line_power / (sums[upper] - sums[lower] + _TINY)
        shares_db: np.ndarray = 10.0 * np.log10(shares)
        return shares_db
