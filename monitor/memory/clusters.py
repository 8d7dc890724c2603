"""Which rings are the same thing: nearness on a logarithmic frequency axis, over evenings.

A loop rings where its phase comes round, and these places lie near each other and move with every
step of the performer; so the same resonance is not heard twice at the same frequency.  First the
rings of one venue are put together (a room's things are its own), then what the venues have alike.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from monitor.memory.gig_memory import GigMemory, RingMemory

REACH_OCTAVES = 1.0 / 6.0
"""Rings no further from the middle than this are one thing: half a slider of a third-octave
equaliser to either side, so what is put together is pulled together.  Our choice."""
_BINS_AN_OCTAVE = 48
"""Finer than frequencies are known when a performer moves; it bounds the work."""


@dataclass(frozen=True, slots=True)
class Cluster:
    """What rang at one place on the axis at one venue; ``rings`` by the gig's uid."""

    frequency_hz: float
    venue_uid: str
    rings: dict[str, tuple[RingMemory, ...]]

    @property
    def howl_count(self) -> int:
        """How many of its rings became howls."""
        return sum(ring.degree == "howl" for rings in self.rings.values() for ring in rings)


@dataclass(frozen=True, slots=True)
class Group:
    """Clusters of all venues at one place on the axis."""

    frequency_hz: float
    clusters: tuple[Cluster, ...]

    def first_at_s(self, uid: str) -> float | None:
        """Return when it first rang in that gig, None if it did not."""
        rings = [ring.at_s for cluster in self.clusters for ring in cluster.rings.get(uid, ())]
        return min(rings, default=None)

    @property
    def venues(self) -> frozenset[str]:
        """Where it rang."""
        return frozenset(cluster.venue_uid for cluster in self.clusters)


def octaves_apart(one_hz: float, other_hz: float) -> float:
    """Return how far two frequencies are from each other."""
    return abs(math.log2(one_hz / other_hz))


def clusters_of(venue_uid: str, gigs: Iterable[GigMemory]) -> list[Cluster]:
    """Return what rang at a venue, what rang on most evenings first."""
    points = [(ring.frequency_hz, gig.uid, ring) for gig in gigs for ring in gig.rings]
    found = []
    for members in _gathered([(hz, uid) for hz, uid, _ in points]):
        rings: dict[str, list[RingMemory]] = {}
        for i in members:
            rings.setdefault(points[i][1], []).append(points[i][2])
        # An evening on which it rang twenty times says no more of where it is than another.
        middles = [median(ring.frequency_hz for ring in each) for each in rings.values()]
        kept = {uid: tuple(each) for uid, each in rings.items()}
        found.append(Cluster(median(middles), venue_uid, kept))
    return found


def groups_of(clusters: Sequence[Cluster]) -> list[Group]:
    """Return what the venues have alike, what rang at most venues first."""
    points = [(cluster.frequency_hz, cluster.venue_uid) for cluster in clusters]
    return [
        Group(
            median([clusters[i].frequency_hz for i in members]),
            tuple(clusters[i] for i in members),
        )
        for members in _gathered(points)
    ]


def _gathered(points: Sequence[tuple[float, str]]) -> list[list[int]]:
    """Return indices of points put together: again and again round the place with most owners.

    Of two places with as many owners, the one whose points lie closer wins.
    """
    bins: dict[int, list[int]] = {}
    for i, (hz, _) in enumerate(points):
        bins.setdefault(round(math.log2(hz) * _BINS_AN_OCTAVE), []).append(i)
    reach = round(REACH_OCTAVES * _BINS_AN_OCTAVE)
    owners = {at: {points[i][1] for i in members} for at, members in bins.items()}
    found = []
    while owners:
        best = max(owners, key=lambda at: (*_crowd(owners, at, reach), -at))
        taken = [at for at in range(best - reach, best + reach + 1) if owners.pop(at, None)]
        found.append(sorted(i for at in taken for i in bins[at]))
    return found


def _crowd(owners: Mapping[int, set[str]], at: int, reach: int) -> tuple[int, float]:
    """Return how many owners are within reach of a place, and minus how far apart they lie."""
    near = [(d, owners[at + d]) for d in range(-reach, reach + 1) if at + d in owners]
    spread = sum(abs(d) * len(each) for d, each in near) / sum(len(each) for _, each in near)
    return len(set().union(*(each for _, each in near))), -spread
