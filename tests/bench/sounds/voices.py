"""Recipes for singing: the singer of ``singer.py`` alone, in choirs, and with recorded words."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.bench.sounds import borrowed, singer
from tests.bench.sounds.recipe import Recipe
from tests.bench.sounds.recorded import Source
from tests.bench.sounds.shelf import Shelf
from tests.bench.sounds.sources import GPL_2, PROMPTS
from tests.bench.sounds.store import Store, decoded

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
                notes = singer.tune(singer.RANGE_KEYS[self.register], 60.0, rng)
                samples = singer.sung(singer.somebody(self.register, rng), notes, 60.0, rng)
            else:
                samples = singer.choir(self.register, 60.0, self.voices, rng)
            note = f"source-filter {self.register}, {self.voices} at once: held notes, glides, hums"
            shelf.put(name, samples, "singing", self.package, "made by this program", note)


@dataclass(frozen=True, slots=True)
class Borrowed:
    """Minutes of recorded words of a package, sung; each with the words of one folder."""

    source: Source
    minutes: int
    prefix: str

    @property
    def package(self) -> str:
        """Where the voice comes from: sung and spoken, it is tuned on or scored on as one."""
        return self.source.package

    def make(self, shelf: Shelf, store: Store) -> None:
        """Put them on the shelf."""
        folders: dict[Path, list[Path]] = {}
        for path in self.source.paths(store):
            folders.setdefault(path.parent, []).append(path)
        pools = [paths for _, paths in sorted(folders.items()) if len(paths) >= LEAST_WORDS]
        for k in range(self.minutes):
            name = f"{self.prefix}_{k:02d}"
            if shelf.has(name):
                continue
            rng = np.random.default_rng([72, k])
            pool = pools[int(rng.integers(len(pools)))]
            chosen = rng.permutation(len(pool))[:WORDS]
            words = [one for i in chosen if (one := borrowed.word(decoded(pool[i], 0.0, 4.0)))]
            if not words:
                continue
            spoken_key = 69.0 + 12.0 * np.log2(np.median([one.f0_hz for one in words]) / 440.0)
            low = int(np.clip(spoken_key, 42, 64)) - 2  # people sing a little above their speech
            notes = singer.tune((low, low + 17), 60.0, rng)
            voice = singer.somebody("alto", rng)
            samples = borrowed.sung_words(voice, words, notes, 60.0, rng)
            source = self.source
            shelf.put(name, samples, "singing", source.package, source.licence, source.note)


LEAST_WORDS, WORDS = 8, 14
"""Clips a folder must hold to be one speaker's, and how many are sung in a minute."""


def _words(
    package: str, licence: str, who: str, pattern: str, minutes: int, prefix: str
) -> Borrowed:
    note = f"recorded words made to sing, {who}"
    return Borrowed(Source(package, "singing", licence, note, pattern, 4000), minutes, prefix)


PROMPTS_SPOKEN = "/(digits|letters|phonetic)/"
SUNG: list[Recipe] = [
    *(Sung(register, 12) for register in REGISTERS),
    *(Sung(register, 2, voices) for register, voices in zip(REGISTERS, (4, 6, 3, 5), strict=True)),
    _words(
        "ktuberling-data", "GPL-2+, CC0-1.0", "many speakers", "/sounds/[^/]+/", 12, "song_words"
    ),
    _words("fillets-ng-data-nl", GPL_2, "Dutch", "/sound/", 8, "song_nl"),
    _words("fillets-ng-data-cs", GPL_2, "Czech", "/sound/", 6, "song_cs"),
    *(
        _words(
            f"asterisk-core-sounds-{language}-g722",
            licence,
            who,
            PROMPTS_SPOKEN,
            5,
            f"song_{language}",
        )
        for language, who, licence, _ in PROMPTS
    ),
]
