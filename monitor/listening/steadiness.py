"""Whether a line is one exponential: what its phase says.

A loop at one frequency turns the phase of its bin by the same angle and changes its level by the
same factor from each window to the next: a single pole.  Notes that begin, end, waver or beat do
not.
"""

from __future__ import annotations

import math

import numpy as np

from monitor.listening.lines import CENTS
from monitor.listening.spectrum import SpectrumHistory

_HOPS = (8, 16, 32, 64)
_DRIFT_HOPS = 8
_SUREST = 1e-6

STEADINESS_FEATURES: tuple[str, ...] = (
    *(f"unsteady_{n}_db" for n in _HOPS),
    *(f"unsteady_phase_{n}_db" for n in _HOPS),
    "drift_cents",
)


def steadiness_hops(window_hops: int) -> int:
    """For how many hops the phase has to be kept."""
    return max(_HOPS) + window_hops


class Steadiness:
    """Measures how far lines of one resolution are from a single pole.

    Parameters
    ----------
    history : SpectrumHistory
        With ``steadiness_hops`` hops of its phase.
    hop_s : float
        Time between two pushes.
    window_hops : int
        Hops in an analysis window: what lies so far apart shares no sample.
    """

    def __init__(self, history: SpectrumHistory, *, hop_s: float, window_hops: int) -> None:
        self._history = history
        self._lag = window_hops
        self._turn_hz = 1.0 / (2.0 * math.pi * window_hops * hop_s)

    def measure(self, bins: np.ndarray, frequency_hz: np.ndarray) -> np.ndarray:
        """``STEADINESS_FEATURES`` of the lines at int ``bins`` [n], as [n_features, n].

        What one pole does not explain of the newest windows from those before, in dB of the
        whole: as they are, and with all levels made alike.  Then how far the frequency has moved
        from the 8 hops before the last 8, in cents.
        """
        lag = self._lag
        z = self._history.spectrum()[:, bins]
        power = np.square(z.real) + np.square(z.imag)
        turn = z[lag:] * z[:-lag].conj()
        phase = turn / (np.abs(turn) + 1e-30)
        values = np.empty((len(STEADINESS_FEATURES), len(bins)))
        for i, n in enumerate(_HOPS):
            both = power[-n:].sum(axis=0) * power[-n - lag : -lag].sum(axis=0)
            values[i] = 1.0 - np.square(np.abs(turn[-n:].sum(axis=0))) / (both + 1e-30)
            values[len(_HOPS) + i] = 1.0 - np.square(np.abs(phase[-n:].sum(axis=0)) / n)
        values[:-1] = 10.0 * np.log10(np.maximum(values[:-1], _SUREST))
        n = _DRIFT_HOPS
        bent = phase[-n:].sum(axis=0) * phase[-2 * n : -n].sum(axis=0).conj()
        values[-1] = np.abs(np.angle(bent)) * self._turn_hz / frequency_hz * CENTS
        return values
