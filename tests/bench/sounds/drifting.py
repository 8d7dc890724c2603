"""Recipe for slow pieces without a beat: beds of chords, drones, sparse bells, much room.

Held chords that are filtered and swell, resonant sweeps, long echoes: lines that stand still and
climb slowly, many at a time, are what a howl is most like in music.
"""

from __future__ import annotations

import random
from collections.abc import Callable

import numpy as np
from scipy.signal import fftconvolve, istft, stft

from tests.bench.sounds.instruments import INSTRUMENTS
from tests.bench.sounds.midi import EXPRESSION, Score, rendered
from tests.bench.sounds.rendered import Composed, Font
from tests.bench.sounds.shelf import SAMPLE_RATE_HZ

PIECE_S = 62.0
BEDS = (
    "warm_pad newage_pad choir_pad bowed_glass_pad metal_pad halo_pad sweep_pad polysynth "
    "atmosphere string_ensemble synth_strings church_organ reed_organ choir_aahs".split()
)
DRONES = "synth_strings warm_pad saw_lead church_organ cello contrabass sweep_pad".split()
BELLS = "vibraphone glockenspiel music_box tubular_bells crystal piano nylon_guitar".split()
LINES = "calliope_lead ocarina flute pan_flute voice_lead square_lead synth_voice violin".split()
SCALES = ((0, 2, 4, 7, 9), (0, 3, 5, 7, 10), (0, 2, 3, 5, 7, 8, 10), (0, 2, 4, 6, 7, 9, 11))
"""Two of five notes, two modes of seven: what stands long has to go with all that follows."""
CONTROL_S = 0.1


def drifts(font: Font, count: int, seed: int) -> Composed:
    """Pieces of a minute, two to four layers each."""
    return Composed(
        font,
        count,
        seed,
        prefix="drift",
        note="slow piece made by this program: filtered beds, drones, bells, room",
        compose=lambda chance, path: piece(
            chance, lambda score: rendered(score, path, False, PIECE_S)
        ),
    )


def piece(chance: random.Random, play: Callable[[Score], np.ndarray]) -> np.ndarray:
    """A minute in one scale, float32 [n]; ``play`` makes the sound of a score."""
    tonic, scale = chance.randint(36, 47), chance.choice(SCALES)
    rng = np.random.default_rng(chance.getrandbits(32))
    mix = np.zeros(int(PIECE_S * SAMPLE_RATE_HZ))
    layers = [_bed, *chance.sample((_bed, _drone, _bells, _line), chance.randint(1, 3))]
    for layer in layers:
        samples = play(layer(chance, tonic, scale)).astype(float)[: len(mix)]
        loudness = float(np.sqrt(np.mean(samples**2)))
        if loudness == 0.0:  # a font without this instrument
            continue
        if layer is not _bells and chance.random() < 0.6:
            samples = swept(samples, chance)
        if layer in (_bells, _line) and chance.random() < 0.7:
            samples = echoed(samples, chance)
        mix[: len(samples)] += samples / loudness * 10.0 ** (chance.uniform(-12.0, 0.0) / 20.0)
    mix = reverberated(mix, chance, rng)
    if chance.random() < 0.3:
        mix += 0.02 * float(np.abs(mix).max()) * swept(rng.standard_normal(len(mix)), chance)
    return mix.astype(np.float32)


