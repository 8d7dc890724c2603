"""Recipe for tones of no instrument: sines, beeps, sweeps, hums and noise.

An unbroken sine cannot be told from a howl by its sound alone, so these are reported apart.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tests.bench.sounds.shelf import SAMPLE_RATE_HZ, Shelf
from tests.bench.sounds.store import Store

LONG_S = 40


@dataclass(frozen=True, slots=True)
class Tones:
    """A family of tones, each forty seconds."""

    seed: int
    prefix: str = "tone"
    package: str = "generated"

    def make(self, shelf: Shelf, store: Store) -> None:
        """Put them on the shelf."""
        t = np.arange(SAMPLE_RATE_HZ * LONG_S) / SAMPLE_RATE_HZ
        edges = np.clip(np.minimum(t, LONG_S - t) / 0.05, 0.0, 1.0)
        rng = np.random.default_rng(self.seed)
        for family in (_steady, _beeps, _gliding, _glass, _sweeps, _telephone, _whistled, _noise):
            for name, samples, note in family(t, rng):
                title = f"{self.prefix}_{name}"
                licence = "made by this program"
                shelf.put(title, samples * edges, "testtone", self.package, licence, note)


Made = Iterator[tuple[str, np.ndarray, str]]
"""Name, samples and note of each."""


def _sine(frequency_hz: np.ndarray | float, t: np.ndarray) -> np.ndarray:
    return np.sin(2 * np.pi * np.cumsum(np.broadcast_to(frequency_hz, len(t))) / SAMPLE_RATE_HZ)


def _steady(t: np.ndarray, rng: np.random.Generator) -> Made:
    for tone_hz in np.exp(rng.uniform(np.log(120), np.log(9000), 6)):
        yield f"steady_sine_{int(tone_hz)}Hz", _sine(tone_hz, t), "pure steady sine"


def _beeps(t: np.ndarray, rng: np.random.Generator) -> Made:
    for _ in range(3):
        tone_hz = np.exp(rng.uniform(np.log(300), np.log(3500)))
        period_s = rng.uniform(0.15, 1.0)
        gate = t % period_s < period_s * 0.5
        yield f"beeps_{int(tone_hz)}Hz", _sine(tone_hz, t) * gate, "gated beeps"


def _gliding(t: np.ndarray, rng: np.random.Generator) -> Made:
    for i in range(4):
        points_hz = np.exp(rng.uniform(np.log(250), np.log(1800), 12))
        tone_hz = np.interp(t, np.linspace(0, LONG_S, 24), np.repeat(points_hz, 2))
        vibrato = rng.uniform(0.004, 0.02) * np.sin(2 * np.pi * rng.uniform(4.5, 6.5) * t)
        tone_hz = tone_hz * (1 + vibrato)
        x = sum(level * _sine(k * tone_hz, t) for k, level in ((1, 1.0), (2, 0.25), (3, 0.08)))
        loud = 0.6 + 0.4 * np.sin(2 * np.pi * 0.21 * t)
        yield f"theremin_{i}", x * loud, "theremin-like gliding tone with vibrato"


def _glass(t: np.ndarray, rng: np.random.Generator) -> Made:
    for i in range(3):
        x = np.zeros(len(t))
        for tone_hz in np.exp(rng.uniform(np.log(350), np.log(2200), 4)):
            for multiple, part in ((1, 1.0), (2.003, 0.12), (3.01, 0.04)):
                turn = 2 * np.pi * rng.uniform(0.05, 0.12) * t + rng.uniform(0, 6)
                x += _sine(tone_hz * multiple, t) * part * np.clip(np.sin(turn), 0, 1)
        yield f"glass_harmonica_{i}", x, "slowly swelling near-pure tones"


def _sweeps(t: np.ndarray, rng: np.random.Generator) -> Made:
    yield "chirp_up", _sine(np.geomspace(80, 12000, len(t)), t), "log sweep"
    yield "chirp_cycles", _sine(1000 * 2 ** (1.5 * np.sin(2 * np.pi * 0.3 * t)), t), "siren"


def _telephone(t: np.ndarray, rng: np.random.Generator) -> Made:
    x = np.zeros(len(t))
    for k in range(110):
        start, stop = int(k * 0.36 * SAMPLE_RATE_HZ), int((k * 0.36 + 0.2) * SAMPLE_RATE_HZ)
        low_hz, high_hz = rng.choice([697, 770, 852, 941]), rng.choice([1209, 1336, 1477])
        u = t[: stop - start]
        if stop < len(t):
            x[start:stop] += np.sin(2 * np.pi * low_hz * u) + np.sin(2 * np.pi * high_hz * u)
    yield "dtmf", x, "telephone keypad tones"
    low_hz, high_hz = rng.choice([350, 440, 480]), rng.choice([440.5, 620, 425])
    yield "dual_tone", _sine(low_hz, t) + _sine(high_hz, t), "dial tone"
    hum = sum(_sine(50 * k, t) / k for k in (1, 2, 3, 4, 6, 8))
    yield "hum_50Hz", np.asarray(hum), "mains hum"


def _whistled(t: np.ndarray, rng: np.random.Generator) -> Made:
    keys = 880 * 2 ** (rng.integers(0, 16, 81) / 12)
    tone_hz = np.interp(t, np.linspace(0, LONG_S, 81), keys)
    glide = np.exp(-np.arange(int(0.02 * SAMPLE_RATE_HZ)) / (0.006 * SAMPLE_RATE_HZ))
    tone_hz = np.maximum(np.convolve(tone_hz, glide / glide.sum(), "same"), 300)
    x = _sine(tone_hz, t) * (0.7 + 0.3 * np.sin(2 * np.pi * 1.1 * t))
    yield "whistled_tune", x + 0.01 * rng.standard_normal(len(t)), "whistle-like tone"


def _noise(t: np.ndarray, rng: np.random.Generator) -> Made:
    yield "noise_white", rng.standard_normal(len(t)), "white noise"
    spectrum = np.fft.rfft(rng.standard_normal(len(t)))
    pink = np.fft.irfft(spectrum / np.sqrt(np.maximum(1, np.arange(len(spectrum)))), len(t))
    yield "noise_pink", pink, "pink noise"
