"""The pitch of a voice, hop by hop.

The method is the cumulative mean normalised difference of A. de Cheveigne and H. Kawahara, "YIN, a
fundamental frequency estimator for speech and music", J. Acoust. Soc. Am. 111 (2002), equations 6
and 8 and its steps 4 and 5; the correlation in it is taken by an FFT.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

LOWEST_HZ = 60.0
HIGHEST_HZ = 1100.0
"""Below a bass's lowest note (E2, 82 Hz) and above a soprano's highest (C6, 1047 Hz)."""

SEARCHED_FROM_HZ = 45.0
"""Longer periods than a voice's are searched too, so that hum of 50 Hz is known as such."""

WINDOW_S = 0.030
"""Nearly two periods of the lowest pitch."""

SHORT_WINDOW_S = 0.020
"""A little more than one, for speech that glides by a semitone and more in the long one.  Alone it
follows recorded speech less well (near a library's tracker in 97 hops of 100 instead of 98.6)."""

DIP = 0.12
"""The first dip below this is the period.  The paper's is 0.1; from 0.15 on the octave above is
taken where a vowel's first formant lifts the second partial (made tenors: one hop in 14), below
0.12 more of the octave below where a voice is rough."""

VOICED = 0.35
"""Where no dip goes below ``DIP``, the deepest one counts as voiced up to this.  With 0.25 and the
long window alone a quarter of made speech was missed; with 0.4 and the short one noise that falls
by 6 dB an octave has a voice in one hop of 14, with this in one of 40."""

CLEAR = 0.25
"""A held note leaves less than this over in the long window; what leaves more may glide and is
looked at with the short one too.  The thresholds of speech and singing were chosen with it."""

ALIKE = 0.08
"""Among dips that are as deep to this much the first counts: twice a period fits as well as one.
With 0.15 the octave above is taken in one hop of 75 of made singers, with less more octaves below
in sung words."""

_LEVELLED_HZ = 50.0
"""A running mean over 1/50 s is taken away: it takes offset and the slowest rumble along and leaves
what lies above about 40 Hz within 2 dB."""


@dataclass(frozen=True, slots=True)
class Pitch:
    """``hz`` of the strongest period, how much is left over beside it, from 0 (pure) to 1, and
    whether that is ``CLEAR`` over the long window."""

    hz: float
    aperiodicity: float
    is_clear: bool


class PitchTracker:
    """Tells the pitch of the newest ``needed_samples`` at a rate of 8 to 20 kHz."""

    def __init__(self, sample_rate_hz: float) -> None:
        self._rate_hz = sample_rate_hz
        self._window = round(WINDOW_S * sample_rate_hz)
        self._short_window = round(SHORT_WINDOW_S * sample_rate_hz)
        self._longest = math.ceil(sample_rate_hz / SEARCHED_FROM_HZ) + 1
        self._shortest = max(2, math.floor(sample_rate_hz / HIGHEST_HZ))
        self._level = round(sample_rate_hz / _LEVELLED_HZ)
        self._frame = self._window + self._longest
        self._n_fft = 1 << (self._frame + self._window - 1).bit_length()
        self._lags = np.arange(1, self._longest + 1)
        self.needed_samples = self._frame + self._level

    def pitch(self, samples: np.ndarray) -> Pitch | None:
        """Return the pitch of float [needed_samples], None where nothing repeats.

        Below ``LOWEST_HZ`` it is no voice's.
        """
        frame = self._levelled(samples)
        found = self._look(frame, self._window)
        if found is not None and found.is_clear:
            return found
        shorter = self._look(frame, self._short_window)
        if found is None or (shorter is not None and shorter.aperiodicity < found.aperiodicity):
            return shorter
        return found

    def _look(self, frame: np.ndarray, window: int) -> Pitch | None:
        """The pitch over so many samples around the middle of the long window."""
        first = (self._window - window) // 2
        normalised = self._normalised_difference(
            frame[first : first + window + self._longest], window
        )
        lag = None if normalised is None else self._period(normalised)
        if normalised is None or lag is None:
            return None
        before, here, after = normalised[lag - 1 : lag + 2]
        curvature = before - 2.0 * here + after
        shift = 0.5 * (before - after) / curvature if curvature > 0.0 else 0.0
        hz = self._rate_hz / (lag + min(max(float(shift), -1.0), 1.0))
        if not SEARCHED_FROM_HZ <= hz <= HIGHEST_HZ:
            return None
        return Pitch(hz, float(here), window == self._window and bool(here < CLEAR))

    def _levelled(self, samples: np.ndarray) -> np.ndarray:
        summed = np.concatenate(([0.0], np.cumsum(samples, dtype=np.float64)))
        mean = (summed[self._level :] - summed[: -self._level])[: self._frame] / self._level
        half = self._level // 2
        return np.asarray(samples[half : half + self._frame] - mean)

    def _normalised_difference(self, frame: np.ndarray, window: int) -> np.ndarray | None:
        """The paper's d'(lag) for lags from 0; None in silence."""
        energy = np.concatenate(([0.0], np.cumsum(np.square(frame))))
        if energy[window] < 1e-12:
            return None
        short = np.fft.rfft(frame[:window], self._n_fft)
        long = np.fft.rfft(frame, self._n_fft)
        alike = np.fft.irfft(short.conj() * long, self._n_fft)[1 : self._longest + 1]
        moved = energy[window + self._lags] - energy[self._lags]
        difference = np.maximum(energy[window] + moved - 2.0 * alike, 0.0)
        summed = np.maximum(np.cumsum(difference), 1e-12)
        return np.concatenate(([1.0], difference * self._lags / summed))

    def _period(self, normalised: np.ndarray) -> int | None:
        within = normalised[self._shortest : self._longest]
        is_dip = (within <= normalised[self._shortest - 1 : self._longest - 1]) & (
            within < normalised[self._shortest + 1 : self._longest + 1]
        )
        dips = np.flatnonzero(is_dip)
        if len(dips) == 0:
            return None
        least = float(within[dips].min())
        best = dips[within[dips] < max(DIP, least + ALIKE)][0]
        return int(best) + self._shortest if within[best] < VOICED else None
