"""An invented performer, synthesised: talks, sings, plays the guitar, or brings the band.

Conventions
-----------
float32 at the asked sample rate; the loud parts have an RMS of about 0.1.  The same seed gives
the same performance.  Nothing is recorded: a pulse train through moving formants is the voice,
decaying strings are guitar and bass, noise and falling sines are the drums.
Source of the plucked string: K. Karplus, A. Strong, Computer Music Journal 7(2), 1983.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from typing import Literal

import numpy as np
from scipy.signal import lfilter

from monitor.stage.voice import KEY_HZ, pulses, voice_of

Programme = Literal["silence", "talk", "song", "guitar", "band"]
PROGRAMMES: tuple[Programme, ...] = ("silence", "talk", "song", "guitar", "band")
LOUD_RMS = 0.1
SPILL = 10.0 ** (-26.0 / 20.0)
"""How much of the others a microphone hears that the singer works at 5 cm while they stand 1 m
off: 20 log10(0.05), the inverse distance law."""
_PEAK = 0.5
ROUND_S = 45.0
"""After so long the same comes again: more than a verse, and rendered in a moment."""

_CHORDS = ((0, 3, 7), (8, 12, 15), (3, 7, 10), (10, 14, 17))


def _loud(x: np.ndarray) -> np.ndarray:
    """Return the sound with its loud parts (the upper tenth of its 400 pieces) at ``LOUD_RMS``."""
    piece = max(len(x) // 400, 256)
    power = np.mean(x[: len(x) // piece * piece].reshape(-1, piece) ** 2, axis=1)
    top = math.sqrt(float(np.quantile(power, 0.9))) if len(power) else 0.0
    return (x * (LOUD_RMS / top) if top > 0.0 else x).astype(np.float32)


@lru_cache(maxsize=256)
def _string(semitone: int, rate_hz: int, seconds: float, dull: float, seed: int) -> np.ndarray:
    """One plucked string, computed at once in the frequency domain."""
    frequency_hz = KEY_HZ * 2.0 ** (semitone / 12.0)
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
            pitch = KEY_HZ * 2.0 ** (note / 12.0 + 1.0) * (1.0 + 0.002 * rng.standard_normal())
            out[start:stop] += pulses(np.full(stop - start, pitch), rate_hz) * swell
    return lfilter([0.1], [1.0, -0.9], out) * 0.3


def perform(
    programme: Programme, *, seconds: float, sample_rate_hz: int, seed: int = 0
) -> np.ndarray:
    """Return one performance, float32 [seconds * sample_rate_hz].

    Raises
    ------
    ValueError
        For an unknown programme or no length.
    """
    return performed(programme, seconds=seconds, sample_rate_hz=sample_rate_hz, seed=seed)[0]


def performed(
    programme: Programme, *, seconds: float, sample_rate_hz: int, seed: int
) -> tuple[np.ndarray, np.ndarray]:
    """Return one performance and the same close up, as the singer's own microphone has it.

    Close up the others are a quiet spill.  Raises ValueError like ``perform``.
    """
    if programme not in PROGRAMMES:
        raise ValueError(f"programme {programme!r} is unknown; known: {', '.join(PROGRAMMES)}")
    if not 0.0 < seconds <= 3600.0:
        raise ValueError(f"seconds={seconds} must lie between 0 and 3600")
    rng = np.random.default_rng([seed, PROGRAMMES.index(programme)])
    n = int(seconds * sample_rate_hz)
    if programme == "silence":
        return np.zeros(n, np.float32), np.zeros(n, np.float32)
    beat_s = float(rng.uniform(0.42, 0.7))
    if programme == "talk":
        sound = _loud(voice_of(rng, seconds, sample_rate_hz, sings=False))
        return sound, _bent(sound)
    if programme == "guitar":
        sound = _loud(_guitar(rng, seconds, sample_rate_hz, beat_s))
        return sound, sound * np.float32(SPILL)
    voice = _loud(voice_of(rng, seconds, sample_rate_hz, sings=True))
    guitar = _loud(_guitar(rng, seconds, sample_rate_hz, beat_s))
    if programme == "song":
        mix = voice + float(rng.uniform(0.0, 0.8)) * guitar
        return _loud(mix), _bent(voice) + np.float32(SPILL) * guitar
    parts: list[Callable[[np.random.Generator, float, int, float], np.ndarray]]
    parts = [_drums, _bass, _pad]
    gains = (1.2, 0.8, float(rng.uniform(0.2, 0.6)))
    mix = voice + 0.6 * guitar
    for part, gain in zip(parts, gains, strict=True):
        mix = mix + gain * _loud(part(rng, seconds, sample_rate_hz, beat_s))
    return _loud(mix), _bent(voice) + np.float32(SPILL) * _loud(mix - voice)


def _bent(voice: np.ndarray) -> np.ndarray:
    """Bend down the clicks that the synthesis makes where a formant jumps; the rest stays."""
    bent: np.ndarray = (_PEAK * np.tanh(voice / _PEAK)).astype(np.float32)
    return bent


class Performer:
    """A performance of ``ROUND_S`` that goes round and round, read block by block.

    The end is blended into the beginning, so that the seam is not heard.
    """

    def __init__(
        self,
        programme: Programme,
        *,
        sample_rate_hz: int,
        seed: int = 0,
    ) -> None:
        sound, close_up = performed(
            programme, seconds=ROUND_S, sample_rate_hz=sample_rate_hz, seed=seed
        )
        blend = int(0.1 * sample_rate_hz)
        self._samples, self._close_up = _round(sound, blend), _round(close_up, blend)
        self._place = 0
        self._before = 0

    def read(self, n: int) -> np.ndarray:
        """Return the next ``n`` samples, float32."""
        index = (self._place + np.arange(n)) % len(self._samples)
        self._before, self._place = self._place, (self._place + n) % len(self._samples)
        part: np.ndarray = self._samples[index]
        return part

    def close_up(self, n: int) -> np.ndarray:
        """Return the ``n`` samples that were read last, as the singer's own microphone has them."""
        part: np.ndarray = self._close_up[(self._before + np.arange(n)) % len(self._close_up)]
        return part


def _round(samples: np.ndarray, blend: int) -> np.ndarray:
    """Blend the end into the beginning."""
    ramp = np.linspace(0.0, 1.0, blend, dtype=np.float32)
    tail = samples[-blend:].copy()
    samples = samples[:-blend].copy()
    samples[:blend] = samples[:blend] * ramp + tail * (1.0 - ramp)
    return samples
