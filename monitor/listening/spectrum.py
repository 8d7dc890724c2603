"""Windowed spectra in dB with their recent past, and exact frequencies of single lines.

Conventions
-----------
A full-scale sine (peak 1.0) reads 0 dBFS at its bin's centre.  ``level_db`` arrays are float32
[n_bins] for one hop or [n_hops, n_bins], oldest hop first.
"""

from __future__ import annotations

import math

import numpy as np

DB_TO_NEPERS = math.log(10.0) / 10.0
"""Of power: exp(DB_TO_NEPERS * level_db) is a power ratio."""
SILENCE_DBFS = -150.0
"""Floor of every level: below the noise of any 24-bit converter."""


def friendly_length(seconds: float, sample_rate_hz: float) -> int:
    """Even length near ``seconds`` whose half has only the factors 2, 3 and 5 (quick FFT)."""
    target = max(8, round(seconds * sample_rate_hz / 2.0))
    for step in range(target):
        for half in (target - step, target + step):
            rest = half
            for factor in (2, 3, 5):
                while rest % factor == 0:
                    rest //= factor
            if rest == 1:
                return 2 * half
    raise ValueError(f"no length near {seconds} s at {sample_rate_hz} Hz")


def hann(n: int) -> np.ndarray:
    """Periodic Hann window, float32 [n]."""
    return (0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(n) / n)).astype(np.float32)


class SpectrumHistory:
    """The level of every bin over the last ``n_hops`` hops, and its local floor.

    The local floor of a bin is the mean level in dB of the bins around it, +-``floor_bins``:
    what the line would have to stand out of.  ``power`` [n_bins] is the newest hop's, linear.

    Parameters
    ----------
    window_s : float
        Length of the analysis window in seconds.
    highest_hz : float
        Bins above this (or above half the sample rate) are not kept.
    phase_hops : int, optional
        Over how many of the last hops the spectrum is kept with its phase.
    """

    def __init__(
        self,
        *,
        sample_rate_hz: float,
        window_s: float,
        n_hops: int,
        highest_hz: float,
        floor_bins: int,
        phase_hops: int = 1,
    ) -> None:
        self.window_samples = friendly_length(window_s, sample_rate_hz)
        self.bin_hz = sample_rate_hz / self.window_samples
        self.n_bins = min(self.window_samples // 2 + 1, int(highest_hz / self.bin_hz) + 1)
        self.n_hops = n_hops
        self._window = hann(self.window_samples)
        self._windowed = np.empty_like(self._window)
        self._scale = (2.0 / float(self._window.sum())) ** 2
        # Every row is written twice, n_hops apart, so that the past is always one plain slice.
        self._level_db = np.full((2 * n_hops, self.n_bins), SILENCE_DBFS, dtype=np.float32)
        self._floor_db = np.full((2 * n_hops, self.n_bins), SILENCE_DBFS, dtype=np.float32)
        self._level_twins = self._level_db.reshape(2, n_hops, self.n_bins)
        self._floor_twins = self._floor_db.reshape(2, n_hops, self.n_bins)
        self._row = 0
        self._phase_hops = phase_hops
        self._spectrum = np.zeros((2 * phase_hops, self.n_bins), dtype=np.complex64)
        self._spectrum_twins = self._spectrum.reshape(2, phase_hops, self.n_bins)
        self._phase_row = 0
        if 2 * floor_bins >= self.n_bins:
            raise ValueError(f"floor_bins={floor_bins} is too wide for {self.n_bins} bins")
        self._floor_bins = floor_bins
        self._sums = np.zeros(self.n_bins + 1)
        self._floor_now_db = np.zeros(self.n_bins)
        self.power: np.ndarray = np.zeros(self.n_bins)

    def reset(self) -> None:
        """Fill the past with silence."""
        self._level_db[:] = SILENCE_DBFS
        self._floor_db[:] = SILENCE_DBFS
        self._spectrum[:] = 0.0

    def push(self, window: np.ndarray) -> None:
        """Take in the newest samples, float32 [>= window_samples]; the last ones count."""
        np.multiply(window[-self.window_samples :], self._window, out=self._windowed)
        spectrum = np.fft.rfft(self._windowed)[: self.n_bins]
        self._phase_row = (self._phase_row + 1) % self._phase_hops
        self._spectrum_twins[:, self._phase_row] = spectrum
        power = np.square(spectrum.real)
        power += np.square(spectrum.imag)
        power *= self._scale
        power += 1e-15
        self.power = power
        level_db = np.log10(power)
        level_db *= 10.0
        sums, reach = self._sums, self._floor_bins
        np.cumsum(level_db, out=sums[1:])
        floor_db = self._floor_now_db
        width = 2 * reach + 1
        middle = floor_db[reach : self.n_bins - reach]
        np.subtract(sums[width:], sums[:-width], out=middle)
        middle *= 1.0 / width
        # Towards the ends of the spectrum: the nearest whole neighbourhood.
        floor_db[:reach] = floor_db[reach]
        floor_db[self.n_bins - reach :] = floor_db[self.n_bins - reach - 1]
        self._row = (self._row + 1) % self.n_hops
        self._level_twins[:, self._row] = level_db
        self._floor_twins[:, self._row] = floor_db

    def level_db(self, n_hops: int | None = None) -> np.ndarray:
        """View of the last ``n_hops`` hops (all by default), [n_hops, n_bins], newest last."""
        end = self._row + self.n_hops + 1
        return self._level_db[end - (n_hops or self.n_hops) : end]

    def floor_db(self, n_hops: int | None = None) -> np.ndarray:
        """View of the local floor, shaped as ``level_db``."""
        end = self._row + self.n_hops + 1
        return self._floor_db[end - (n_hops or self.n_hops) : end]

    def spectrum(self) -> np.ndarray:
        """View of the last ``phase_hops`` spectra, complex64 [phase_hops, n_bins], newest last.

        Of any scale, the same at every hop.
        """
        end = self._phase_row + self._phase_hops + 1
        return self._spectrum[end - self._phase_hops : end]


def line_frequency_hz(samples: np.ndarray, *, sample_rate_hz: float, near_hz: float) -> float:
    """Exact frequency of the line nearest to ``near_hz``.

    The maximum of the Hann-windowed spectrum, found by parabolas on its logarithm with steps
    of an eighth and a sixty-fourth of a bin: the bias of the parabola (J. O. Smith, *Spectral
    Audio Signal Processing*, "Bias of Parabolic Peak Interpolation") vanishes with the step.

    Parameters
    ----------
    samples : float array [n]
    near_hz : float
        Within about half a bin (sample_rate_hz / n) of the line.
    """
    n = len(samples)
    bin_hz = sample_rate_hz / n
    windowed = samples * hann(n)
    phase = -2j * math.pi / sample_rate_hz * np.arange(n)
    frequency_hz = near_hz
    for step_hz in (bin_hz / 2, bin_hz / 8, bin_hz / 64):
        offsets_hz = np.array([-step_hz, 0.0, step_hz])
        power = np.abs(np.exp(np.outer(frequency_hz + offsets_hz, phase)) @ windowed) ** 2
        below, here, above = np.log(power + 1e-30)
        curvature = below - 2.0 * here + above
        if curvature >= 0.0:
            break  # no maximum within reach: the guess stands
        frequency_hz += step_hz * float(np.clip(0.5 * (below - above) / curvature, -1.0, 1.0))
    return frequency_hz
