"""The stream cut into hops of 20 ms, at its own rate and at a low one for pitch and low end."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from monitor.listening.decimate import LowEnd
from monitor.listening.frames import HopBuffer

HOP_S = 0.02
"""A fiftieth of a second: a turn of a vibrato has nine, the shortest vowel two."""

LOW_RATE_HZ = 10000
"""The low rate is the lowest whole fraction of the stream's above this: the first harmonics of the
highest pitch, 1100 Hz, stay below the fifth of it that is flat."""

MOST = 100.0
"""Files in floating point may pass full scale, but not by 40 dB: such samples are no sound."""


@dataclass(frozen=True, slots=True)
class Windows:
    """One hop's sound: the newest samples at the stream's rate and at the low rate, views."""

    whole: np.ndarray
    low: np.ndarray


class Hops:
    """Cuts a stream; any split of the same samples gives the same hops.

    Parameters
    ----------
    sample_rate_hz : int
    whole_s, low_s : float
        How many seconds a hop looks back on, at the stream's rate and at the low one.
    """

    def __init__(self, sample_rate_hz: int, *, whole_s: float, low_s: float) -> None:
        self.hop_samples = round(HOP_S * sample_rate_hz)
        self.hop_s = self.hop_samples / sample_rate_hz
        factor = max(1, sample_rate_hz // LOW_RATE_HZ)
        self.low_rate_hz = sample_rate_hz / factor
        low_samples = round(low_s * self.low_rate_hz) + 1
        window = max(round(whole_s * sample_rate_hz) + 1, self.hop_samples + 9 * factor)
        if factor == 1:
            window = max(window, low_samples)
        self._low_samples = low_samples
        self._buffer = HopBuffer(window_samples=window, hop_samples=self.hop_samples)
        self._low_end = (
            LowEnd(factor=factor, step_samples=self.hop_samples, kept_samples=low_samples)
            if factor > 1
            else None
        )

    def reset(self) -> None:
        """Begin anew after a gap."""
        self._buffer.reset()
        if self._low_end is not None:
            self._low_end.reset()

    def push(self, samples: np.ndarray) -> Iterator[Windows]:
        """Take in float32 [n]; yield each completed hop's windows, valid until the next."""
        for whole in self._buffer.push(samples):
            if self._low_end is None:
                yield Windows(whole, whole[-self._low_samples :])
            else:
                yield Windows(whole, self._low_end.advance(whole))


def checked(samples: np.ndarray) -> np.ndarray:
    """The samples as float32 [n].

    Raises
    ------
    ValueError
        If they are not one row of finite numbers near -1 to 1.
    """
    found = np.asarray(samples)
    if found.ndim != 1 or found.dtype.kind not in "fiu":
        raise ValueError(
            f"samples of shape {found.shape} and type {found.dtype}: one row of float samples of "
            "one channel is expected"
        )
    found = found.astype(np.float32, copy=False)
    bad = int(np.count_nonzero(~(np.abs(found) <= MOST)))
    if bad:
        raise ValueError(
            f"{bad} of {len(found)} samples are not numbers between -1 and 1: look at the program "
            "or the driver that delivers them"
        )
    return found