def _at(tonic: int, scale: tuple[int, ...], step: int) -> int:
    """The key so many steps of the scale above the tonic."""
    return tonic + 12 * (step // len(scale)) + scale[step % len(scale)]


def _score_of(chance: random.Random, names: list[str]) -> Score:
    """An empty score for one of these instruments."""
    instrument = INSTRUMENTS[chance.choice(names)]
    return Score(instrument.program, instrument.bank)


def _bed(chance: random.Random, tonic: int, scale: tuple[int, ...]) -> Score:
    """Chords of 5 to 14 s that overlap and breathe."""
    score, at_s = _score_of(chance, BEDS), 0.2
    while at_s < PIECE_S:
        long_s, root = chance.uniform(5.0, 14.0), chance.randint(0, 6)
        for third in range(chance.randint(2, 4)):
            key = _at(tonic + 12, scale, root + 2 * third)
            score.note(at_s + chance.uniform(0.0, 0.5), key, 1.1 * long_s, chance.randint(60, 100))
        _breathe(score, at_s, long_s, chance)
        at_s += long_s
    return score


def _breathe(score: Score, at_s: float, long_s: float, chance: random.Random) -> None:
    """Up or there and back between two loudnesses, in steps of ``CONTROL_S``."""
    low, peak = chance.randint(15, 90), chance.uniform(0.3, 0.95)
    steps = int(long_s / CONTROL_S)
    for j in range(steps):
        part = j / steps
        height = part / peak if part < peak else (1.0 - part) / (1.0 - peak)
        score.control(at_s + j * CONTROL_S, EXPRESSION, int(low + (122 - low) * height))


def _drone(chance: random.Random, tonic: int, scale: tuple[int, ...]) -> Score:
    """The tonic, or it and its fifth, for 15 to 40 s at a time."""
    score, at_s = _score_of(chance, DRONES), chance.uniform(0.2, 8.0)
    while at_s < PIECE_S:
        long_s = chance.uniform(15.0, 40.0)
        for key in chance.choice(((tonic,), (tonic, tonic + 7), (tonic, tonic + 12))):
            score.note(at_s, key, long_s, chance.randint(70, 110))
        _breathe(score, at_s, long_s, chance)
        at_s += long_s + chance.uniform(0.0, 5.0)
    return score


def _bells(chance: random.Random, tonic: int, scale: tuple[int, ...]) -> Score:
    """Single notes far apart, now and then a figure that comes again."""
    score, at_s = _score_of(chance, BELLS), chance.uniform(0.5, 6.0)
    while at_s < PIECE_S:
        step, gap_s = chance.randint(0, 9), chance.choice((0.25, 0.5, 1.0))
        for _ in range(chance.choice((1, 1, 1, 3, 4))):
            score.note(at_s, _at(tonic + 36, scale, step), 4.0, chance.randint(50, 110))
            step, at_s = step + chance.choice((-2, -1, 1, 2)), at_s + gap_s
        at_s += chance.uniform(1.0, 6.0)
    return score


def _line(chance: random.Random, tonic: int, scale: tuple[int, ...]) -> Score:
    """A tune of notes of 1 to 6 s, each of which swells."""
    score, at_s = _score_of(chance, LINES), chance.uniform(0.2, 10.0)
    step = chance.randint(0, 6)
    while at_s < PIECE_S:
        long_s = chance.uniform(1.0, 6.0)
        score.note(at_s, _at(tonic + 24, scale, step), long_s, chance.randint(70, 110))
        _breathe(score, at_s, long_s, chance)
        step = max(0, min(9, step + chance.choice((-2, -1, 1, 2))))
        at_s += long_s + chance.choice((0.0, 0.0, 2.0))
    return score


def swept(samples: np.ndarray, chance: random.Random) -> np.ndarray:
    """A low-pass of second order whose corner drifts slowly, float [n]; its resonance lifts one
    partial after the other by 0 to 18 dB."""
    width = 2048
    frequencies_hz, times_s, spectrum = stft(samples, SAMPLE_RATE_HZ, nperseg=width)
    low_hz, octaves = np.exp(chance.uniform(np.log(150.0), np.log(1500.0))), chance.uniform(1, 4)
    turn = 2.0 * np.pi * times_s / chance.uniform(3.0, 30.0) + chance.uniform(0.0, 6.0)
    corner_hz = low_hz * 2.0 ** (octaves * (0.5 + 0.5 * np.sin(turn)))
    q = 10.0 ** (chance.uniform(-3.0, 18.0) / 20.0)
    ratio = frequencies_hz[:, None] / corner_hz
    gain = 1.0 / np.sqrt((1.0 - ratio**2) ** 2 + (ratio / q) ** 2)
    _, out = istft(spectrum * gain, SAMPLE_RATE_HZ, nperseg=width)
    return np.resize(out, len(samples))


def echoed(samples: np.ndarray, chance: random.Random) -> np.ndarray:
    """Echoes 0.2 to 0.9 s apart that fall by 2 to 9 dB each, float [n]."""
    apart, part = int(chance.uniform(0.2, 0.9) * SAMPLE_RATE_HZ), chance.uniform(0.35, 0.8)
    out = samples.copy()
    for start in range(apart, len(out), apart):
        out[start : start + apart] += part * out[start - apart : start][: len(out) - start]
    return out


def reverberated(
    samples: np.ndarray, chance: random.Random, rng: np.random.Generator
) -> np.ndarray:
    """The sound and its tail in a room of T60 1 to 8 s, float [n]."""
    t60_s, wet = chance.uniform(1.0, 8.0), chance.uniform(0.1, 0.7)
    t = np.arange(int(t60_s * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    tail = rng.standard_normal(len(t)) * 10.0 ** (-3.0 * t / t60_s)
    tail /= np.sqrt(np.sum(tail**2))
    return (1.0 - wet) * samples + wet * fftconvolve(samples, tail)[: len(samples)]
