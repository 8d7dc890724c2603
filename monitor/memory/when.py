"""Which hour and which song block rang most, by rate, and whether that is more than chance.

Only the way of the set counts: a ring-out makes its rings on purpose.  One resonance that speaks
five times in a row is one bout.  Given how many bouts each gig had, chance would spread them over
its hours by the time heard; how often chance alone gives an hour as many as it got is a sum of
binomials, times the hours that were looked at.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from monitor.counted import counted
from monitor.memory.clusters import REACH_OCTAVES, octaves_apart
from monitor.memory.gig_memory import GigMemory

BOUT_S = 300.0
"""A ring of the same place within so long of the one before belongs to it: a song or so."""
SURE_BELOW = 0.05
LEAST_HEARD_S = 600.0
"""An hour of which less was heard has no rate worth a word."""
WIDE = 100.0
"""From this variance on the normal curve stands in for the sum: within 0.01 of it (a test)."""
LEAST_CHANCE = 1e-6
"""Nothing rarer is told: gigs are not as independent as that."""
_HOUR_S = 3600.0


@dataclass(frozen=True, slots=True)
class Part:
    """One hour since the beginning, or one song block, over all gigs; ``n`` counts from 1."""

    n: int
    heard_s: float
    bout_count: int
    by_chance: float

    @property
    def per_hour(self) -> float:
        """Bouts an hour of what was heard."""
        return self.bout_count / self.heard_s * _HOUR_S

    def fields(self, name: str) -> dict[str, Any]:
        """Return it as it goes over the link."""
        return {
            name: self.n,
            "heard_h": round(self.heard_s / _HOUR_S, 2),
            "rings": self.bout_count,
            "per_hour": round(self.per_hour, 2),
        }


@dataclass(frozen=True, slots=True)
class When:
    """Hours and song blocks, and what can be said of them."""

    hours: tuple[Part, ...]
    songs: tuple[Part, ...]
    words: tuple[str, ...]

    def fields(self) -> dict[str, Any]:
        """Return it as it goes over the link."""
        return {
            "hours": [part.fields("hour") for part in self.hours],
            "songs": [part.fields("song") for part in self.songs],
            "words": list(self.words),
        }


def when_it_rang(gigs: Sequence[GigMemory]) -> When:
    """Return when it rang most, over all the gigs given."""
    bouts = [bouts_at_s(gig) for gig in gigs]
    hours = _parts([_hours(gig, of) for gig, of in zip(gigs, bouts, strict=True)])
    songs = _parts([_songs(gig, of) for gig, of in zip(gigs, bouts, strict=True)])
    words = [
        line
        for line in (_line(hours, "hour {n} of the evening"), _line(songs, "song block {n}"))
        if line is not None
    ]
    return When(hours, songs, tuple(words))


Spread = Mapping[int, tuple[float, int]]
"""Of one gig: seconds heard and bouts by part."""


def bouts_at_s(gig: GigMemory) -> list[float]:
    """Return when each bout of the set began; repeats of the same place are left out."""
    last: list[tuple[float, float]] = []
    found = []
    for ring in sorted(gig.rings, key=lambda ring: ring.at_s):
        if ring.way != "set":
            continue
        same = [
            at_s
            for hz, at_s in last
            if ring.at_s - at_s <= BOUT_S and octaves_apart(hz, ring.frequency_hz) <= REACH_OCTAVES
        ]
        if not same:
            found.append(ring.at_s)
        last = [(hz, at_s) for hz, at_s in last if ring.at_s - at_s <= BOUT_S]
        last.append((ring.frequency_hz, ring.at_s))
    return found


def _hours(gig: GigMemory, bouts: Sequence[float]) -> Spread:
    heard = {n: s for n, s in enumerate(gig.hours_set_s, 1) if s > 0.0}
    places = [int(at_s // _HOUR_S) + 1 for at_s in bouts]
    return {n: (heard_s, places.count(n)) for n, heard_s in heard.items()}


def _songs(gig: GigMemory, bouts: Sequence[float]) -> Spread:
    begins = [(song.at_s, song.n) for song in gig.songs]
    places = []
    for at_s in bouts:
        before = [n for begin_s, n in begins if begin_s <= at_s]
        if before:
            places.append(before[-1])
    heard: dict[int, float] = {}
    for song in gig.songs:
        heard[song.n] = heard.get(song.n, 0.0) + song.heard_s
    return {n: (s, places.count(n)) for n, s in heard.items() if s > 0.0}


def _parts(gigs: Sequence[Spread]) -> tuple[Part, ...]:
    numbers = sorted({n for gig in gigs for n in gig})
    found = []
    for n in numbers:
        heard_s = sum(gig[n][0] for gig in gigs if n in gig)
        count = sum(gig[n][1] for gig in gigs if n in gig)
        found.append(Part(n, heard_s, count, min(_chance(gigs, n, count) * len(numbers), 1.0)))
    return tuple(found)


def _chance(gigs: Sequence[Spread], n: int, count: int) -> float:
    """Return how likely a part gets so many bouts or more if time alone decided."""
    shares = []
    for gig in gigs:
        whole_s = sum(heard_s for heard_s, _ in gig.values())
        if n in gig and gig[n][0] > 0.0:
            shares.append((gig[n][0] / whole_s, sum(bouts for _, bouts in gig.values())))
    if count == 0:
        return 1.0
    variance = sum(share * (1.0 - share) * bouts for share, bouts in shares)
    if variance >= WIDE:
        # The normal curve, continuity corrected.
        mean = sum(share * bouts for share, bouts in shares)
        return 0.5 * math.erfc((count - 0.5 - mean) / math.sqrt(2.0 * variance))
    reached = 0.0
    below = [1.0] + [0.0] * (count - 1)  # how likely 0, 1, ... bouts so far
    for share, bouts in shares:
        for _ in range(bouts):
            reached += below[-1] * share
            for k in range(count - 1, 0, -1):
                below[k] += share * (below[k - 1] - below[k])
            below[0] *= 1.0 - share
    return reached


def _line(parts: Sequence[Part], name: str) -> str | None:
    """Return what can be said of the busiest, None where there is nothing to set side by side."""
    known = [part for part in parts if part.heard_s >= LEAST_HEARD_S]
    if len(known) < 2 or not any(part.bout_count for part in known):
        return None
    most = max(known, key=lambda part: part.per_hour)
    others = [part for part in parts if part is not most]
    other_h = sum(part.heard_s for part in others) / _HOUR_S
    rest = sum(part.bout_count for part in others) / other_h
    said = (
        f"{name.format(n=most.n)} rang most: {counted(most.bout_count, 'time')} in "
        f"{most.heard_s / _HOUR_S:.1f} h heard, {most.per_hour:.1f} an hour, else {rest:.1f}"
    )
    if most.by_chance >= SURE_BELOW:
        return f"{said}; that may be chance"
    return (
        f"{said}; chance alone does so once in {round(1.0 / max(most.by_chance, LEAST_CHANCE)):,}"
    )
