"""Where a loop will ring, by the Nyquist criterion, and how fast.

A loop with open-loop response L(f) is unstable when L passes to the right of +1 where its phase
is a whole number of turns (T. van Waterschoot, M. Moonen, Proc. IEEE 99(2), 2011, eq. 10-12).
The growth is that of the closed loop's pole: the s that solves L(s) = 1.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Critical:
    """One frequency that meets the phase condition.

    ``margin_db`` is what the gain may rise before it rings, negative when it rings already.
    ``loop_time_s`` is the loop's group delay there; ``growth_db_per_s`` what a small signal
    grows by (negative: dies).
    """

    frequency_hz: float
    margin_db: float
    loop_time_s: float
    growth_db_per_s: float


def open_loop(taps: np.ndarray, size: int) -> np.ndarray:
    """Return the loop's complex response on the real FFT grid of ``size``."""
    from scipy.fft import rfft

    spectrum: np.ndarray = rfft(np.asarray(taps, np.float64), size)
    return spectrum


def _crossings(response: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return grid places (fractional) of zero phase, and |L| there."""
    imaginary, real = response.imag, response.real
    falls = np.flatnonzero((imaginary[:-1] > 0.0) & (imaginary[1:] <= 0.0))
    part = imaginary[falls] / (imaginary[falls] - imaginary[falls + 1])
    to_the_right = real[falls] + part * (real[falls + 1] - real[falls]) > 0.0
    # Lengths are joined, not the points: the chord between them is shorter than the arc.
    before, after = np.abs(response[falls]), np.abs(response[falls + 1])
    level = before + part * (after - before)
    return (falls + part)[to_the_right], level[to_the_right]


def grid_size(length: int) -> int:
    """Return a grid four times as fine as the response needs, so that no crossing is missed."""
    return int(2 ** math.ceil(math.log2(max(4 * length, 32768))))


def highest_gain_db(taps: np.ndarray) -> float:
    """Return the largest 20 log10 |L| among the frequencies with zero phase (-inf: none)."""
    _, level = _crossings(open_loop(taps, grid_size(len(taps))))
    return 20.0 * math.log10(level.max()) if len(level) else -math.inf


class _Transfer:
    """L(s) of taps anywhere in the plane: sum of taps * exp(-s n), and its derivative.

    The powers are taken as an outer product (n = 256 a + b), which is ten times as quick.
    """

    def __init__(self, taps: np.ndarray) -> None:
        rows = -(-len(taps) // 256)
        self._taps = np.zeros((rows, 256))
        self._taps.reshape(-1)[: len(taps)] = taps
        self._coarse = 256.0 * np.arange(rows)
        self._fine = np.arange(256.0)

    def __call__(self, s: complex) -> tuple[complex, complex]:
        coarse, fine = np.exp(-s * self._coarse), np.exp(-s * self._fine)
        both = self._taps @ np.stack([fine, self._fine * fine], axis=1)
        slope = -((self._coarse * coarse) @ both[:, 0] + coarse @ both[:, 1])
        return complex(coarse @ both[:, 0]), complex(slope)


def _on_phase(transfer: _Transfer, frequency_hz: float, rate: int) -> float:
    """Return the frequency near the grid's crossing where the phase is exactly zero."""
    turn = 2.0 * math.pi * frequency_hz / rate
    for _ in range(3):
        value, slope = transfer(1j * turn)
        delay = (-slope / value).real
        if delay < 1.0:
            break  # the phase stands or climbs here: the grid's crossing is as good
        turn += cmath.phase(value) / delay
    return turn * rate / (2.0 * math.pi)


def _pole(transfer: _Transfer, frequency_hz: float, gain: float, rate: int) -> tuple[float, float]:
    """Return the growth (nepers a second) of the pole nearby, and the loop time in seconds.

    Newton's method on gain * L(s) = 1, from the zero-phase crossing with its first guess.
    """
    turn = 2.0 * math.pi * frequency_hz / rate
    value, slope = transfer(1j * turn)
    delay = (-slope / value).real
    if delay < 1.0:
        return 0.0, delay / rate  # no loop time, so no growth that the formula could tell
    straight = math.log(max(gain * abs(value), 1e-12)) / delay
    # Far from the real axis the sum overflows, and growth so fast is no ring's.
    straight = max(-0.01, min(0.01, straight))
    here = complex(straight, turn)
    for _ in range(8):
        value, slope = transfer(here)
        step = (gain * value - 1.0) / (gain * slope)
        here -= step
        if abs(here - complex(straight, turn)) > 0.01:
            break  # away to another pole, or nowhere: the straight guess is the best there is
        if abs(step) < 1e-11:
            return here.real * rate, delay / rate
    return straight * rate, delay / rate


def criticals(
    taps: np.ndarray, *, sample_rate_hz: int, gain_db: float = 0.0, most: int = 12
) -> list[Critical]:
    """Return the frequencies that meet the phase condition, most critical first.

    Parameters
    ----------
    taps : np.ndarray [shape=(n,)]
        The whole loop's impulse response, its delays included.
    sample_rate_hz : int
    gain_db : float
        Added to the loop.
    most : int
        How many are wanted.
    """
    size = grid_size(len(taps))
    place, level = _crossings(open_loop(taps, size))
    order = np.argsort(-level)[:most]
    transfer = _Transfer(taps)
    gain = 10.0 ** (gain_db / 20.0)
    found = []
    for i in order:
        frequency_hz = _on_phase(transfer, float(place[i]) * sample_rate_hz / size, sample_rate_hz)
        here = 2j * math.pi * frequency_hz / sample_rate_hz
        loop_db = 20.0 * math.log10(abs(transfer(here)[0])) + gain_db
        nepers, loop_time_s = _pole(transfer, frequency_hz, gain, sample_rate_hz)
        growth = nepers * 20.0 / math.log(10.0)
        found.append(Critical(frequency_hz, -loop_db, loop_time_s, growth))
    return sorted(found, key=lambda one: one.margin_db)
