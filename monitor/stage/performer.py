"""An invented performer, synthesised: talks, sings, plays the guitar, or brings the band.

Conventions
-----------
float32 at the asked sample rate; the loud parts have an RMS of about 0.1.  The same seed gives
the same performance.  Nothing is recorded: a pulse train through moving formants is the voice,
decaying strings are guitar and bass, noise and falling sines are the drums.
Sources: formant frequencies: G. E. Peterson, H. L. Barney, J. Acoust. Soc. Am. 24(2), 1952
(men, rounded); the plucked string: K. Karplus, A. Strong, Computer Music Journal 7(2), 1983.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from typing import Literal

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.signal import lfilter

Programme = Literal["silence", "talk", "song", "guitar", "band"]
PROGRAMMES: tuple[Programme, ...] = ("silence", "talk", "song", "guitar", "band")
LOUD_RMS = 0.1

_VOWELS_HZ = np.array(
    [(270, 2290, 3010), (530, 1840, 2480), (730, 1090, 2440), (570, 840, 2410), (300, 870, 2240)],
    float,
)
_WIDTHS_HZ = (70.0, 100.0, 140.0, 220.0, 280.0)
_KEY_HZ = 110.0
_SCALE = (0, 2, 3, 5, 7, 8, 10)
_CHORDS = ((0, 3, 7), (8, 12, 15), (3, 7, 10), (10, 14, 17))


def _loud(x: np.ndarray) -> np.ndarray:
    """Return the sound with its loud parts (the upper tenth of 50 ms pieces) at ``LOUD_RMS``."""
    piece = max(len(x) // 400, 256)
    power = np.mean(x[: len(x) // piece * piece].reshape(-1, piece) ** 2, axis=1)
    top = math.sqrt(float(np.quantile(power, 0.9))) if len(power) else 0.0
    return (x * (LOUD_RMS / top) if top > 0.0 else x).astype(np.float32)


def _pulses(f0_hz: np.ndarray, rate_hz: int) -> np.ndarray:
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


def _voice(rng: np.random.Generator, seconds: float, rate_hz: int, *, sings: bool) -> np.ndarray:
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
            f0[a:b] = _KEY_HZ * high * 2.0 ** (semis / 12.0) * (1.0 + vibrato)
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
    source = lfilter([1.0], [1.0, -0.96], _pulses(f0, rate_hz)) * loudness
    sound = _formants(source + 0.02 * hiss * loudness, track, rate_hz, piece)
    sound = lfilter([1.0, -0.9], [1.0], sound)
    sharp = lfilter([1.0, -0.95], [1.0], hiss * breath)
    top = math.sqrt(float(np.mean(sound**2))) + 1e-12
    return sound / top + 0.5 * sharp


@lru_cache(maxsize=256)
def _string(semitone: int, rate_hz: int, seconds: float, dull: float, seed: int) -> np.ndarray:
    """One plucked string, computed at once in the frequency domain."""
    frequency_hz = _KEY_HZ * 2.0 ** (semitone / 12.0)
    size = 1 << math.ceil(math.log2(seconds * rate_hz * 2.0))
    rng = np.random.default_rng([seed, semitone + 1000])
    period = rate_hz / frequency_hz
    pluck = np.zeros(size)
    pluck[: int(period)] = rng.uniform(-1.0, 1.0, int(period))
    turn = 2.0 * np.pi * np.arange(size // 2 + 1) / size
    kept = 10.0 ** (-3.0 / (frequency_hz * seconds))
    loss = kept * ((1.0 - dull) + dull * np.exp(-1j * turn))
    loop = loss * np.exp(-1j * turn * (period - dull))
    sound = np.fft.irfft(np.fft.rfft(pluck) / (1.0 - loop), size)[: int(seconds * rate_hz)]
    fade = int(0.02 * rate_hz)
    sound[-fade:] *= np.linspace(1.0, 0.0, fade)
    peak: np.ndarray = sound / (np.abs(sound).max() + 1e-12)
    return peak


def _put(out: np.ndarray, sound: np.ndarray, at: int, gain: float) -> None:
    stop = min(len(out), at + len(sound))
    if 0 <= at < stop:
        out[at:stop] += gain * sound[: stop - at]


def _guitar(rng: np.random.Generator, seconds: float, rate_hz: int, beat_s: float) -> np.ndarray:
    """Strummed chords and picked strings."""
    out = np.zeros(int(seconds * rate_hz))
    seed = int(rng.integers(1000))
    picked = rng.random() < 0.4
    for i in range(int(seconds / (beat_s / 2))):
        chord = _CHORDS[int(i * beat_s / 2 // (4 * beat_s)) % len(_CHORDS)]
        at = int(i * beat_s / 2 * rate_hz)
        notes = [*chord, chord[0] + 12, chord[1] + 12]
        if picked:
            note = notes[int(rng.integers(len(notes)))]
            _put(out, _string(note, rate_hz, 1.6, 0.3, seed), at, float(rng.uniform(0.4, 1.0)))
        elif rng.random() < 0.7:
            gain = float(rng.uniform(0.2, 0.5))
            for j, note in enumerate(notes):
                start = at + int(j * rng.uniform(0.004, 0.012) * rate_hz)
                _put(out, _string(note, rate_hz, 1.6, 0.3, seed), start, gain)
    return out


def _drums(rng: np.random.Generator, seconds: float, rate_hz: int, beat_s: float) -> np.ndarray:
    """Bass drum, snare and hat in fours."""
    out = np.zeros(int(seconds * rate_hz))
    t = np.arange(int(0.3 * rate_hz)) / rate_hz
    noise = rng.standard_normal(len(t))
    kick = np.sin(2 * np.pi * (50.0 * t + 4.0 * (1.0 - np.exp(-t / 0.03)))) * np.exp(-t / 0.09)
    snare = noise * np.exp(-t / 0.06) * 0.6 + np.sin(2 * np.pi * 190.0 * t) * np.exp(-t / 0.05)
    hat = lfilter([1.0, -2.0, 1.0], [1.0, 0.0, 0.3], noise) * np.exp(-t / 0.03) * 0.25
    for i in range(int(seconds / (beat_s / 2))):
        at = int((i * beat_s / 2 + rng.normal(0.0, 0.003)) * rate_hz)
        _put(out, hat, at, float(rng.uniform(0.3, 0.8)))
        if i % 4 == 0 or rng.random() < 0.15:
            _put(out, kick, at, 1.0)
        if i % 4 == 2:
            _put(out, snare, at, 0.7)
    return out


def _bass(rng: np.random.Generator, seconds: float, rate_hz: int, beat_s: float) -> np.ndarray:
    out = np.zeros(int(seconds * rate_hz))
    seed = int(rng.integers(1000))
    for i in range(int(seconds / beat_s)):
        root = _CHORDS[int(i // 4) % len(_CHORDS)][0] - 12 - (12 if i // 4 % 4 == 1 else 0)
        note = root + int(rng.choice([0, 0, 7, 12]))
        _put(out, _string(note, rate_hz, 1.0, 0.5, seed), int(i * beat_s * rate_hz), 0.9)
    return out


def _pad(rng: np.random.Generator, seconds: float, rate_hz: int, beat_s: float) -> np.ndarray:
    """Slow detuned chords through a dull filter."""
    n = int(seconds * rate_hz)
    out = np.zeros(n)
    bar = int(4 * beat_s * rate_hz)
    for i, start in enumerate(range(0, n, bar)):
        stop = min(start + bar, n)
        local = np.arange(stop - start) / rate_hz
        swell = np.minimum(np.minimum(local / 0.4, 1.0), (len(local) / rate_hz - local) / 0.4)
        for note in _CHORDS[i % len(_CHORDS)]:
            pitch = _KEY_HZ * 2.0 ** (note / 12.0 + 1.0) * (1.0 + 0.002 * rng.standard_normal())
            out[start:stop] += _pulses(np.full(stop - start, pitch), rate_hz) * swell
    return lfilter([0.1], [1.0, -0.9], out) * 0.3


def perform(
    programme: Programme, *, seconds: float, sample_rate_hz: int = 48000, seed: int = 0
) -> np.ndarray:
    """Return one performance, float32 [seconds * sample_rate_hz].

    Raises
    ------
    ValueError
        For an unknown programme or no length.
    """
    if programme not in PROGRAMMES:
        raise ValueError(f"programme {programme!r} is unknown; known: {', '.join(PROGRAMMES)}")
    if not 0.0 < seconds <= 3600.0:
        raise ValueError(f"seconds={seconds} must lie between 0 and 3600")
    rng = np.random.default_rng([seed, PROGRAMMES.index(programme)])
    n = int(seconds * sample_rate_hz)
    if programme == "silence":
        return np.zeros(n, np.float32)
    beat_s = float(rng.uniform(0.42, 0.7))
    if programme == "talk":
        return _loud(_voice(rng, seconds, sample_rate_hz, sings=False))
    if programme == "guitar":
        return _loud(_guitar(rng, seconds, sample_rate_hz, beat_s))
    voice = _loud(_voice(rng, seconds, sample_rate_hz, sings=True))
    guitar = _loud(_guitar(rng, seconds, sample_rate_hz, beat_s))
    if programme == "song":
        return _loud(voice + float(rng.uniform(0.0, 0.8)) * guitar)
    parts: list[Callable[[np.random.Generator, float, int, float], np.ndarray]]
    parts = [_drums, _bass, _pad]
    gains = (1.2, 0.8, float(rng.uniform(0.2, 0.6)))
    mix = voice + 0.6 * guitar
    for part, gain in zip(parts, gains, strict=True):
        mix = mix + gain * _loud(part(rng, seconds, sample_rate_hz, beat_s))
    return _loud(mix)


class Performer:
    """A performance of at least 30 s that goes round and round, read block by block.

    The end is blended into the beginning, so that the seam is not heard.
    """

    def __init__(
        self,
        programme: Programme,
        *,
        seconds: float = 45.0,
        sample_rate_hz: int = 48000,
        seed: int = 0,
    ) -> None:
        self._samples = perform(
            programme, seconds=max(seconds, 30.0), sample_rate_hz=sample_rate_hz, seed=seed
        )
        blend = int(0.1 * sample_rate_hz)
        ramp = np.linspace(0.0, 1.0, blend, dtype=np.float32)
        tail = self._samples[-blend:].copy()
        self._samples = self._samples[:-blend]
        self._samples[:blend] = self._samples[:blend] * ramp + tail * (1.0 - ramp)
        self._place = 0

    def read(self, n: int) -> np.ndarray:
        """Return the next ``n`` samples, float32."""
        index = (self._place + np.arange(n)) % len(self._samples)
        self._place = (self._place + n) % len(self._samples)
        part: np.ndarray = self._samples[index]
        return part
