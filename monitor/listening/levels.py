"""Third-octave and overall levels of the newest sound, for the page and the panel.

Computed when somebody asks, not once a hop: nothing in the detector needs them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from monitor.listening.bands import THIRD_OCTAVES
from monitor.listening.spectrum import SILENCE_DBFS, friendly_length, hann

LONG_S = 0.683
"""Window for the low bands: at 20 Hz a third octave is only 4.6 Hz wide."""
SHORT_S = 0.171
"""Window for the bands from ``SPLIT_HZ`` up: near the 125 ms of a meter set to fast."""
SPLIT_HZ = 200.0

EDGES_HZ = np.array([band.lower_hz for band in THIRD_OCTAVES] + [THIRD_OCTAVES[-1].upper_hz])
_LOW_COUNT = sum(band.midband_hz < SPLIT_HZ for band in THIRD_OCTAVES)


@dataclass(frozen=True, slots=True)
class Levels:
    """Levels in dB re a full-scale sine; ``third_octave_dbfs`` is [31], lowest band first.

    The microphone is not calibrated: these are relative levels and say nothing of safety.
    """

    level_dbfs: float
    peak_dbfs: float
    third_octave_dbfs: np.ndarray


def _db(power: np.ndarray | np.floating[Any]) -> np.ndarray:
    return np.maximum(10.0 * np.log10(np.maximum(power, 1e-30)), SILENCE_DBFS)


@lru_cache(maxsize=4)
def _window(n: int) -> tuple[np.ndarray, float]:
    """A window and what squares over bins are to be multiplied by: made anew it costs as much as
    all the rest."""
    window = hann(n)
    # So that a full-scale sine's bins sum to 1.
    return window, 4.0 / (n * float(np.sum(window**2)))


def _band_power(
    samples: np.ndarray, edges_hz: np.ndarray, *, sample_rate_hz: float, seconds: float
) -> np.ndarray:
    """Power between each edge and the next."""
    n = min(friendly_length(seconds, sample_rate_hz), len(samples))
    window, scale = _window(n)
    bin_hz = sample_rate_hz / n
    spectrum = np.fft.rfft(samples[-n:] * window)[: int(edges_hz[-1] / bin_hz) + 2]
    power = (spectrum.real**2 + spectrum.imag**2) * scale
    below = np.concatenate(([0.0], np.cumsum(power, dtype=np.float64)))
    bin_edges_hz = (np.arange(len(power) + 1) - 0.5) * bin_hz
    return np.diff(np.interp(edges_hz, bin_edges_hz, below))


def measure(samples: np.ndarray, *, sample_rate_hz: float) -> Levels:
    """Measure the newest sound.

    Parameters
    ----------
    samples : float array [n], n >= 16
        The newest ``LONG_S`` seconds, or what there is of them.

    Returns
    -------
    Levels
        Bands wholly above half the sample rate read ``SILENCE_DBFS``.
    """
    low = _band_power(
        samples, EDGES_HZ[: _LOW_COUNT + 1], sample_rate_hz=sample_rate_hz, seconds=LONG_S
    )
    high = _band_power(
        samples, EDGES_HZ[_LOW_COUNT:], sample_rate_hz=sample_rate_hz, seconds=SHORT_S
    )
    recent = samples[-friendly_length(SHORT_S, sample_rate_hz) :].astype(np.float64)
    return Levels(
        level_dbfs=float(_db(2.0 * np.mean(recent**2))),
        peak_dbfs=float(_db(np.max(np.abs(recent)) ** 2)),
        third_octave_dbfs=_db(np.concatenate((low, high))),
    )
