"""The stage's own electronics: what a cabinet, a capsule and a channel's low cut let through.

Everything returns a complex response on a given frequency grid, minimum phase and causal, so
that any number can be folded into one impulse response.  Equaliser sections are those of
``monitor.advice.sections``: what advice reckons with is what the stage does.
"""

from __future__ import annotations

import math

import numpy as np

from monitor.advice import sections


def peaking_response(
    *, centre_hz: float, gain_db: float, q: float, frequency_hz: np.ndarray, sample_rate_hz: int
) -> np.ndarray:
    """Return one bump or dip.

    Raises
    ------
    ValueError
        If the centre is not between 0 and half the sample rate.
    """
    ratio = sections.ratio_to(centre_hz, frequency_hz, sample_rate_hz)
    return sections.response(sections.peak(gain_db, q=q), ratio)


def low_cut_response(
    *, corner_hz: float, frequency_hz: np.ndarray, sample_rate_hz: int
) -> np.ndarray:
    """Return a second-order Butterworth high-pass (12 dB an octave); corner 0 means none."""
    if corner_hz <= 0.0:
        return np.ones(len(frequency_hz), complex)
    ratio = sections.ratio_to(corner_hz, frequency_hz, sample_rate_hz)
    return sections.response(sections.low_cut(), ratio)


def band_limit_response(*, low_hz: float, high_hz: float, frequency_hz: np.ndarray) -> np.ndarray:
    """Return second-order Butterworth band limits, as a loudspeaker has them (-3 dB at each)."""
    s = 1j * np.asarray(frequency_hz)
    high_pass = s * s / (s * s + math.sqrt(2.0) * low_hz * s + low_hz**2)
    low_pass = high_hz**2 / (s * s + math.sqrt(2.0) * high_hz * s + high_hz**2)
    return high_pass * low_pass
