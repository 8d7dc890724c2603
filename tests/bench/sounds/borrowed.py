"""Recorded words made to sing: the mouth of a speaker, the tune of the singer.

A speaker's spectral envelope is taken frame by frame and put on new harmonics; the vowel of each
word is held for as long as the note lasts.  What results has the timbre, the consonants and the
breath of a person, and notes that stand.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.bench.sounds.shelf import SAMPLE_RATE_HZ
from tests.bench.sounds.singer import (
    CONTROL_RATE_HZ,
    Note,
    Voice,
    harmonics,
    level,
    pitch_hz,
)

FRAME = 2048
"""Samples; 43 ms hold three periods of a low voice."""
HOP = SAMPLE_RATE_HZ // CONTROL_RATE_HZ
LIFTER_S = 0.0016
"""Half a period at 310 Hz: finer detail of the cepstrum is pitch, not mouth."""


@dataclass(frozen=True, slots=True)
class Word:
    """A spoken word, a frame each 2.5 ms."""

    envelope: np.ndarray
    """Amplitude a sine at that frequency would have, float [frames, bins]."""
    voiced: np.ndarray
    """Share of each frame that is voice and not noise, float [frames]."""
    f0_hz: float
    """Median pitch of the speaker in it."""
    held: int
    """The frame whose vowel can be held."""


def word(samples: np.ndarray) -> Word | None:
    """Take a clip (float [n], 48 kHz) apart; None if it holds no vowel of 60 ms.

    The envelope is the iterated cepstral smoothing of Imai and Abe (1979), which rests on the
    harmonics' tops and not on the valleys between them.
    """
    count = (len(samples) - FRAME) // HOP
    if count < 60:
        return None
    frames = np.lib.stride_tricks.sliding_window_view(samples, FRAME)[::HOP][:count]
    window = np.hanning(FRAME + 1)[:FRAME]
    spectrum = np.fft.rfft(frames * window)
    logs = np.log(np.abs(spectrum) + 1e-7)
    keep = int(LIFTER_S * SAMPLE_RATE_HZ)
    smooth, target = logs, logs
    for _ in range(6):
        cepstrum = np.fft.irfft(target)
        cepstrum[:, keep : FRAME - keep + 1] = 0.0
        smooth = np.fft.rfft(cepstrum).real
        target = np.maximum(logs, smooth)
    envelope = np.exp(smooth) * 2.0 / window.sum()
    voiced, lag = _voicing(spectrum)
    power = np.sum(envelope**2, axis=1)
    loud = power > 0.05 * power.max()
    steady = np.convolve((voiced > 0.6) & loud, np.ones(24) / 24, "same")  # 60 ms of one vowel
    if steady.max() < 0.99:
        return None
    held = int(np.argmax(np.where(steady > 0.99, power, 0.0)))
    f0_hz = float(SAMPLE_RATE_HZ / np.median(lag[(voiced > 0.6) & loud]))
    return Word(envelope / np.sqrt(power[held]), voiced, f0_hz, held)


def _voicing(spectrum: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """How periodic each frame is, 0 to 1, and its period in samples; pitch 70 to 420 Hz."""
    power = np.abs(spectrum) ** 2
    power[:, int(4000 * FRAME / SAMPLE_RATE_HZ) :] = 0.0  # above it breath drowns the voice
    correlation = np.fft.irfft(power)
    first, last = SAMPLE_RATE_HZ // 420, SAMPLE_RATE_HZ // 70
    part = correlation[:, first:last] / (correlation[:, :1] + 1e-12)
    taper = np.fft.irfft(np.abs(np.fft.rfft(np.hanning(FRAME + 1)[:FRAME])) ** 2)
    part = part / (taper[first:last] / taper[0])
    height = part.max(axis=1)
    best = np.argmax(part > 0.9 * height[:, None], axis=1)  # not its double, which is as high
    return np.clip((height - 0.4) / 0.4, 0.0, 1.0), best + first


def places(one: Word, n: int, rng: np.random.Generator) -> np.ndarray:
    """Which frame of the word sounds when, int [n] at ``CONTROL_RATE_HZ``.

    Beginning and end go by as spoken, the vowel between them is held, never quite the same.
    """
    frames = len(one.voiced)
    before = min(one.held, int(0.3 * CONTROL_RATE_HZ), n // 2)
    after = min(frames - one.held, int(0.3 * CONTROL_RATE_HZ), n - before)
    rest = max(0, n - before - after)
    wander = np.cumsum(rng.choice([-1, 1], rest)) if rest else np.zeros(0, int)
    wander = np.abs((wander + 8) % 32 - 16) - 8  # to and fro within 20 ms
    place = np.concatenate(
        [
            np.arange(one.held - before, one.held),
            one.held + wander,
            np.arange(one.held, one.held + after),
        ]
    )
    return np.clip(place[:n], 0, frames - 1)


def sung_words(
    voice: Voice, words: list[Word], notes: list[Note], seconds: float, rng: np.random.Generator
) -> np.ndarray:
    """Each note with a word of its own, float32 [samples] at 48 kHz."""
    n = int(seconds * CONTROL_RATE_HZ)
    f0 = pitch_hz(voice, notes, n, rng)
    gain = level(notes, n)
    envelope = np.zeros((n, FRAME // 2 + 1), np.float32)
    voiced = np.zeros(n)
    for note in notes:
        start = int(note.at_s * CONTROL_RATE_HZ)
        length = min(int(note.long_s * CONTROL_RATE_HZ), n - start)
        one = words[int(rng.integers(len(words)))]
        place = places(one, length, rng)
        envelope[start : start + length] = one.envelope[place]
        voiced[start : start + length] = one.voiced[place]
    bin_hz = SAMPLE_RATE_HZ / FRAME
    row = np.arange(n)

    def weight(k: int) -> np.ndarray:
        exact = np.minimum(k * f0 / bin_hz, FRAME // 2 - 1.001)
        low = exact.astype(int)
        above = exact - low
        amplitude = (1.0 - above) * envelope[row, low] + above * envelope[row, low + 1]
        return gain * voiced * amplitude

    samples = int(seconds * SAMPLE_RATE_HZ)
    out = harmonics(f0, weight, samples)
    breath = 10.0 ** (voice.breath_db / 20.0)
    out += _noise(envelope * (gain * np.maximum(1.0 - voiced, breath))[:, None], samples, rng)
    return out.astype(np.float32)


def _noise(envelope: np.ndarray, samples: int, rng: np.random.Generator) -> np.ndarray:
    """White noise in the shape of ``envelope`` [n, bins], float [samples]."""
    window = np.hanning(FRAME + 1)[:FRAME]
    # Noise of one has spectrum sqrt(sum window²), a sine of amplitude one has sum window / 2.
    scale = window.sum() / 2.0 / np.sqrt(np.sum(window**2))
    out = np.zeros(samples + FRAME)
    step = FRAME // 4
    for start in range(0, samples, step):
        at = min(int((start + FRAME // 2) / HOP), len(envelope) - 1)
        if envelope[at].max() < 1e-5:
            continue
        shaped = np.fft.irfft(np.fft.rfft(rng.standard_normal(FRAME)) * envelope[at] * scale)
        out[start : start + FRAME] += window * shaped / 1.22  # four windows overlap: sqrt(1.5)
    return out[:samples]
