"""How likely a frequency belongs to the rig, to a room, or to chance: a small Bayesian model.

For one group of rings and all evenings at all venues, three things can be so:

* rig: one thing that is taken along (microphone, wedge, loudspeaker) rings everywhere.  On each
  evening at venue v it rings with chance p_v; the p_v come from one Beta distribution around a
  common mean, which is not known either.  So the venues are pooled in part, and ten evenings at
  one venue are not ten pieces of evidence about the rig: they tell one p_v well.
* room: each venue has a thing of its own there with chance rho, independent of the others; where it
  has one, p_v is anything; where it has none, only chance rings.
* chance: no venue has one.

How crowded the rooms are (rho) and how often chance rings are taken from all groups together, the
empty places of the axis among them.  An evening counts by its exposure x: it rings with
1 - (1 - p)^x.  Everything is summed on grids; nothing is drawn at random.

Source of the form: the beta-binomial hierarchical model of Gelman and others, *Bayesian Data
Analysis*, chapter 5 (from memory); the figures are ours and were chosen on simulated histories.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

PLACES = 10
"""Windows of a third of an octave in which most rings lie: three octaves and a bit, about 300 Hz to
3 kHz.  The fewer, the likelier that two rooms are alike by accident.  Of 1,000 tuning histories 15
left 7 % of what was called the rig's wrong, 12 left 4 %, 10 left 2 %."""
RIG_BEFORE = 0.12
"""How many of the places are the rig's before anything was heard: one, seldom two."""
RIG_ALIKE = 8.0
"""How much alike a rig's venues are: the Beta's two shapes add up to this."""
_RHO = (0.03, 0.07, 0.14, 0.25, 0.4)
_BY_CHANCE = (0.005, 0.02, 0.06)
_STEPS = 24
_P = tuple((i + 0.5) / _STEPS for i in range(_STEPS))
_MEANS = tuple((i + 0.5) / 10 for i in range(1, 10))
LEAST_EXPOSURE = 0.25
"""Where it rang although it stood pulled; it would be surprising beyond reason otherwise."""


@dataclass(frozen=True, slots=True)
class Evening:
    """One evening and one place on the axis.

    ``exposure`` is the chance it had to ring, ``times`` the same without what pulls took away:
    what rings by chance does not mind them.
    """

    rang: bool
    exposure: float
    times: float


Evenings = Mapping[str, Sequence[Evening]]
"""By venue."""


@dataclass(frozen=True, slots=True)
class Chances:
    """What is likely of one group; ``room`` by venue: that the venue has it and it is no rig's.

    ``rate`` is the chance to ring on a usual evening without pulls, by venue, if there is a thing.
    """

    rig: float
    room: dict[str, float]
    rig_rate: float
    room_rate: dict[str, float]


@dataclass(frozen=True, slots=True)
class _Venue:
    """The likelihoods of one venue's evenings: over p, and by how often chance rings."""

    over_p: tuple[float, ...]
    by_chance: tuple[float, ...]

    @property
    def has_own(self) -> float:
        return sum(self.over_p) / _STEPS


def chances_of(groups: Sequence[Evenings], empty: Evenings) -> list[Chances]:
    """Return the chances of each group; ``empty`` is a place where nothing ever rang.

    All must be about the same evenings.
    """
    seen = [{v: _venue(each) for v, each in group.items()} for group in groups]
    nothing = {v: _venue(each) for v, each in empty.items()}
    crowd = _crowd(seen, nothing)
    return [_chances(venues, crowd) for venues in seen]


def _venue(evenings: Sequence[Evening]) -> _Venue:
    over_p = [1.0] * _STEPS
    by_chance = [1.0] * len(_BY_CHANCE)
    for evening in evenings:
        shown = max(evening.exposure, LEAST_EXPOSURE) if evening.rang else evening.exposure
        for i, quiet in enumerate(_quiet(_P, round(shown, 2))):
            over_p[i] *= 1.0 - quiet if evening.rang else quiet
        for i, quiet in enumerate(_quiet(_BY_CHANCE, round(max(evening.times, 0.1), 2))):
            by_chance[i] *= 1.0 - quiet if evening.rang else quiet
    return _Venue(tuple(over_p), tuple(by_chance))


@lru_cache(maxsize=2048)
def _quiet(chances: tuple[float, ...], exposure: float) -> tuple[float, ...]:
    return tuple((1.0 - p) ** exposure for p in chances)


@lru_cache(maxsize=1)
def _alike() -> tuple[tuple[float, ...], ...]:
    """Return the weights over p of a rig's venues, for each common mean."""
    found = []
    for mean in _MEANS:
        a, b = mean * RIG_ALIKE, (1.0 - mean) * RIG_ALIKE
        density = [p ** (a - 1.0) * (1.0 - p) ** (b - 1.0) for p in _P]
        total = sum(density)
        found.append(tuple(d / total for d in density))
    return tuple(found)


def _as_rig(venues: Mapping[str, _Venue]) -> list[float]:
    """Return the likelihood for each common mean."""
    return [
        math.prod(
            sum(w * x for w, x in zip(weights, v.over_p, strict=True)) for v in venues.values()
        )
        for weights in _alike()
    ]


def _as_room(venues: Mapping[str, _Venue], rho: float, n: int) -> float:
    return math.prod(rho * v.has_own + (1.0 - rho) * v.by_chance[n] for v in venues.values())


def _crowd(
    seen: Sequence[Mapping[str, _Venue]], nothing: Mapping[str, _Venue]
) -> list[tuple[float, float, int]]:
    """Return (weight, rho, which chance) on the grid, from all places together."""
    logs = []
    empty_count = max(PLACES - len(seen), 0)
    rig = [sum(_as_rig(venues)) / len(_MEANS) for venues in (*seen, nothing)]
    for rho in _RHO:
        for n in range(len(_BY_CHANCE)):
            total = 0.0
            for venues, as_rig, times in zip(
                (*seen, nothing), rig, (*[1] * len(seen), empty_count), strict=True
            ):
                either = RIG_BEFORE * as_rig + (1.0 - RIG_BEFORE) * _as_room(venues, rho, n)
                total += times * math.log(either)
            logs.append((total, rho, n))
    top = max(total for total, _, _ in logs)
    weights = [(math.exp(total - top), rho, n) for total, rho, n in logs]
    whole = sum(weight for weight, _, _ in weights)
    return [(weight / whole, rho, n) for weight, rho, n in weights]


def _chances(venues: Mapping[str, _Venue], crowd: Sequence[tuple[float, float, int]]) -> Chances:
    by_mean = _as_rig(venues)
    as_rig = sum(by_mean) / len(by_mean)
    rig = 0.0
    room = dict.fromkeys(venues, 0.0)
    for weight, rho, n in crowd:
        as_room = (1.0 - RIG_BEFORE) * _as_room(venues, rho, n)
        total = RIG_BEFORE * as_rig + as_room
        rig += weight * RIG_BEFORE * as_rig / total
        for uid, v in venues.items():
            own = rho * v.has_own / (rho * v.has_own + (1.0 - rho) * v.by_chance[n])
            room[uid] += weight * own * as_room / total
    rates = {
        uid: sum(p * x for p, x in zip(_P, v.over_p, strict=True)) / sum(v.over_p)
        for uid, v in venues.items()
    }
    mean = sum(m * x for m, x in zip(_MEANS, by_mean, strict=True)) / sum(by_mean)
    return Chances(rig, room, mean, rates)
