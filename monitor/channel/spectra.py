"""Mean spectra of the voice and of what lies below and between it.

Third octaves come from two windows, as the page's levels do: a long one at a low rate for the bands
below ``SPLIT_HZ``, a short one for the rest.
"""

from __future__ import annotations

import numpy as np

from monitor.channel.weighting import a_power, c_power
from monitor.listening.bands import THIRD_OCTAVES
from monitor.listening.levels import EDGES_HZ, SPLIT_HZ
from monitor.listening.spectrum import friendly_length, hann

LONG_S = 0.341
SHORT_S = 0.0853
"""Long: lines 2.9 Hz apart, which tells hum of 50 Hz from that of 60.  Short: 12 Hz, a quarter
of the lowest band it is used for (46 Hz wide at 200 Hz)."""

LOW_END_HZ = 400.0
"""The fine spectrum of the low end is kept up to here: all that a low cut changes."""

CENTRE_HZ = [band.midband_hz for band in THIRD_OCTAVES]
_A_POWER, _C_POWER = a_power(np.array(CENTRE_HZ)), c_power(np.array(CENTRE_HZ))
_IS_LOW = np.array(CENTRE_HZ) < SPLIT_HZ


class MeanSpectrum:
    """The mean power spectrum of the windows taken in, mean square within each line."""

    def __init__(self, *, sample_rate_hz: float, seconds: float, highest_hz: float) -> None:
        self.n_samples = friendly_length(seconds, sample_rate_hz)
        self.line_hz = sample_rate_hz / self.n_samples
        n_lines = min(self.n_samples // 2 + 1, int(highest_hz / self.line_hz) + 2)
        self._window = hann(self.n_samples)
        # Parseval: the sum over all lines is the mean square of what was windowed.
        self._scale = 2.0 / (self.n_samples * float(np.sum(self._window**2)))
        self._sum = np.zeros(n_lines)
        self.count = 0

    @property
    def frequency_hz(self) -> np.ndarray:
        """The lines' frequencies."""
        return np.arange(len(self._sum)) * self.line_hz

    @property
    def power(self) -> np.ndarray:
        """Mean square of each line; zero before anything was taken in."""
        return self._sum / max(self.count, 1)

    def push(self, samples: np.ndarray) -> None:
        """Take in the newest samples, [>= n_samples]; the last ones count."""
        windowed = samples[-self.n_samples :] * self._window
        spectrum = np.fft.rfft(windowed)[: len(self._sum)]
        self._sum += (np.square(spectrum.real) + np.square(spectrum.imag)) * self._scale
        self.count += 1

    def bands(self) -> np.ndarray:
        """Mean square within each third octave, [31]."""
        below = np.concatenate(([0.0], np.cumsum(self.power)))
        edges_hz = (np.arange(len(below)) - 0.5) * self.line_hz
        return np.diff(np.interp(EDGES_HZ, edges_hz, below))


class Spectra:
    """Mean spectra of windows with a voice in them and of those without.

    Parameters
    ----------
    sample_rate_hz, low_rate_hz : float
        The stream's rate, and that of the samples for the low end.
    """

    def __init__(self, *, sample_rate_hz: float, low_rate_hz: float) -> None:
        def low() -> MeanSpectrum:
            return MeanSpectrum(sample_rate_hz=low_rate_hz, seconds=LONG_S, highest_hz=LOW_END_HZ)

        def high() -> MeanSpectrum:
            return MeanSpectrum(
                sample_rate_hz=sample_rate_hz, seconds=SHORT_S, highest_hz=sample_rate_hz / 2.0
            )

        self.voice_low, self.pause_low = low(), low()
        self._voice_high, self._pause_high = high(), high()

    @property
    def low_samples(self) -> int:
        """How many samples of the low rate a window of the low end needs."""
        return self.voice_low.n_samples

    def push_low(self, samples: np.ndarray, *, has_voice: bool) -> None:
        """Take in a window of the low end."""
        (self.voice_low if has_voice else self.pause_low).push(samples)

    def push_high(self, samples: np.ndarray, *, has_voice: bool) -> None:
        """Take in a window of the rest."""
        (self._voice_high if has_voice else self._pause_high).push(samples)

    def voice_bands(self) -> np.ndarray | None:
        """Third octaves with a voice, mean square [31]; None before there was one."""
        if not (self.voice_low.count and self._voice_high.count):
            return None
        return np.where(_IS_LOW, self.voice_low.bands(), self._voice_high.bands())

    def pause_bands(self) -> np.ndarray | None:
        """Third octaves without a voice, mean square [31]; None before there was a pause."""
        if not (self.pause_low.count and self._pause_high.count):
            return None
        return np.where(_IS_LOW, self.pause_low.bands(), self._pause_high.bands())

    def pause_c_minus_a_db(self) -> float | None:
        """C-weighted less A-weighted level of the pauses in dB: high where they lie low."""
        bands = self.pause_bands()
        if bands is None or float(bands.sum()) <= 0.0:
            return None
        c, a = float(bands @ _C_POWER), float(bands @ _A_POWER)
        return float(10.0 * np.log10(c / a)) if a > 0.0 else None

    def all_low(self) -> np.ndarray:
        """The low end of everything, mean square of each line."""
        voice, pause = self.voice_low, self.pause_low
        total = max(voice.count + pause.count, 1)
        return np.asarray((voice.power * voice.count + pause.power * pause.count) / total)

    def low_bands(self) -> np.ndarray:
        """Third octaves of everything, mean square [31]; right for those below ``SPLIT_HZ``."""
        voice, pause = self.voice_low, self.pause_low
        total = max(voice.count + pause.count, 1)
        return np.asarray((voice.bands() * voice.count + pause.bands() * pause.count) / total)
