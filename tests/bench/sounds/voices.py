"""Recipes for singing: the singer of ``singer.py`` alone and in choirs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.bench.sounds import singer
from tests.bench.sounds.shelf import Shelf
from tests.bench.sounds.store import Store

REGISTERS = ("soprano", "alto", "tenor", "bass")


@dataclass(frozen=True, slots=True)
class Sung:
    """Minutes of one register, alone or ``voices`` together."""

    register: str
    minutes: int
    voices: int = 1

    @property
    def prefix(self) -> str:
        """How its files begin."""
        return f"{'sung' if self.voices == 1 else 'choir'}_{self.register}"

    @property
    def package(self) -> str:
        """Where it comes from."""
        return "singer (made)"

    def make(self, shelf: Shelf, store: Store) -> None:
        """Put them on the shelf, each by somebody else."""
        for k in range(self.minutes):
            name = f"{self.prefix}_{k:02d}"
            if shelf.has(name):
                continue
            rng = np.random.default_rng([71, REGISTERS.index(self.register), self.voices, k])
            if self.voices == 1:
                notes = singer.tune(self.register, 60.0, rng)
                samples = singer.sung(singer.somebody(self.register, rng), notes, 60.0, rng)
            else:
                samples = singer.choir(self.register, 60.0, self.voices, rng)
            note = f"source-filter {self.register}, {self.voices} at once: held notes, glides, hums"
            shelf.put(name, samples, "singing", self.package, "made by this program", note)


SUNG = [
    *(Sung(register, 12) for register in REGISTERS),
    *(Sung(register, 2, voices) for register, voices in zip(REGISTERS, (4, 6, 3, 5), strict=True)),
]
