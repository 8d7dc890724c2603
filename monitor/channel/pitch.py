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
by 6 dB an octave has a voice in one hop of 14, with this in one of 40 (before it is followed)."""

CLEAR = 0.25
"""A held note leaves less than this over in the long window; what leaves more may glide and is
looked at with the short one too.  The thresholds of speech and singing were chosen with it."""

ALIKE = 0.08
"""Among dips that are as deep to this much the first counts: twice a period fits as well as one.
With 0.15 the octave above is taken in one hop of 75 of made singers, with less more octaves below
in sung words."""

FOLLOWED = 0.5
FOLLOWED_SEMITONES = 1.5
"""A voice that was there a hop before is still there where its period has moved by no more than
this and leaves less than this over: syllables end weakly and roughly, and a glide of eight
semitones in 0.1 s moves by 1.6 a hop.  Made speech, what is not told counted as far off: 96 hops of
100 are near instead of 95.  Recorded speech (files tuned on): of what a library's tracker calls
voiced one hop in 13 is missed instead of one in 10; with 0.6 hardly more is found and half as much
again is told in the library's pauses.  Noise that falls by 6 dB an octave has a voice in one hop of
22."""

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

    def pitch(self, samples: np.ndarray, after_hz: float | None = None) -> Pitch | None:
        """Return the pitch of float [needed_samples], None where nothing repeats.

        ``after_hz`` is the voice's pitch a hop before, None where there was none.  Below
        ``LOWEST_HZ`` it is no voice's.
        """
        frame = self._levelled(samples)
        long = self._normalised_difference(frame, self._window)
        found = self._pitch_at(long, self._period(long), is_clear_below=CLEAR)
        if found is not None and found.is_clear:
            return found
        short = self._normalised_difference(frame, self._short_window)
        found = _surer(found, self._pitch_at(short, self._period(short)))
        if found is not None or after_hz is None:
            return found
        near_lag = self._rate_hz / after_hz
        return _surer(
            self._pitch_at(long, self._period_near(long, near_lag)),
            self._pitch_at(short, self._period_near(short, near_lag)),
        )

    def _pitch_at(
        self, normalised: np.ndarray, lag: int | None, *, is_clear_below: float = 0.0
    ) -> Pitch | None:
        """The pitch of a dip; its bottom lies between the lags."""
        if lag is None:
            return None
        before, here, after = normalised[lag - 1 : lag + 2]
        curvature = before - 2.0 * here + after
        shift = 0.5 * (before - after) / curvature if curvature > 0.0 else 0.0
        hz = self._rate_hz / (lag + min(max(float(shift), -1.0), 1.0))
        if not SEARCHED_FROM_HZ <= hz <= HIGHEST_HZ:
            return None
        return Pitch(hz, float(here), is_clear=bool(here < is_clear_below))

    def _levelled(self, samples: np.ndarray) -> np.ndarray:
        summed = np.concatenate(([0.0], np.cumsum(samples, dtype=np.float64)))
        mean = (summed[self._level :] - summed[: -self._level])[: self._frame] / self._level
        half = self._level // 2
        return np.asarray(samples[half : half + self._frame] - mean)

    def _normalised_difference(self, frame: np.ndarray, window: int) -> np.ndarray:
        """The paper's d'(lag) for lags from 0, over so many samples around the middle of the long
        window; 1 throughout in silence."""
        first = (self._window - window) // 2
        frame = frame[first : first + window + self._longest]
        energy = np.concatenate(([0.0], np.cumsum(np.square(frame))))
        if energy[window] < 1e-12:
            return np.ones(self._longest + 1)
        short = np.fft.rfft(frame[:window], self._n_fft)
        long = np.fft.rfft(frame, self._n_fft)
        alike = np.fft.irfft(short.conj() * long, self._n_fft)[1 : self._longest + 1]
        moved = energy[window + self._lags] - energy[self._lags]
        difference = np.maximum(energy[window] + moved - 2.0 * alike, 0.0)
        summed = np.maximum(np.cumsum(difference), 1e-12)
        return np.concatenate(([1.0], difference * self._lags / summed))

    def _dips(self, normalised: np.ndarray) -> np.ndarray:
        """The lags at which a period may lie."""
        within = normalised[self._shortest : self._longest]
        is_dip = (within <= normalised[self._shortest - 1 : self._longest - 1]) & (
            within < normalised[self._shortest + 1 : self._longest + 1]
        )
        return np.flatnonzero(is_dip) + self._shortest

    def _period(self, normalised: np.ndarray) -> int | None:
        """The lag at which it repeats."""
        dips = self._dips(normalised)
        if len(dips) == 0:
            return None
        depths = normalised[dips]
        best = dips[depths < max(DIP, float(depths.min()) + ALIKE)][0]
        return int(best) if normalised[best] < VOICED else None

    def _period_near(self, normalised: np.ndarray, lag: float) -> int | None:
        """The lag at which it still repeats a little, near another."""
        dips = self._dips(normalised)
        dips = dips[np.abs(np.log2(dips / lag)) < FOLLOWED_SEMITONES / 12.0]
        if len(dips) == 0:
            return None
        best = dips[np.argmin(normalised[dips])]
        return int(best) if normalised[best] < FOLLOWED else None


def _surer(one: Pitch | None, other: Pitch | None) -> Pitch | None:
    """The one that leaves less over, the first where they are alike."""
    if one is None or other is None:
        return one or other
    return other if other.aperiodicity < one.aperiodicity else one
