"""The invented performer's voice: a pulse train through moving formants, with consonants.

Source of the formants: G. E. Peterson, H. L. Barney, J. Acoust. Soc. Am. 24(2), 1952 (men,
rounded).
"""

from __future__ import annotations

import math

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.signal import lfilter

_VOWELS_HZ = np.array(
    [(270, 2290, 3010), (530, 1840, 2480), (730, 1090, 2440), (570, 840, 2410), (300, 870, 2240)],
    float,
)
_WIDTHS_HZ = (70.0, 100.0, 140.0, 220.0, 280.0)
KEY_HZ = 110.0
_SCALE = (0, 2, 3, 5, 7, 8, 10)


def pulses(f0_hz: np.ndarray, rate_hz: int) -> np.ndarray:
    """Return glottal-like pulses at a moving pitch, free of aliasing (a polynomial step)."""
    step = f0_hz / rate_hz
    phase = np.cumsum(step) % 1.0
    saw = 2.0 * phase - 1.0
    early = phase < step
    t = phase[early] / step[early]
    saw[early] -= 2.0 * t - t * t - 1.0
    late = phase > 1.0 - step
    t = (phase[late] - 1.0) / step[late]
    saw[late] -= t * t + 2.0 * t + 1.0
    return -saw


def _formants(x: np.ndarray, track_hz: np.ndarray, rate_hz: int, piece: int) -> np.ndarray:
    """Filter by resonances that move every ``piece`` samples; ``track_hz`` [pieces, 5]."""
    for k in range(track_hz.shape[1]):
        out = np.empty_like(x)
        state = np.zeros(2)
        radius = math.exp(-math.pi * _WIDTHS_HZ[k] / rate_hz)
        for i, start in enumerate(range(0, len(x), piece)):
            turn = 2.0 * math.pi * track_hz[i, k] / rate_hz
            a1, a2 = -2.0 * radius * math.cos(turn), radius * radius
            part, state = lfilter(
                [1.0 + a1 + a2], [1.0, a1, a2], x[start : start + piece], zi=state
            )
            out[start : start + piece] = part
        x = out
    return x


def voice_of(rng: np.random.Generator, seconds: float, rate_hz: int, *, sings: bool) -> np.ndarray:
    """Phrases of syllables with breath between them."""
    n = int(seconds * rate_hz)
    high = float(rng.choice([1.0, 1.0, 1.7]))
    low_hz = float(rng.uniform(95.0, 135.0)) * high
    f0 = np.full(n, low_hz)
    loudness, breath = np.zeros(n), np.zeros(n)
    piece = int(0.02 * rate_hz)
    pieces = -(-n // piece)
    track = np.empty((pieces, 5))
    vowels = _VOWELS_HZ * (1.0 + 0.12 * (high - 1.0) / 0.7)
    vowel = vowels[2]
    t = float(rng.uniform(0.0, 0.5))
    left = 0
    track[:, :3], track[:, 3], track[:, 4] = vowel, 3300.0, 3900.0
    degree = 0
    while t < seconds:
        if left <= 0:
            t += float(rng.uniform(0.3, 1.2))
            left = int(rng.integers(4, 11))
            continue
        left -= 1
        length = float(rng.choice([0.25, 0.4, 0.5, 1.0, 1.6])) if sings else rng.uniform(0.09, 0.3)
        a, b = int(t * rate_hz), min(int((t + length) * rate_hz), n)
        if b - a < 64:
            break
        local = np.arange(b - a) / rate_hz
        vowel = vowels[int(rng.integers(len(vowels)))] * rng.uniform(0.95, 1.05, 3)
        track[a // piece : -(-b // piece), :3] = vowel
        if sings:
            degree = int(np.clip(degree + rng.integers(-2, 3), 0, 9))
            semis = _SCALE[degree % 7] + 12 * (degree // 7)
            vibrato = 0.006 * np.sin(2 * math.pi * 5.3 * local) * np.minimum(local / 0.4, 1.0)
            f0[a:b] = KEY_HZ * high * 2.0 ** (semis / 12.0) * (1.0 + vibrato)
        else:
            f0[a:b] = low_hz * (1.0 + 0.25 * rng.random() - 0.35 * local / max(length, 0.1) * 0.5)
        edge = np.minimum(np.minimum(local / 0.03, 1.0), np.minimum((length - local) / 0.04, 1.0))
        loudness[a:b] = np.maximum(edge, 0.0) * rng.uniform(0.5, 1.0)
        if rng.random() < 0.5:  # a consonant: a hiss before the vowel
            c = min(int(rng.uniform(0.03, 0.09) * rate_hz), b - a)
            breath[a : a + c] += rng.uniform(0.1, 0.5) * np.hanning(c)
        t += length
        if not sings:
            t += float(rng.uniform(0.0, 0.06))
    smooth = int(0.04 * rate_hz)
    f0 = uniform_filter1d(f0, smooth, mode="nearest")
    f0 = f0 * (1.0 + 0.003 * np.repeat(rng.standard_normal(pieces), piece)[:n])
    for k in range(3):
        padded = np.pad(track[:, k], 2, "edge")
        track[:, k] = np.convolve(padded, np.ones(5) / 5.0, "valid")
    hiss = rng.standard_normal(n)
    source = lfilter([1.0], [1.0, -0.96], pulses(f0, rate_hz)) * loudness
    sound = _formants(source + 0.02 * hiss * loudness, track, rate_hz, piece)
    sound = lfilter([1.0, -0.9], [1.0], sound)
    sharp = lfilter([1.0, -0.95], [1.0], hiss * breath)
    top = math.sqrt(float(np.mean(sound**2))) + 1e-12
    return sound / top + 0.5 * sharp
