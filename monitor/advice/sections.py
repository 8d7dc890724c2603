"""Filter sections of equalisers: peaks, shelves and low cut; the one place for them.

A section is a ratio of two polynomials in s / (2 pi corner), highest power first.  Its digital
form is the bilinear transform with the corner kept in place, which only bends the frequency
axis; so one formula serves the analogue equaliser and the one at a sample rate.

Peaks come in two kinds.  "proportional": half of the cut in dB at the edges of its band
whatever the cut, so its dip is wide and shallow or narrow and deep.  "constant": the Q is that
of the zeros when cutting and of the poles when boosting, so a deeper cut reaches further.

Sources: peaks and shelves: R. Bristow-Johnson, "Cookbook formulae for audio EQ biquad filter
coefficients"; the constant kind: its poles' Q without the cookbook's share of the gain; low
cut: Butterworth, textbook.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from monitor.advice.widths import BUTTERWORTH_Q, Width


class Shape(NamedTuple):
    """Numerator and denominator, shape (..., 3) each, in powers 2, 1, 0 of s / (2 pi corner)."""

    over: np.ndarray
    under: np.ndarray


def _stacked(high: np.ndarray | float, middle: np.ndarray, low: np.ndarray | float) -> np.ndarray:
    return np.stack(np.broadcast_arrays(high, middle, low), axis=-1)


def peak(
    gain_db: np.ndarray | float, *, q: np.ndarray | float, width: Width = "proportional"
) -> Shape:
    """Return peaks of these gains (negative: cuts)."""
    gain_db = np.asarray(gain_db, float)
    if width == "constant":
        lift = 10.0 ** (np.maximum(gain_db, 0.0) / 20.0)
        dip = 10.0 ** (np.maximum(-gain_db, 0.0) / 20.0)
        return Shape(_stacked(1.0, lift / q, 1.0), _stacked(1.0, dip / q, 1.0))
    amplitude = 10.0 ** (gain_db / 40.0)
    return Shape(_stacked(1.0, amplitude / q, 1.0), _stacked(1.0, 1.0 / (amplitude * q), 1.0))


def low_shelf(gain_db: np.ndarray | float, *, q: float = BUTTERWORTH_Q) -> Shape:
    """Return shelves of these gains below the corner, where half of the gain is reached."""
    a = 10.0 ** (np.asarray(gain_db, float) / 40.0)
    middle = np.sqrt(a) / q
    return Shape(_stacked(a, a * middle, a * a), _stacked(a, middle, 1.0))


def high_shelf(gain_db: np.ndarray | float, *, q: float = BUTTERWORTH_Q) -> Shape:
    """Return shelves of these gains above the corner, where half of the gain is reached."""
    a = 10.0 ** (np.asarray(gain_db, float) / 40.0)
    middle = np.sqrt(a) / q
    return Shape(_stacked(a * a, a * middle, a), _stacked(1.0, middle, a))


def low_cut() -> Shape:
    """Return a second-order Butterworth low cut, 12 dB an octave, -3 dB at the corner."""
    return Shape(np.array([1.0, 0.0, 0.0]), np.array([1.0, 1.0 / BUTTERWORTH_Q, 1.0]))


def ratio_to(
    corner_hz: float, frequency_hz: np.ndarray, sample_rate_hz: int | None = None
) -> np.ndarray:
    """Return frequencies over the corner, on the bent axis of a sample rate if there is one.

    Raises
    ------
    ValueError
        If the corner is not between 0 and half the sample rate.
    """
    frequency_hz = np.asarray(frequency_hz, float)
    if sample_rate_hz is None:
        if not corner_hz > 0.0:
            raise ValueError(f"centre {corner_hz} Hz must be more than 0")
        return frequency_hz / corner_hz
    if not 0.0 < corner_hz < sample_rate_hz / 2:
        raise ValueError(f"centre {corner_hz} Hz must lie between 0 and {sample_rate_hz / 2} Hz")
    # At half the sample rate the bent axis ends in infinity; large is near enough.
    angle = np.minimum(np.pi * frequency_hz / sample_rate_hz, np.pi / 2 - 1e-9)
    bent: np.ndarray = np.tan(angle) / math.tan(math.pi * corner_hz / sample_rate_hz)
    return bent


def response(shape: Shape, ratio: np.ndarray) -> np.ndarray:
    """Return complex responses, shape (..., len(ratio)), at frequencies over the corner."""
    s = 1j * np.asarray(ratio)
    over, under = (p[..., :, None] for p in shape)
    result: np.ndarray = (over[..., 2, :] + s * (over[..., 1, :] + s * over[..., 0, :])) / (
        under[..., 2, :] + s * (under[..., 1, :] + s * under[..., 0, :])
    )
    return result


def level_db(shape: Shape, ratio: np.ndarray) -> np.ndarray:
    """Return responses in dB, shape (..., len(ratio)); never below -200 dB."""
    square = np.asarray(ratio) ** 2
    over, under = (
        (p[..., 2, None] - p[..., 0, None] * square) ** 2 + p[..., 1, None] ** 2 * square
        for p in shape
    )
    result: np.ndarray = 10.0 * np.log10(np.maximum(over / under, 1e-20))
    return result


def coefficients(
    shape: Shape, *, corner_hz: float, sample_rate_hz: int
) -> tuple[np.ndarray, np.ndarray]:
    """Return the coefficients (b, a) of one section at a sample rate, a[0] = 1.

    Raises
    ------
    ValueError
        If the corner is not between 0 and half the sample rate.
    """
    ratio_to(corner_hz, np.zeros(0), sample_rate_hz)
    k = math.tan(math.pi * corner_hz / sample_rate_hz)
    b, a = (
        np.array(
            [
                p[0] + p[1] * k + p[2] * k * k,
                2 * (p[2] * k * k - p[0]),
                p[0] - p[1] * k + p[2] * k * k,
            ]
        )
        for p in shape
    )
    return b / a[0], a / a[0]
