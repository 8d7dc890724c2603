"""The A and C weightings as gains at a frequency.

Source: IEC 61672-1:2013, Annex E: four poles, and gains that make each weighting 0 dB at 1 kHz.
The standard's table rounds to 0.1 dB, so it is met to 0.05 dB at the exact centres.
"""

from __future__ import annotations

import numpy as np

_F1_HZ, _F2_HZ, _F3_HZ, _F4_HZ = 20.60, 107.7, 737.9, 12194.0


def _c(f: np.ndarray) -> np.ndarray:
    square = np.square(f)
    return _F4_HZ**2 * square / ((square + _F1_HZ**2) * (square + _F4_HZ**2))


def _a(f: np.ndarray) -> np.ndarray:
    square = np.square(f)
    return _c(f) * square / np.sqrt((square + _F2_HZ**2) * (square + _F3_HZ**2))


_C1000 = float(_c(np.array(1000.0)))
_A1000 = float(_a(np.array(1000.0)))


def a_power(frequency_hz: np.ndarray) -> np.ndarray:
    """A-weighting as a factor of power at each frequency, which is 0 at 0 Hz."""
    return np.asarray((_a(np.asarray(frequency_hz, dtype=float)) / _A1000) ** 2)


def c_power(frequency_hz: np.ndarray) -> np.ndarray:
    """C-weighting as a factor of power at each frequency, which is 0 at 0 Hz."""
    return np.asarray((_c(np.asarray(frequency_hz, dtype=float)) / _C1000) ** 2)
