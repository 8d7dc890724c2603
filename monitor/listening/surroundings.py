"""What the sound besides a line has done: how its bin stood out before, and how all others move.

Kept for every bin and brought up to date at every hop, so that a line that has just been found has
a past.

Conventions
-----------
Arrays over lines are [n]; over hops [n_hops, n], newest last; levels in dB.
"""

from __future__ import annotations

import math

import numpy as np

from monitor.listening.attention import NEIGHBOURS
from monitor.listening.spectrum import SILENCE_DBFS, SpectrumHistory

OUT_DB = 10.0
"""What stands so far over its surroundings is a line: of the bins of steady white noise 0.3 % are
peaks that do (measured)."""
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

SURROUNDINGS_FEATURES: tuple[str, ...] = (
    "linger_db",
    "onset_on_ramp_db",
    "peaks",
    "others_change_db",
    "over_others_db",
    "over_record_db",
    "over_record_octave_db",
)


class Surroundings:
    """Follows all bins of one resolution.

    Parameters
    ----------
    history : SpectrumHistory
        At least ``n_hops`` hops long; pushed by the caller.
    hop_s : float
        Time between two pushes.
    n_hops : int
        What is measured of a line's own in full detail; the record leaves it out, a line is not
        to be held against itself.
    """

    def __init__(self, history: SpectrumHistory, *, hop_s: float, n_hops: int) -> None:
        self._history = history
        self._n_hops = n_hops
        self._record_db = np.full(history.n_bins, SILENCE_DBFS, dtype=np.float32)
        self._record_fade_db = np.float32(RECORD_DB * hop_s / RECORD_S)
        self._linger = np.zeros(history.n_bins, dtype=np.float32)
        self._linger_part = np.float32(1.0 - math.exp(-hop_s / LINGER_S))
        self._onsets = np.zeros(n_hops)
        self._each_bin = np.ones(history.n_bins, dtype=np.float32)

    def reset(self) -> None:
        """Forget the past (the history is reset by its owner)."""
        self._linger[:] = 0.0
        self._record_db[:] = SILENCE_DBFS
        self._onsets[:] = 0.0

    def follow(self) -> None:
        """Take in the newest hop; call exactly once a hop."""
        level = self._history.level_db(ONSET_HOPS + 1)
        rise = level[-1] - level[0]
        np.maximum(rise, 0.0, out=rise)
        self._onsets[:-1] = self._onsets[1:]
        self._onsets[-1] = (rise @ self._each_bin) / len(rise)
        self._record_db -= self._record_fade_db
        np.maximum(self._record_db, self._history.level_db(self._n_hops)[0], out=self._record_db)
        out = level[-1] - self._history.floor_db(1)[0]
        np.minimum(out, MOST_LINGER_DB, out=out)
        np.maximum(out, 0.0, out=out)
        out -= self._linger
        out *= self._linger_part
        self._linger += out

    def measure(
        self, bins: np.ndarray, level_db: np.ndarray, on_ramp: np.ndarray, peaks: int
    ) -> np.ndarray:
        """``SURROUNDINGS_FEATURES`` of the lines at int ``bins`` [n], as [n_features, n].

        ``level_db`` are their last hops, float [n_hops, n], ``on_ramp`` which of these belong to
        the way up to where they are now, bool [n_hops, n]; ``peaks`` says how many stood out.
        """
        now = level_db[-1]
        level = self._history.level_db(OTHERS_HOPS + 1)
        out = level[-1] - self._history.floor_db(1)[0] >= OUT_DB
        change_db = (level[-1] - level[0]) * out
        reach = bins + _REACH
        others = out.sum() - out[reach].sum(axis=0)
        others_db = change_db.sum() - change_db[reach].sum(axis=0)
        # 0 where there are no others to speak of.
        others_change = np.where(others >= FEWEST_OTHERS, others_db / np.maximum(others, 1), 0.0)
        around = bins + NEIGHBOURS
        values = np.empty((len(SURROUNDINGS_FEATURES), len(bins)))
        values[0] = self._linger[around].max(axis=0)
        values[1] = (on_ramp * self._onsets[:, None]).max(axis=0)
        values[2] = peaks
        values[3] = others_change
        values[4] = now - level_db[-1 - OTHERS_HOPS] - others_change
        values[5] = now - self._record_db[around].max(axis=0)
        values[6] = now - self._octave_records_db(bins)
        return values

    def _octave_records_db(self, bins: np.ndarray) -> np.ndarray:
        """Loudest moment of the octave around each bin [n]."""
        ends = np.empty(2 * len(bins), dtype=np.intp)
        ends[0::2] = bins * 0.7071
        ends[1::2] = np.minimum(bins * 1.4142 + 1, self._history.n_bins - 1)
        # From each of these places to the next: every second stretch is an octave.
        records_db: np.ndarray = np.maximum.reduceat(self._record_db, ends)[0::2]
        return records_db
