"""Arithmetic that is done on the past of many spectral lines at once.

Conventions
-----------
Histories are [n_hops, n_lines], newest last; levels in dB.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from monitor.listening.spectrum import DB_TO_NEPERS

CENTS = 1200.0 / math.log(2.0)
"""Times the natural logarithm of a ratio, or its distance from 1 when that is small."""
LOBE = np.arange(-2, 3)[:, None]
"""Added to bins [n]: the main lobe of a Hann window around each, [5, n]."""


def peak_offset(below: np.ndarray, here: np.ndarray, above: np.ndarray) -> np.ndarray:
    """Vertex of the parabola through three bins' levels, in bins from the middle one, -1 to 1.

    It is the line's place wherever the middle bin is the highest.
    """
    curvature = np.minimum(below - 2.0 * here + above, -1e-6)
    offset: np.ndarray = np.minimum(np.maximum(0.5 * (below - above) / curvature, -1.0), 1.0)
    return offset


class StraightLines:
    """Least squares over the newest values, in several windows at once, as one matrix product.

    Parameters
    ----------
    windows : sequence of int
        How many values each takes.
    length : int
        Of what is given.
    step_s : float
        Time between two values.
    """

    def __init__(self, windows: Sequence[int], *, length: int, step_s: float) -> None:
        # Alternately a mean and a slope.
        self._rows = np.zeros((2 * len(windows), length))
        self._time_variances = np.zeros((len(windows), 1))
        for i, n in enumerate(windows):
            times_s = (np.arange(n) - (n - 1) / 2) * step_s
            self._rows[2 * i, -n:] = 1.0 / n
            self._rows[2 * i + 1, -n:] = times_s / np.sum(times_s**2)
            self._time_variances[i] = np.sum(times_s**2) / n
        self._mean_of = np.ascontiguousarray(self._rows[0::2])

    def through(self, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Slopes of values [length, n], a second, and what is left beside, each [n_windows, n]."""
        moments = self._rows @ values
        means, slopes = moments[0::2], moments[1::2]
        left = self._mean_of @ (values * values) - means**2 - slopes**2 * self._time_variances
        return slopes, np.sqrt(np.maximum(left, 0.0))


def follows(moves: np.ndarray, others: np.ndarray) -> np.ndarray:
    """Correlation of moves along the first axis."""
    together: np.ndarray = (moves * others).sum(axis=0) / np.sqrt(
        (moves * moves).sum(axis=0) * (others * others).sum(axis=0) + 1e-9
    )
    return together


def rest_of(total_power: np.ndarray, lobe_db: np.ndarray, floor_db: np.ndarray) -> np.ndarray:
    """Level of all sound but a line, dB [n_hops, n_lines], never under the floor around the line.

    ``total_power`` [n_hops] is that of all sound, ``lobe_db`` [n_hops, 5, n_lines] the levels of
    the line's main lobe, ``floor_db`` [n_hops, n_lines].
    """
    line = np.exp(DB_TO_NEPERS * lobe_db).sum(axis=1)
    rest = np.maximum(total_power[:, None] - line, np.exp(DB_TO_NEPERS * floor_db))
    rest_db: np.ndarray = np.log(rest) / DB_TO_NEPERS
    return rest_db
