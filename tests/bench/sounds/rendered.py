"""Recipes for what a sound font plays: steady notes, swells, grooves and whole songs."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.bench.sounds.instruments import INSTRUMENTS, Instrument
from tests.bench.sounds.midi import DRUMS, EXPRESSION, Score, melody, rendered
from tests.bench.sounds.shelf import SAMPLE_RATE_HZ, Shelf
from tests.bench.sounds.store import Store, files

MINUTE_S = 62.0
SONG_S = 75.0


@dataclass(frozen=True, slots=True)
class Font:
    """A package with a sound font and its licence as the package states it."""

    package: str
    licence: str

    def path(self, store: Store) -> Path:
        """The font's file, a synthesiser for it at hand."""
        folder = store.debian(self.package)
        fonts = files(folder, suffixes=("sf2", "sf3"))
        if fonts:
            store.tools("fluidsynth")
            return fonts[0]
        store.tools("timidity")
        (patches,) = {patch.parent.parent for patch in files(folder, suffixes=("pat",))}
        listed = files(folder / "etc", suffixes=("cfg",))[0].read_text(encoding="utf-8")
        settings = folder / "font.cfg"
        settings.write_text(re.sub(r"(?m)^dir .*$", f"dir {patches}", listed), encoding="utf-8")
        return settings


@dataclass(frozen=True, slots=True)
class Steady:
    """Each instrument a minute: notes that stand 5 to 9 s, then a melody with held ends."""

    font: Font
    names: tuple[str, ...]
    seed: int
    prefix: str = "sust"

    @property
    def package(self) -> str:
        """Where it comes from."""
        return self.font.package

    def make(self, shelf: Shelf, store: Store) -> None:
        """Put a minute of every instrument on the shelf."""
        font = self.font.path(store)
        for name in self.names:
            instrument = INSTRUMENTS[name]
            title = f"{self.prefix}_{self.package}_{name}"
            if shelf.has(title):
                continue
            score = steady_score(instrument, self.seed)
            samples = rendered(score, font, instrument.program % 3 == 0)
            note = (
                f"General MIDI render program {instrument.program} bank {instrument.bank}: "
                "steady notes 5-9 s + legato melody"
            )
            shelf.put(title, samples, instrument.kind, self.package, self.font.licence, note)


def steady_score(instrument: Instrument, seed: int) -> Score:
    """Five long notes from the low to the high register, one of them swelling, and a melody."""
    chance = random.Random(seed * 1000 + instrument.program * 13 + instrument.bank)
    score = Score(instrument.program, instrument.bank)
    low, high, at_s = instrument.low, instrument.high, 0.2
    for i in range(5):
        key = int(low + (high - low) * (i + chance.random()) / 5)
        long_s, velocity = chance.uniform(5, 9), chance.randint(55, 115)
        score.note(at_s, key, long_s, velocity)
        if instrument.chords and i % 2:
            for interval in chance.choice([(4, 7), (3, 7), (7, 12), (5, 9)]):
                score.note(at_s, min(key + interval, high + 7), long_s, velocity - 10)
        if i == 3:
            for j in range(21):
                score.control(at_s + long_s * j / 20, EXPRESSION, 40 + j * 4)
            score.control(at_s + long_s + 0.05, EXPRESSION, 127)
        at_s += long_s + chance.uniform(0.1, 0.6)
    melody(score, chance, at_s, MINUTE_S, low, high)
    return score


@dataclass(frozen=True, slots=True)
class Swells:
    """Each instrument a minute of notes that come out of silence and swell.

    These are what is most like a howl: pure, alone, growing.  A howl climbs along a straight line
    in decibels, so half of the swells do too, from 3 to 60 dB/s; the others are as players and
    synthesisers make them.
    """

    font: Font
    names: tuple[str, ...]
    seed: int
    prefix: str = "swell"

    @property
    def package(self) -> str:
        """Where it comes from."""
        return self.font.package

    def make(self, shelf: Shelf, store: Store) -> None:
        """Put a minute of every instrument on the shelf."""
        font = self.font.path(store)
        for name in self.names:
            title = f"{self.prefix}_{self.package}_{name}"
            if shelf.has(title):
                continue
            instrument = INSTRUMENTS[name]
            chance = random.Random(f"{self.seed} {name}")
            notes = swelling_notes(instrument, chance)
            score = Score(instrument.program, instrument.bank)
            for at_s, key, long_s in notes:
                for k in key:
                    score.note(at_s, k, long_s, 100)
            samples = rendered(score, font, chance.random() < 0.5).copy()
            for at_s, _, long_s in notes:
                start = int(at_s * SAMPLE_RATE_HZ)
                stretch = samples[start : start + int((long_s + 0.8) * SAMPLE_RATE_HZ)]
                stretch *= swell(len(stretch), chance)
            note = f"General MIDI program {instrument.program}: notes swelling from silence"
            shelf.put(title, samples, instrument.kind, self.package, self.font.licence, note)


def swelling_notes(
    instrument: Instrument, chance: random.Random
) -> list[tuple[float, tuple[int, ...], float]]:
    """Start (s), keys and length (s) of notes for a minute, a second apart."""
    notes, at_s = [], 0.5
    while at_s < MINUTE_S - 6.0:
        key = chance.randint(instrument.low, instrument.high)
        chord: tuple[int, ...] = (key,)
        if instrument.chords and chance.random() < 0.3:
            chord = (key, key + chance.choice([3, 4, 5, 7, 12]))
        long_s = chance.uniform(2.0, 8.0)
        notes.append((at_s, chord, long_s))
        at_s += long_s + 1.0
    return notes


