"""Frequency responses of the stage's electronics: equaliser sections, low cut, band limits.

Everything returns a complex response on a given frequency grid, so that any number of sections
can be folded into one impulse response.  All are minimum phase and causal.
Sources: peaking section: R. Bristow-Johnson, "Cookbook formulae for audio EQ biquad filter
coefficients" (bandwidth at half the gain in dB); Butterworth sections: textbook.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

THIRD_OCTAVE_Q = 4.318
"""Q of a section one third octave wide: 1 / (2^(1/6) - 2^(-1/6))."""


def peaking_section(
    *, centre_hz: float, gain_db: float, q: float, sample_rate_hz: int
) -> tuple[np.ndarray, np.ndarray]:
    """Return the coefficients (b, a) of one peaking section, a[0] = 1.

    Raises
    ------
    ValueError
        If the centre is not between 0 and half the sample rate, or Q not positive.
    """
    if not 0.0 < centre_hz < sample_rate_hz / 2:
        raise ValueError(f"centre {centre_hz} Hz must lie between 0 and {sample_rate_hz / 2} Hz")
    if not q > 0.0:
        raise ValueError(f"q={q} must be positive")
    amplitude = 10.0 ** (gain_db / 40.0)
    turn = 2.0 * math.pi * centre_hz / sample_rate_hz
    alpha = math.sin(turn) / (2.0 * q)
    b = np.array([1.0 + alpha * amplitude, -2.0 * math.cos(turn), 1.0 - alpha * amplitude])
    a = np.array([1.0 + alpha / amplitude, -2.0 * math.cos(turn), 1.0 - alpha / amplitude])
    return b / a[0], a / a[0]


def section_response(
    b: np.ndarray, a: np.ndarray, frequency_hz: np.ndarray, sample_rate_hz: int
) -> np.ndarray:
    """Return the complex response of one second-order section on a grid."""
    z1 = np.exp(-2j * np.pi * np.asarray(frequency_hz) / sample_rate_hz)
    return (b[0] + z1 * (b[1] + z1 * b[2])) / (a[0] + z1 * (a[1] + z1 * a[2]))


def slider_q(centres_hz: Sequence[float]) -> list[float]:
    """Return each slider's Q: as wide as the distance to its neighbours.

    A lone slider counts as one octave wide.
    """
    if len(centres_hz) < 2:
        return [math.sqrt(2.0)] * len(centres_hz)
    place = [math.log2(c) for c in centres_hz]
    qs = []
    for i in range(len(place)):
        below = place[i] - place[i - 1] if i > 0 else place[1] - place[0]
        above = place[i + 1] - place[i] if i + 1 < len(place) else place[i] - place[i - 1]
        octaves = (below + above) / 2.0
        qs.append(1.0 / (2.0 ** (octaves / 2.0) - 2.0 ** (-octaves / 2.0)))
    return qs


def equaliser_response(
    *,
    centres_hz: Sequence[float],
    cuts_db: Sequence[float],
    frequency_hz: np.ndarray,
    sample_rate_hz: int,
) -> np.ndarray:
    """Return the response of a graphic equaliser; sliders above half the rate do nothing."""
    response = np.ones(len(frequency_hz), complex)
    for centre_hz, cut_db, q in zip(centres_hz, cuts_db, slider_q(centres_hz), strict=True):
        if cut_db != 0.0 and centre_hz < 0.49 * sample_rate_hz:
            b, a = peaking_section(
                centre_hz=centre_hz, gain_db=cut_db, q=q, sample_rate_hz=sample_rate_hz
            )
            response *= section_response(b, a, frequency_hz, sample_rate_hz)
    return response


def low_cut_response(
    *, corner_hz: float, frequency_hz: np.ndarray, sample_rate_hz: int
) -> np.ndarray:
    """Return a second-order Butterworth high-pass (12 dB an octave); corner 0 means none."""
    if corner_hz <= 0.0:
        return np.ones(len(frequency_hz), complex)
    k = math.tan(math.pi * corner_hz / sample_rate_hz)
    norm = 1.0 / (1.0 + math.sqrt(2.0) * k + k * k)
    b = np.array([1.0, -2.0, 1.0]) * norm
    a = np.array([1.0, 2.0 * (k * k - 1.0) * norm, (1.0 - math.sqrt(2.0) * k + k * k) * norm])
    return section_response(b, a, frequency_hz, sample_rate_hz)


def band_limit_response(*, low_hz: float, high_hz: float, frequency_hz: np.ndarray) -> np.ndarray:
    """Return second-order Butterworth band limits, as a loudspeaker has them (-3 dB at each)."""
    s = 1j * np.asarray(frequency_hz)
    high_pass = s * s / (s * s + math.sqrt(2.0) * low_hz * s + low_hz**2)
    low_pass = high_hz**2 / (s * s + math.sqrt(2.0) * high_hz * s + high_hz**2)
    return high_pass * low_pass
