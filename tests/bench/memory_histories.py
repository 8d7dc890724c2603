"""Invented histories of a rig in rooms, with the truth about them.

A rig has resonances that it takes along, every venue has modes of its own, both with a hazard: how
often, on average, they ring on a usual evening of two hours.  Evenings differ in length and in how
hard they are driven, rings wander round their resonance, some are missed, some are chance.  Cuts
are found on the evening and may stand from the start at the next, here or everywhere, and then hide
what they cut.  Nothing here knows the model that judges: hazards are log-uniform, not Beta.

Ranges for tuning (``TUNING``) and for scoring (``SCORING``) differ, and so do the seeds.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, replace
from typing import Literal

from monitor.listening.bands import THIRD_OCTAVES, third_octave_of
from monitor.memory.gig_memory import GigMemory, PullMemory, RingMemory, RingOutMemory

Truth = Literal["rig", "room", "nothing"]
Range = tuple[float, float]
WITHIN_OCTAVES = 1.0 / 6.0
"""A verdict is about the resonance that lies within this of it."""
DAY_S = 86400.0


@dataclass(frozen=True, slots=True)
class Ranges:
    """Between what each figure of a history is drawn."""

    rig_count: tuple[int, int]
    mode_count: tuple[int, int]
    venue_count: tuple[int, int]
    evening_count: tuple[int, int]
    rig_hazard: Range
    mode_hazard: Range
    hours: Range
    drive_sigma: Range
    wander_octaves: Range
    heard: Range
    chance_rings: Range
    cut_share: Range
    carried_share: Range
    ring_out_share: Range
    middle_hz: Range
    rig_changes_after: int | None = None


TUNING = Ranges(
    rig_count=(0, 2),
    mode_count=(1, 5),
    venue_count=(1, 8),
    evening_count=(1, 8),
    rig_hazard=(0.6, 3.0),
    mode_hazard=(0.3, 3.0),
    hours=(1.0, 3.0),
    drive_sigma=(0.2, 0.5),
    wander_octaves=(0.01, 0.04),
    heard=(0.8, 1.0),
    chance_rings=(0.0, 0.3),
    cut_share=(0.0, 0.7),
    carried_share=(0.0, 0.4),
    ring_out_share=(0.0, 0.8),
    middle_hz=(1000.0, 1000.0),
)
SCORING = Ranges(
    rig_count=(0, 3),
    mode_count=(1, 7),
    venue_count=(1, 9),
    evening_count=(1, 8),
    rig_hazard=(0.4, 4.0),
    mode_hazard=(0.15, 4.0),
    hours=(0.5, 4.0),
    drive_sigma=(0.1, 0.7),
    wander_octaves=(0.005, 0.05),
    heard=(0.65, 1.0),
    chance_rings=(0.0, 0.5),
    cut_share=(0.0, 0.9),
    carried_share=(0.0, 0.6),
    ring_out_share=(0.0, 1.0),
    middle_hz=(250.0, 3150.0),
)
"""Wider at every end: more and weaker things, noisier ears, more cuts that hide them."""
_ENDS_OCTAVES = (math.log2(120.0), math.log2(6300.0))
"""Where stages ring; how much of it lies where in between differs from stage to stage."""
CHANGED = replace(SCORING, rig_changes_after=8)
"""The same with another microphone, wedge and loudspeaker from the ninth evening on, of which the
model knows nothing; what was the rig's for a time counts as the rig's."""
TUNING_SEED = 500_000
SCORING_SEED = 0


@dataclass(frozen=True, slots=True)
class Resonance:
    """Where something rings, and how often on a usual evening."""

    frequency_hz: float
    hazard: float


@dataclass(frozen=True, slots=True)
class History:
    """Gigs in order of time, and what is true of them."""

    gigs: tuple[GigMemory, ...]
    rig: tuple[Resonance, ...]
    modes: dict[str, tuple[Resonance, ...]]

    def truth(self, frequency_hz: float, venue_uid: str) -> Truth:
        """Return whose a frequency is at a venue."""
        if _near(self.rig, frequency_hz):
            return "rig"
        return "room" if _near(self.modes[venue_uid], frequency_hz) else "nothing"

    def rings_within(self, venue_uid: str, frequency_hz: float, octaves: float) -> bool:
        """Return whether anything of the rig or the venue lies so near."""
        return any(
            abs(math.log2(each.frequency_hz / frequency_hz)) <= octaves
            for each in (*self.rig, *self.modes[venue_uid])
        )


def _near(resonances: tuple[Resonance, ...], frequency_hz: float) -> bool:
    return any(
        abs(math.log2(each.frequency_hz / frequency_hz)) <= WITHIN_OCTAVES for each in resonances
    )


class _Maker:
    """Draws one history."""

    def __init__(self, seed: int, ranges: Ranges) -> None:
        self.draw = random.Random(seed)
        self.ranges = ranges
        self.heard = self.draw.uniform(*ranges.heard)
        self.sigma = self.draw.uniform(*ranges.drive_sigma)
        self.wander = self.draw.uniform(*ranges.wander_octaves)
        self.chance_rings = self.draw.uniform(*ranges.chance_rings)
        self.cut_share = self.draw.uniform(*ranges.cut_share)
        self.carried_share = self.draw.uniform(*ranges.carried_share)
        self.ring_out_share = self.draw.uniform(*ranges.ring_out_share)
        low, high = (math.log2(hz) for hz in ranges.middle_hz)
        self.middle_octaves = self.draw.uniform(low, high)

    def history(self) -> History:
        ranges, draw = self.ranges, self.draw
        rig = self._resonances(draw.randint(*ranges.rig_count), ranges.rig_hazard)
        venues = [f"v{n}" for n in range(draw.randint(*ranges.venue_count))]
        modes = {
            uid: self._resonances(draw.randint(*ranges.mode_count), ranges.mode_hazard)
            for uid in venues
        }
        later = self._resonances(draw.randint(*ranges.rig_count), ranges.rig_hazard)
        changes_after = ranges.rig_changes_after
        visits = [uid for uid in venues for _ in range(draw.randint(*ranges.evening_count))]
        draw.shuffle(visits)
        left: dict[str, dict[str, float]] = {}
        last: dict[str, float] = {}
        gigs = []
        for n, uid in enumerate(visits):
            at_first = left.get(uid, {}) if draw.random() < self.cut_share else {}
            if draw.random() < self.carried_share:
                at_first = {**last, **at_first}
            is_changed = changes_after is not None and n >= changes_after
            gig = self._gig(n, uid, later if is_changed else rig, modes[uid], at_first)
            last = left[uid] = {pull.label: pull.pull_db for pull in gig.pulls}
            gigs.append(gig)
        had = rig if changes_after is None else (*rig, *later)
        return History(tuple(gigs), had, modes)

    def _resonances(self, count: int, hazard: Range) -> tuple[Resonance, ...]:
        low, high = (math.log(h) for h in hazard)
        return tuple(
            Resonance(
                2.0 ** self.draw.triangular(*_ENDS_OCTAVES, self.middle_octaves),
                math.exp(self.draw.uniform(low, high)),
            )
            for _ in range(count)
        )

    def _gig(
        self,
        n: int,
        uid: str,
        rig: tuple[Resonance, ...],
        modes: tuple[Resonance, ...],
        at_first: dict[str, float],
    ) -> GigMemory:
        draw = self.draw
        heard_s = 3600.0 * draw.uniform(*self.ranges.hours)
        rings_out = draw.random() < self.ring_out_share
        drive = draw.lognormvariate(0.0, self.sigma) * heard_s / 7200.0
        drive *= 1.8 if rings_out else 1.0
        pulls = {label: PullMemory(label, _HZ[label], db) for label, db in at_first.items()}
        rings: list[RingMemory] = []
        for at_s, hz in sorted(self._would_ring((*rig, *modes), drive, heard_s)):
            if draw.random() < math.exp(-_cut_db(pulls, hz) / 2.5):
                self._rings(hz, at_s, rings, pulls)
        for _ in range(_poisson(draw, self.chance_rings)):
            hz = 2.0 ** draw.uniform(math.log2(120.0), math.log2(8000.0))
            rings.append(_ring(draw, hz, draw.uniform(0.0, heard_s), howls=0.1))
        return GigMemory(
            uid=f"g{n}",
            venue_uid=uid,
            venue_name=f"The {uid}",
            utc_s=1.7e9 + 7.0 * DAY_S * n,
            dated="network",
            rings=tuple(sorted(rings, key=lambda ring: ring.at_s)),
            pulls=tuple(pulls[label] for label in sorted(pulls)),
            ring_out=RingOutMemory() if rings_out else None,
            hours_heard_s=_hours(heard_s),
            equaliser="31 bands",
        )

    def _would_ring(
        self, resonances: tuple[Resonance, ...], drive: float, heard_s: float
    ) -> list[tuple[float, float]]:
        draw = self.draw
        return [
            (draw.random() ** 2 * heard_s, each.frequency_hz * 2.0 ** draw.gauss(0.0, self.wander))
            for each in resonances
            for _ in range(_poisson(draw, each.hazard * drive))
        ]

    def _rings(
        self,
        hz: float,
        at_s: float,
        rings: list[RingMemory],
        pulls: dict[str, PullMemory],
    ) -> None:
        """Let it ring: the box may hear it, and the person may pull for it."""
        draw = self.draw
        if draw.random() < self.heard:
            rings.append(_ring(draw, hz, at_s, howls=0.6))
        if draw.random() < 0.7:
            label = third_octave_of(hz).label
            more_db = draw.choice((2.0, 3.0, 4.0))
            new = PullMemory(label, _HZ[label], 0.0, None, at_s, begun_db=more_db)
            stood = pulls.get(label, new)
            begun_db = stood.pull_db if stood.begun_db is None else stood.begun_db
            pull_db = min(stood.pull_db + more_db, 12.0)
            pulls[label] = replace(stood, pull_db=pull_db, begun_db=begun_db)


_HZ = {band.label: band.midband_hz for band in THIRD_OCTAVES}


def _ring(draw: random.Random, hz: float, at_s: float, *, howls: float) -> RingMemory:
    degree: Literal["ringing", "howl"] = "howl" if draw.random() < howls else "ringing"
    draw.uniform(0.5, 4.0)  # read by nobody; without it all that is drawn later would be other
    return RingMemory(hz, degree, "set", at_s)


def _cut_db(pulls: dict[str, PullMemory], hz: float) -> float:
    """A graphic slider's bell: full in the middle, half at a sixth of an octave."""
    return sum(
        pull.pull_db * math.exp(-0.693 * (math.log2(hz / pull.centre_hz) * 6.0) ** 2)
        for pull in pulls.values()
    )


def _hours(heard_s: float) -> tuple[float, ...]:
    whole, rest = divmod(heard_s, 3600.0)
    return (*[3600.0] * int(whole), rest)


def _poisson(draw: random.Random, mean: float) -> int:
    """Count exponential steps: exact, and the means are small."""
    count, reached = 0, draw.expovariate(1.0)
    while reached < mean:
        count += 1
        reached += draw.expovariate(1.0)
    return count


def made_history(seed: int, ranges: Ranges = SCORING) -> History:
    """Return the history of a seed; the same for the same seed and ranges."""
    return _Maker(seed, ranges).history()
