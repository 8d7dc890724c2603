"""Voices of known pitch and level: sung notes, speech-like glides, steady sounds."""

from __future__ import annotations

from functools import cache

import numpy as np

from tests.bench.sounds import singer

RATE_HZ = 48000


@cache
def sung(
    register: str = "tenor", seconds: float = 12.0, seed: int = 1
) -> tuple[np.ndarray, np.ndarray, float]:
    """Singing without a pause before it: samples float32 [n] at 48 kHz with peak 1, its key
    number at each 2.5 ms (NaN where nothing is sung), and the lowest key of its notes."""
    rng = np.random.default_rng([9, seed])
    notes = singer.tune(singer.RANGE_KEYS[register], seconds, rng)
    voice = singer.somebody(register, rng)
    # The singer draws its pitch first, so the same state gives the same pitch.
    state = rng.bit_generator.state
    samples = singer.sung(voice, notes, seconds, rng)
    rng.bit_generator.state = state
    n = int(seconds * singer.CONTROL_RATE_HZ)
    keys = 69.0 + 12.0 * np.log2(singer.pitch_hz(voice, notes, n, rng) / 440.0)
    keys[singer.level(notes, n) < 0.3] = np.nan
    return samples / np.max(np.abs(samples)), keys, min(note.key for note in notes)


def _syllables(
    seconds: float, seed: int, low_hz: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Pitch in Hz, loudness and mouth at the singer's control rate."""
    rng = np.random.default_rng([8, seed])
    n = int(seconds * singer.CONTROL_RATE_HZ)
    f0, gain = np.full(n, low_hz), np.zeros(n)
    mouth = np.empty((n, 5, 3))
    at = 0
    while at < n:
        long = int(rng.uniform(0.10, 0.25) * singer.CONTROL_RATE_HZ)
        part = slice(at, min(at + long, n))
        count = part.stop - part.start
        glide = np.linspace(rng.uniform(2, 8), rng.uniform(0, 3), count)
        f0[part] = low_hz * 2.0 ** (glide / 12.0)
        gain[part] = np.hanning(count + 2)[1:-1]
        mouth[part] = singer.formants("tenor", str(rng.choice(list("aeiou"))))
        at += long
        if rng.random() < 0.25:
            at += int(rng.uniform(0.05, 0.4) * singer.CONTROL_RATE_HZ)
    mouth[gain == 0.0] = singer.formants("tenor", "a")
    return f0, gain, mouth


@cache
def spoken(seconds: float = 12.0, seed: int = 1, low_hz: float = 110.0) -> np.ndarray:
    """Syllables of 0.1 to 0.25 s whose pitch never stands still, float32 [n] with peak 1."""
    f0, gain, mouth = _syllables(seconds, seed, low_hz)
    samples = singer.harmonics(
        f0, lambda k: gain * singer.response(k * f0, mouth), int(seconds * RATE_HZ)
    )
    return (samples / np.max(np.abs(samples))).astype(np.float32)


def spoken_keys(seconds: float = 12.0, seed: int = 1, low_hz: float = 110.0) -> np.ndarray:
    """The key number of the same at each 2.5 ms, NaN where it is soft."""
    f0, gain, _ = _syllables(seconds, seed, low_hz)
    return np.where(gain >= 0.3, 69.0 + 12.0 * np.log2(f0 / 440.0), np.nan)


def noise(seconds: float, rms: float, *, rate_hz: int = RATE_HZ, seed: int = 3) -> np.ndarray:
    """White noise, float32 [n]."""
    rng = np.random.default_rng(seed)
    return (rms * rng.standard_normal(int(seconds * rate_hz))).astype(np.float32)


def sine(hz: float, seconds: float, peak: float, *, rate_hz: int = RATE_HZ) -> np.ndarray:
    """A sine, float32 [n]."""
    t = np.arange(int(seconds * rate_hz)) / rate_hz
    return (peak * np.sin(2.0 * np.pi * hz * t)).astype(np.float32)


NOTE_CREST = 1.3 / np.sqrt(0.5 * (1.0 + 0.3**2))
"""Peak over RMS of a ``note``: two partials in phase, the second 0.3 of the first."""


def note(hz: float, seconds: float, peak: float, *, rate_hz: int = RATE_HZ) -> np.ndarray:
    """A held note of two partials; one alone that stands still is no voice's."""
    turn = 2.0 * np.pi * hz * np.arange(round(seconds * rate_hz)) / rate_hz
    return (peak / 1.3 * (np.cos(turn) + 0.3 * np.cos(2.0 * turn))).astype(np.float32)


def db(ratio: float) -> float:
    """Amplitude ratio in dB."""
    return float(20.0 * np.log10(ratio))


def amplitude(level_db: float) -> float:
    """The other way."""
    return float(10.0 ** (level_db / 20.0))
