"""How a line began and stands, four times as finely in time as the windows that found it.

Within one long window a note's attack and a quick loop's climb look alike.  Windows a quarter as
long tell them apart: how straight and how steep the last 40 to 350 ms were, whether the rest of the
sound had a knock when the line began, and how far it stands over its neighbours there.
"""

from __future__ import annotations

import numpy as np

from monitor.listening.attention import NEIGHBOURS
from monitor.listening.lines import StraightLines
from monitor.listening.spectrum import DB_TO_NEPERS, friendly_length, hann

STEPS = 4
"""Short windows a hop, each a quarter of a hop further and a quarter of the long one's length."""
KEPT_STEPS = 188
"""About one second at the main resolution: what began earlier has been measured since."""
_SLOPE_STEPS = (8, 16, 32, 64)
_NOW_STEPS = 8
_BEFORE_STEPS = 20
_AROUND_STEPS = 3
"""A window's length: a knock that near belongs to the beginning."""
_DROPS_DB = np.array([3.0, 6.0, 20.0, 30.0], np.float32)[:, None, None]
_DROP_ROWS = np.arange(len(_DROPS_DB))[:, None]
_LEAST_PART = 0.05
"""Of all sound: what is left beside a line is never taken to be less, for windows so short leak."""
_APART = np.array([[-2], [2]])
_TINY = 1e-15

ONSET_FEATURES: tuple[str, ...] = (
    *(f"fine_slope_{n}" for n in _SLOPE_STEPS),
    *(f"fine_residual_{n}_db" for n in _SLOPE_STEPS),
    "fine_rise_6_20_s",
    "fine_since_20_s",
    "fine_since_30_s",
    "fine_knock_db",
    "fine_rest_rise_db",
    "fine_over_neighbours_db",
)


class Onset:
    """Short windows of the last second and what lines have done in them.

    Parameters
    ----------
    sample_rate_hz : float
        Of what is pushed.
    window_s, hop_s : float
        Of the long windows, as planned.
    step_samples : float
        How many samples are new at each push.
    highest_hz : float
        Of the lines that are measured.
    """

    def __init__(
        self,
        *,
        sample_rate_hz: float,
        window_s: float,
        hop_s: float,
        step_samples: float,
        highest_hz: float,
    ) -> None:
        n = friendly_length(window_s / STEPS, sample_rate_hz)
        self._bin_hz = sample_rate_hz / n
        self._n_bins = min(n // 2 + 1, int(highest_hz / self._bin_hz) + 4)
        self._window = hann(n)
        self._scale = (2.0 / float(self._window.sum())) ** 2
        ends = np.round(np.arange(STEPS - 1, -1, -1) * step_samples / STEPS).astype(int)
        self._newest = int(ends[0]) + n
        self._samples = (self._newest - n - ends)[:, None] + np.arange(n)
        # Every row is written twice, so that the past is always one plain slice.
        self._power = np.empty((2 * KEPT_STEPS, self._n_bins), np.float32)
        self._total = np.empty(2 * KEPT_STEPS)
        self._step_s = hop_s / STEPS
        self._lines = StraightLines(_SLOPE_STEPS, length=_SLOPE_STEPS[-1], step_s=self._step_s)
        self.reset()

    def reset(self) -> None:
        """Fill the past with silence."""
        self._power[:] = _TINY
        self._total[:] = _TINY
        self._row = 0

    def push(self, window: np.ndarray) -> None:
        """Take in the newest samples, float32; the last ones count."""
        spectra = np.fft.rfft(window[-self._newest :][self._samples] * self._window, axis=1)
        power = np.square(spectra.real)
        power += np.square(spectra.imag)
        power *= self._scale
        power += _TINY
        total = power[:, 1:].sum(axis=1)
        for first in (self._row, self._row + KEPT_STEPS):
            self._power[first : first + STEPS] = power[:, : self._n_bins]
            self._total[first : first + STEPS] = total
        self._row = (self._row + STEPS) % KEPT_STEPS

    def measure(self, frequency_hz: np.ndarray) -> np.ndarray:
        """``ONSET_FEATURES`` of lines at frequencies [n], as [n_features, n]."""
        past = slice(self._row, self._row + KEPT_STEPS)
        power, total = self._power[past], self._total[past]
        bins = np.clip(np.rint(frequency_hz / self._bin_hz).astype(int), 2, self._n_bins - 3)
        three = power[:, bins + NEIGHBOURS]  # [n_steps, 3, n]
        here = three[:, 1]
        level_db = np.log(here) / DB_TO_NEPERS
        level_db -= level_db[-_NOW_STEPS:].mean(axis=0)
        slopes, residuals = self._lines.through(level_db[-_SLOPE_STEPS[-1] :].astype(float))
        # The last step at which it was so far below what it is now; -1: at none.
        below = (level_db < -_DROPS_DB)[:, ::-1]
        back = below.argmax(axis=1)
        last = np.where(below[_DROP_ROWS, back, np.arange(len(bins))], KEPT_STEPS - 1 - back, -1)
        knock, rise = self._beside(total, three.sum(axis=1), last[2], last[0])
        apart = power[-_NOW_STEPS:, bins + _APART].sum(axis=(0, 1)) / len(_APART)
        over = here[-_NOW_STEPS:].sum(axis=0) / apart
        since_s = (KEPT_STEPS - 1 - last) * self._step_s
        return np.concatenate(
            (
                slopes,
                residuals,
                (since_s[2] - since_s[1])[None],
                since_s[2:],
                np.log((knock, rise, over)) / DB_TO_NEPERS,
            )
        )

    def _beside(
        self, total: np.ndarray, line: np.ndarray, begin: np.ndarray, end: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """How far the rest of the sound rose while lines did, steps ``begin`` to ``end``, each [n].

        As a ratio to what the rest is now, and to what it was before.  ``total`` [n_steps] is the
        power of all sound, ``line`` [n_steps, n] of the lines.
        """
        n = len(begin)
        # The last column lies behind the end, so that a stretch may end with the newest step.
        padded = np.zeros((n, KEPT_STEPS + 1))
        rest = padded[:, :KEPT_STEPS]
        np.maximum(total - line.T, _LEAST_PART * total, out=rest)
        begin = np.maximum(np.minimum(begin, end), 0)
        starts = np.arange(n) * (KEPT_STEPS + 1)
        stretch = np.empty((n, 2), int)
        stretch[:, 0] = starts + np.maximum(begin - _AROUND_STEPS, 0)
        stretch[:, 1] = starts + np.minimum(end + 2 + _AROUND_STEPS, KEPT_STEPS)
        most = np.maximum.reduceat(padded.ravel(), stretch.ravel())[::2]
        now = rest[:, -_NOW_STEPS:].mean(axis=1)
        stretch[:, 0] = starts + np.maximum(begin - _BEFORE_STEPS, 0)
        stretch[:, 1] = starts + begin
        count = stretch[:, 1] - stretch[:, 0]
        before = np.add.reduceat(padded.ravel(), stretch.ravel())[::2] / np.maximum(count, 1)
        return most / now, most / np.where(count > 0, before, rest.mean(axis=1))