def swell(n: int, chance: random.Random) -> np.ndarray:
    """An envelope from near silence to full, float32 [n]: how a hand or a pedal opens it."""
    t = np.arange(n, dtype=np.float32) / SAMPLE_RATE_HZ
    total_s = n / SAMPLE_RATE_HZ
    kind = chance.choice(["straight", "straight", "linear", "bow", "there and back"])
    if kind == "straight":
        depth_db = chance.uniform(25.0, 60.0)
        rate_db_per_s = np.exp(chance.uniform(np.log(3.0), np.log(60.0)))
        rise_s = min(depth_db / rate_db_per_s, 0.9 * total_s)
        gain_db = depth_db * np.minimum(t / rise_s - 1.0, 0.0)
        return (10.0 ** (gain_db / 20.0)).astype(np.float32)
    rise_s = chance.uniform(0.4, 0.9) * total_s if kind != "bow" else chance.uniform(0.3, 1.5)
    rise = np.clip(t / rise_s, 0.0, 1.0)
    if kind == "linear":
        return rise
    if kind == "bow":
        return (0.5 - 0.5 * np.cos(np.pi * rise)).astype(np.float32)
    return (np.sin(np.pi * np.clip(t / total_s, 0.0, 1.0)) ** 2).astype(np.float32)


@dataclass(frozen=True, slots=True)
class Grooves:
    """A kit played by patterns with fills, a minute each."""

    font: Font
    count: int
    seed: int
    prefix: str = "drums"

    @property
    def package(self) -> str:
        """Where it comes from."""
        return self.font.package

    def make(self, shelf: Shelf, store: Store) -> None:
        """Put them on the shelf."""
        font = self.font.path(store)
        for i in range(self.count):
            chance = random.Random(self.seed + i)
            bpm = chance.choice([72, 88, 100, 112, 126, 140, 168])
            title = f"{self.prefix}_{self.package}_{i:02d}_{bpm}bpm"
            if not shelf.has(title):
                samples = rendered(groove(chance, bpm), font, i % 2 == 0, 64.0)
                note = "kit played by a generated pattern"
                shelf.put(title, samples, "drums", self.package, self.font.licence, note)


def groove(chance: random.Random, bpm: int) -> Score:
    """A minute of kick, snare, hats and a fill every fourth bar; keys as in General MIDI."""
    score = Score(chance.choice([0, 8, 16, 24, 25, 32, 40]), channel=DRUMS)
    step_s, at_s, bar = 15.0 / bpm, 0.3, 0
    kick = [j for j in range(16) if j in (0, 8) or chance.random() < 0.15]
    snare = [4, 12] + ([chance.randint(13, 15)] if chance.random() < 0.5 else [])
    every, cymbal = chance.choice([1, 2, 4]), chance.choice([42, 42, 51, 46])
    while at_s < 60.0:
        for j in range(16):
            hit_s = at_s + j * step_s + chance.uniform(-0.004, 0.004)
            if bar % 4 == 3 and j >= 10:
                score.note(hit_s, chance.choice([38, 50, 47, 45, 43]), 0.1, chance.randint(85, 125))
                continue
            if j in kick:
                score.note(hit_s, 36, 0.1, chance.randint(95, 125))
            if j in snare:
                score.note(hit_s, 38, 0.1, chance.randint(90, 125))
            if j % every == 0:
                score.note(hit_s, cymbal, 0.1, chance.randint(60, 100))
        if bar % 4 == 0:
            score.note(at_s, chance.choice([49, 57]), 0.1, 115)
        at_s += 16 * step_s
        bar += 1
    return score


@dataclass(frozen=True, slots=True)
class Songs:
    """MIDI files of a package through a font: what a person alone plays along to."""

    tunes: str
    licence: str
    font: Font
    pattern: str = ""
    count: int = 100
    prefix: str = "gmband"
    longest_s: float = SONG_S

    @property
    def package(self) -> str:
        """Where it comes from."""
        return f"{self.tunes}+{self.font.package}"

    def make(self, shelf: Shelf, store: Store) -> None:
        """Put them on the shelf."""
        font = self.font.path(store)
        tunes = files(store.debian(self.tunes), self.pattern, ("mid", "midi"))
        for tune in tunes[: self.count]:
            title = f"{self.prefix}_{tune.stem}"
            if not shelf.has(title):
                samples = rendered(tune, font, True, self.longest_s)
                licence = f"{self.licence} (tune)"
                shelf.put(title, samples, "band_midi", self.package, licence, "General MIDI render")


@dataclass(frozen=True, slots=True)
class Composed:
    """``count`` pieces that this program composes, each by a chance of its own."""

    font: Font
    count: int
    seed: int
    prefix: str
    note: str
    compose: Callable[[random.Random, Path], np.ndarray]

    @property
    def package(self) -> str:
        """Where it comes from."""
        return self.font.package

    def make(self, shelf: Shelf, store: Store) -> None:
        """Put them on the shelf."""
        font = self.font.path(store)
        for k in range(self.count):
            title = f"{self.prefix}_{self.package}_{k:02d}"
            if not shelf.has(title):
                samples = self.compose(random.Random(self.seed * 100 + k), font)
                licence = self.font.licence
                shelf.put(title, samples, "band_midi", self.package, licence, self.note)
