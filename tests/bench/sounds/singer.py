"""A singer made of arithmetic: a voice source, the resonances of a mouth, and a tune to hold.

Recorded singing under a free licence is rare, and a singer is whom the lantern hears most.  The
model is source and filter: harmonics of a gliding, trembling fundamental, weighted by the vowel's
formants, and breath through the same formants.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from tests.bench.sounds.shelf import SAMPLE_RATE_HZ

CONTROL_RATE_HZ = 400
"""Pitch and vowel are worked out this often: sixty points for one turn of the fastest vibrato."""

FORMANTS_HZ_DB_HZ = {
    "soprano": {
        "a": ((800, 0, 80), (1150, -6, 90), (2900, -32, 120), (3900, -20, 130), (4950, -50, 140)),
        "e": ((350, 0, 60), (2000, -20, 100), (2800, -15, 120), (3600, -40, 150), (4950, -56, 200)),
        "i": ((270, 0, 60), (2140, -12, 90), (2950, -26, 100), (3900, -26, 120), (4950, -44, 120)),
        "o": ((450, 0, 40), (800, -11, 80), (2830, -22, 100), (3800, -22, 120), (4950, -50, 120)),
        "u": ((325, 0, 50), (700, -16, 60), (2700, -35, 170), (3800, -40, 180), (4950, -60, 200)),
    },
    "alto": {
        "a": ((800, 0, 80), (1150, -4, 90), (2800, -20, 120), (3500, -36, 130), (4950, -60, 140)),
        "e": ((400, 0, 60), (1600, -24, 80), (2700, -30, 120), (3300, -35, 150), (4950, -60, 200)),
        "i": ((350, 0, 50), (1700, -20, 100), (2700, -30, 120), (3700, -36, 150), (4950, -60, 200)),
        "o": ((450, 0, 70), (800, -9, 80), (2830, -16, 100), (3500, -28, 130), (4950, -55, 135)),
        "u": ((325, 0, 50), (700, -12, 60), (2530, -30, 170), (3500, -40, 180), (4950, -64, 200)),
    },
    "tenor": {
        "a": ((650, 0, 80), (1080, -6, 90), (2650, -7, 120), (2900, -8, 130), (3250, -22, 140)),
        "e": ((400, 0, 70), (1700, -14, 80), (2600, -12, 100), (3200, -14, 120), (3580, -20, 120)),
        "i": ((290, 0, 40), (1870, -15, 90), (2800, -18, 100), (3250, -20, 120), (3540, -30, 120)),
        "o": ((400, 0, 40), (800, -10, 80), (2600, -12, 100), (2800, -12, 120), (3000, -26, 120)),
        "u": ((350, 0, 40), (600, -20, 60), (2700, -17, 100), (2900, -14, 120), (3300, -26, 120)),
    },
    "bass": {
        "a": ((600, 0, 60), (1040, -7, 70), (2250, -9, 110), (2450, -9, 120), (2750, -20, 130)),
        "e": ((400, 0, 40), (1620, -12, 80), (2400, -9, 100), (2800, -12, 120), (3100, -18, 120)),
        "i": ((250, 0, 60), (1750, -30, 90), (2600, -16, 100), (3050, -22, 120), (3340, -28, 120)),
        "o": ((400, 0, 40), (750, -11, 80), (2400, -21, 100), (2600, -20, 120), (2900, -40, 120)),
        "u": ((350, 0, 40), (600, -20, 80), (2400, -32, 100), (2675, -28, 120), (2950, -36, 120)),
    },
}
"""Frequency, level and bandwidth of five formants: after the appendix of the Csound manual."""

HUM = ((250, 0, 80), (1100, -32, 150), (2300, -38, 200), (3000, -46, 200), (3800, -56, 250))
"""A closed mouth: the nose passes little but the fundamental, nearly a pure tone."""

RANGE_KEYS = {"soprano": (60, 84), "alto": (55, 77), "tenor": (48, 72), "bass": (40, 64)}
"""MIDI keys each voice sings, as choir books print them."""


@dataclass(frozen=True, slots=True)
class Note:
    """One sung note; ``vowel`` is one of a e i o u m, m a hum.  Key 69 is 440 Hz."""

    at_s: float
    key: float
    long_s: float
    vowel: str
    swell_db: float = 0.0
    """How far below its full level it begins, climbing along a straight line in decibels."""


@dataclass(frozen=True, slots=True)
class Voice:
    """How somebody sings."""

    register: str
    vibrato_hz: float = 5.5
    vibrato_cents: float = 50.0
    """Half the distance between the highest and the lowest point; 0 sings straight."""
    vibrato_after_s: float = 0.4
    glide_s: float = 0.12
    breath_db: float = -36.0
    tilt_db_per_octave: float = -3.0
    """Beyond what the table of formants holds of the source already; 0 is bright, -6 dull."""
    unsteady_cents: float = 6.0
    detune_cents: float = 0.0


def key_hz(key: np.ndarray | float) -> np.ndarray:
    """Frequency of MIDI keys, equal temperament, key 69 at 440 Hz."""
    return 440.0 * 2.0 ** ((np.asarray(key, dtype=float) - 69.0) / 12.0)


def pitch_hz(voice: Voice, notes: list[Note], n: int, rng: np.random.Generator) -> np.ndarray:
    """The fundamental at ``CONTROL_RATE_HZ``, float [n]: glides, drift and vibrato."""
    t = np.arange(n) / CONTROL_RATE_HZ
    key = np.full(n, notes[0].key)
    wave = np.zeros(n)
    for before, note in zip([notes[0], *notes[:-1]], notes, strict=True):
        since_s = t - note.at_s
        sung = since_s >= 0.0
        glide = np.clip(since_s[sung] / voice.glide_s, 0.0, 1.0)
        glide = glide * glide * (3.0 - 2.0 * glide)
        key[sung] = before.key + (note.key - before.key) * glide
        grown = np.clip((since_s[sung] - voice.vibrato_after_s) / 0.5, 0.0, 1.0)
        wave[sung] = grown
    rate_hz = voice.vibrato_hz * (1.0 + 0.06 * _slow(rng, n, 0.7))
    phase = 2.0 * np.pi * np.cumsum(rate_hz) / CONTROL_RATE_HZ
    cents = voice.vibrato_cents * wave * (1.0 + 0.2 * _slow(rng, n, 0.5)) * np.sin(phase)
    cents += voice.unsteady_cents * _slow(rng, n, 2.0) + voice.detune_cents
    return key_hz(key + cents / 100.0)


def _slow(rng: np.random.Generator, n: int, rate_hz: float) -> np.ndarray:
    """Something that wanders between about -1 and 1, ``rate_hz`` turns a second, float [n]."""
    knots = max(4, int(n / CONTROL_RATE_HZ * rate_hz * 2) + 2)
    return np.interp(np.linspace(0, knots - 1, n), np.arange(knots), rng.normal(0.0, 0.5, knots))


def formants(register: str, vowel: str) -> np.ndarray:
    """Frequency (Hz), level (dB), bandwidth (Hz) of each formant, float [5, 3]."""
    return np.array(HUM if vowel == "m" else FORMANTS_HZ_DB_HZ[register][vowel], dtype=float)


def response(frequency_hz: np.ndarray, mouth: np.ndarray) -> np.ndarray:
    """Gain of parallel resonances; ``mouth`` [..., 5, 3] broadcasts over ``frequency_hz`` [...]."""
    f = frequency_hz[..., None]
    centre, level_db, width = mouth[..., 0], mouth[..., 1], mouth[..., 2]
    return np.sum(10.0 ** (level_db / 20.0) / np.sqrt(1.0 + (2.0 * (f - centre) / width) ** 2), -1)


def level(notes: list[Note], n: int) -> np.ndarray:
    """Loudness at ``CONTROL_RATE_HZ``, float [n]: soft edges, swells, silence between phrases."""
    t = np.arange(n) / CONTROL_RATE_HZ
    gain = np.zeros(n)
    for note in notes:
        since_s = t - note.at_s
        edge = np.clip(since_s / 0.06, 0.0, 1.0) * np.clip((note.long_s - since_s) / 0.09, 0.0, 1.0)
        climbed = np.clip(since_s / (0.8 * note.long_s), 0.0, 1.0)
        gain = np.maximum(gain, edge * 10.0 ** (-note.swell_db * (1.0 - climbed) / 20.0))
    return gain


def sung(voice: Voice, notes: list[Note], seconds: float, rng: np.random.Generator) -> np.ndarray:
    """The sound of one voice, float32 [n] at 48 kHz."""
    n = int(seconds * CONTROL_RATE_HZ)
    f0 = pitch_hz(voice, notes, n, rng)
    gain = level(notes, n) * 10.0 ** (0.05 * 1.5 * _slow(rng, n, 3.0))
    mouth = _mouth(voice, notes, n)
    mouth[:, 0, 0] = np.maximum(mouth[:, 0, 0], f0)  # a singer opens the jaw as the tune climbs

    def weight(k: int) -> np.ndarray:
        tilt = 10.0 ** (voice.tilt_db_per_octave * np.log2(k) / 20.0)
        return gain * tilt * response(k * f0, mouth)

    samples = int(seconds * SAMPLE_RATE_HZ)
    out = harmonics(f0, weight, samples)
    out += _breath(voice, gain, mouth, samples, rng)
    return out.astype(np.float32)


def harmonics(f0_hz: np.ndarray, weight: Callable[[int], np.ndarray], samples: int) -> np.ndarray:
    """Sum of harmonics, float [samples] at 48 kHz.

    ``f0_hz`` and what ``weight`` gives for harmonic k = 1, 2, ... are float [n] at
    ``CONTROL_RATE_HZ``; harmonics above 15 kHz are left out.
    """
    at = np.arange(samples) * (CONTROL_RATE_HZ / SAMPLE_RATE_HZ)
    knots = np.arange(len(f0_hz))
    phase = 2.0 * np.pi * np.cumsum(np.interp(at, knots, f0_hz)) / SAMPLE_RATE_HZ
    out = np.zeros(samples)
    wave, before, twice_cosine = np.sin(phase), np.zeros(samples), 2.0 * np.cos(phase)
    for k in range(1, int(min(15000.0 / f0_hz.min(), 100)) + 1):
        out += np.interp(at, knots, weight(k) * (k * f0_hz < 15000.0)) * wave
        wave, before = twice_cosine * wave - before, wave  # sin((k+1)x) of sin(kx), sin((k-1)x)
    return out


def _mouth(voice: Voice, notes: list[Note], n: int) -> np.ndarray:
    """Formants at ``CONTROL_RATE_HZ``, float [n, 5, 3], moving within 80 ms from vowel to vowel."""
    mouth = np.empty((n, 5, 3))
    mouth[:] = formants(voice.register, notes[0].vowel)
    for note in notes:
        mouth[int(note.at_s * CONTROL_RATE_HZ) :] = formants(voice.register, note.vowel)
    width = int(0.08 * CONTROL_RATE_HZ)
    padded = np.pad(mouth, ((width // 2, width - width // 2 - 1), (0, 0), (0, 0)), mode="edge")
    summed = np.cumsum(np.pad(padded, ((1, 0), (0, 0), (0, 0))), axis=0)
    return (summed[width:] - summed[:-width]) / width


def _breath(
    voice: Voice, gain: np.ndarray, mouth: np.ndarray, samples: int, rng: np.random.Generator
) -> np.ndarray:
    """Air through the same mouth, float [samples]: windows of noise in the shape of the vowel."""
    size = 2048
    hop = size // 2
    frequency_hz = np.fft.rfftfreq(size, 1.0 / SAMPLE_RATE_HZ)
    window = np.hanning(size + 1)[:size]
    out = np.zeros(samples + size)
    for start in range(0, samples, hop):
        at = min(int(start / SAMPLE_RATE_HZ * CONTROL_RATE_HZ), len(gain) - 1)
        if gain[at] < 1e-3:
            continue
        shape = 0.3 * response(frequency_hz, mouth[at]) + 0.03 * (frequency_hz > 3000.0)
        noise = np.fft.irfft(np.fft.rfft(rng.standard_normal(size)) * shape)
        out[start : start + size] += window * noise * gain[at]
    return out[:samples] * 10.0 ** (voice.breath_db / 20.0) * 8.0


def tune(
    keys: tuple[int, int], seconds: float, rng: np.random.Generator, held: float = 0.35
) -> list[Note]:
    """Phrases of three to nine notes between two MIDI keys, ``held`` the share of long ones."""
    low, high = keys
    scale = np.array([0, 2, 4, 5, 7, 9, 11, 12, 14, 16])
    base = rng.integers(low, max(low + 1, high - 14))
    step, at_s = int(rng.integers(0, 8)), 0.3
    notes: list[Note] = []
    beat_s = rng.uniform(0.25, 0.5)
    while True:
        count = int(rng.integers(3, 10))
        for i in range(count):
            step = int(np.clip(step + rng.integers(-2, 3), 0, len(scale) - 1))
            long_s = beat_s * rng.choice([1, 1, 2, 2, 3])
            swell_db = 0.0
            if i == count - 1 or rng.random() < held:
                long_s = rng.uniform(1.5, 7.0)
                swell_db = float(rng.choice([0.0, 0.0, 6.0, 15.0, 30.0]))
            if at_s + long_s > seconds - 0.5:
                return notes or [Note(0.3, float(base), seconds - 1.0, "a")]
            vowel = str(rng.choice(list("aeioum"), p=[0.25, 0.17, 0.17, 0.17, 0.14, 0.1]))
            notes.append(Note(at_s, float(base + scale[step]), float(long_s), vowel, swell_db))
            at_s += long_s + (0.0 if rng.random() < 0.6 else rng.uniform(0.03, 0.1))
        at_s += rng.uniform(0.3, 0.9)


def somebody(register: str, rng: np.random.Generator) -> Voice:
    """A voice of this register, with or without vibrato, breathy or not."""
    straight = rng.random() < 0.35
    return Voice(
        register,
        vibrato_hz=rng.uniform(4.6, 6.6),
        vibrato_cents=rng.uniform(0.0, 8.0) if straight else rng.uniform(20.0, 90.0),
        vibrato_after_s=rng.uniform(0.1, 1.2),
        glide_s=rng.uniform(0.04, 0.25),
        breath_db=rng.uniform(-46.0, -26.0),
        tilt_db_per_octave=rng.uniform(-6.0, 0.0),
        unsteady_cents=rng.uniform(2.0, 10.0),
    )


def choir(register: str, seconds: float, count: int, rng: np.random.Generator) -> np.ndarray:
    """``count`` people singing one tune, float32 [n]: each a little off in pitch and time."""
    notes = tune(RANGE_KEYS[register], seconds, rng, held=0.6)
    total = np.zeros(int(seconds * SAMPLE_RATE_HZ), np.float32)
    for _ in range(count):
        voice = somebody(register, rng)
        voice = replace(voice, detune_cents=rng.normal(0.0, 9.0))
        late_s = rng.uniform(0.0, 0.07)
        own = [replace(note, at_s=note.at_s + late_s) for note in notes]
        total += sung(voice, own, seconds, rng) * rng.uniform(0.5, 1.0)
    return total
