"""The whole loop of a stage: how much further it may go before it rings.

The model
---------
Each open microphone's channel is turned up until its own voice is as loud as the others', so a
distant mouth costs gain.  All mains are driven alike, so that the voice at the farthest listener is
as loud as unamplified at the equivalent acoustic distance.  The wedges of a performer are driven so
that their ears get 6 dB more than that.  Every microphone is in every loudspeaker.

What rings is the highest peak of the whole loop.  The straight way of the strongest pair stands
still over frequency, d; everything else waves round it like noise of variance R.  Of N independent
looks in a band (N = bandwidth x T60 / 22) the highest is about where N exp(-(x - d)^2 / R) = 1, and
over all bands where the sum of these is 1.  With d = 0 and one band this is the expected maximum
stable gain of T. van Waterschoot, M. Moonen, Proc. IEEE 99(2), 2011, eq. 18 (after M. Schroeder),
to 0.2 dB.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from monitor.placing.acoustics import BANDS_HZ, MARGIN_DB, SPEECH_BANDS, T60_OF_BAND
from monitor.placing.paths import (
    BAND_COUNT,
    Bands,
    Paths,
    Receiver,
    Source,
    ears,
    microphone_receiver,
    paths,
    source_of,
    walls_of,
)
from monitor.placing.stage import Loudspeaker, Microphone, Point, Room, Stage

WEDGE_ABOVE_DB = 6.0
"""How much louder performers want themselves than the farthest listener has them: against a band
close by, half the distance's worth (common practice, no source)."""
TALKER_Q = 2.0
"""Directivity factor of a voice in the speech bands (common practice, no source)."""
_LOW_CUT_HZ = 100.0
_CAPSULE_HZ = 90.0
_CHANNEL = tuple(
    1.0 / ((1.0 + (_LOW_CUT_HZ / hz) ** 4) * (1.0 + (_CAPSULE_HZ / hz) ** 4)) for hz in BANDS_HZ
)
"""Energy let through by a low cut at 100 Hz and by a vocal microphone away from the mouth, both of
second order (common practice, no source)."""
_EVERY_BAND = range(BAND_COUNT)
_HZ_PER_LOOK = 22.0
"""Bandwidth x T60 of one independent look: van Waterschoot, Moonen, eq. 18."""


@dataclass(frozen=True, slots=True)
class Part:
    """One pair's part of the loop: its ways, and the energy gain in front of them."""

    microphone: int
    loudspeaker: int
    paths: Paths
    weight: float


@dataclass(frozen=True, slots=True)
class Loop:
    """All parts, the loop's highest peak at the level that is needed, and what is spare."""

    parts: tuple[Part, ...]
    peak: float
    needed_db: float

    @property
    def spare_db(self) -> float:
        """Gain left beyond what is needed, the margin of 6 dB kept."""
        return -20.0 * math.log10(self.peak) - MARGIN_DB


class Reckoner:
    """Reckons loops of one room; ways that did not change are not reckoned again."""

    def __init__(self, room: Room) -> None:
        self._room = room
        self._walls = walls_of(room)
        self._looks = tuple(
            max(1.0, hz / math.sqrt(2.0) * room.t60_s * factor / _HZ_PER_LOOK)
            for hz, factor in zip(BANDS_HZ, T60_OF_BAND, strict=True)
        )
        self._sources: dict[Loudspeaker, Source] = {}
        self._receivers: dict[tuple[object, ...], Receiver] = {}
        self._known: dict[tuple[object, ...], Paths] = {}
        self._alone: dict[Loop, list[float]] = {}

    def to_microphone(self, loudspeaker: Loudspeaker, microphone: Microphone) -> Paths:
        """Return the ways from a loudspeaker to a microphone."""
        key = (microphone.position_m, microphone.aim_deg, microphone.tilt_deg, microphone.pattern)
        receiver = self._receivers.get(key)
        if receiver is None:
            receiver = self._receivers[key] = microphone_receiver(microphone)
        return self._paths(loudspeaker, key, receiver)

    def at_ears(self, loudspeaker: Loudspeaker, place: Point) -> float:
        """Return the mean energy in the speech bands that a loudspeaker brings to a place."""
        ways = self._paths(loudspeaker, place, ears(place))
        return sum(ways.total(band) for band in SPEECH_BANDS) / len(SPEECH_BANDS)

    def _paths(
        self, loudspeaker: Loudspeaker, place: tuple[object, ...], receiver: Receiver
    ) -> Paths:
        key = (loudspeaker, place)
        known = self._known.get(key)
        if known is None:
            source = self._sources.get(loudspeaker)
            if source is None:
                source = self._sources[loudspeaker] = source_of(self._walls, loudspeaker)
            known = self._known[key] = paths(self._walls, source, receiver)
        return known

    def voice(self, distance_m: float) -> float:
        """Return an unamplified voice's energy at a distance, the room's answer included."""
        room = sum(self._walls.echoed[band] for band in SPEECH_BANDS)
        return 1.0 / distance_m**2 + room / (len(SPEECH_BANDS) * TALKER_Q)

    def loop(self, stage: Stage) -> Loop:
        """Return the loop of a stage in this room."""
        target = self.voice(stage.ead_m)
        drives = self._drives(stage, target)
        parts = tuple(
            Part(
                m, s, self.to_microphone(loudspeaker, microphone), drives[s] * microphone.mouth_m**2
            )
            for m, microphone in stage.open_microphones()
            for s, loudspeaker in enumerate(stage.loudspeakers)
        )
        away_m = min(
            math.dist(one.mouth_at_m, stage.listener.position_m)
            for _, one in stage.open_microphones()
        )
        needed_db = 10.0 * math.log10(target / self.voice(max(away_m, 0.1)))
        return Loop(parts, self.peak(parts), needed_db)

    def _drives(self, stage: Stage, target: float) -> list[float]:
        """Return each loudspeaker's energy gain for a channel whose voice stands at 1 m."""
        served: dict[Point, float] = {}
        place_of: list[Point] = []
        for one in stage.loudspeakers:
            place = serves(stage, one)
            place_of.append(place)
            served[place] = served.get(place, 0.0) + self.at_ears(one, place)
        above = 10.0 ** (WEDGE_ABOVE_DB / 10.0)
        return [
            target * (above if one.kind == "wedge" else 1.0) / served[place]
            for one, place in zip(stage.loudspeakers, place_of, strict=True)
        ]

    def alone(self, loop: Loop) -> list[float]:
        """Return the peak of each of a loop's parts as if it were the only one."""
        known = self._alone.get(loop)
        if known is None:
            known = self._alone[loop] = [self.peak([part]) for part in loop.parts]
        return known

    def peak(self, parts: Iterable[Part]) -> float:
        """Return the highest amplitude that the parts together are expected to reach."""
        strongest = [0.0] * BAND_COUNT
        amplitude = [0.0] * BAND_COUNT
        single = [0.0] * BAND_COUNT
        diffuse = [0.0] * BAND_COUNT
        for part in parts:
            ways, weight = part.paths, part.weight
            root = math.sqrt(weight)
            for band in _EVERY_BAND:
                here = root * ways.still[band]
                if here > strongest[band]:
                    strongest[band] = here
                amplitude[band] += root * ways.amplitude[band]
                single[band] += weight * ways.single[band]
                diffuse[band] += weight * ways.diffuse[band]
        still, waves = [], []
        for band in _EVERY_BAND:
            # A few single ways cannot add up to more than all of them in step.
            looks = max(1.0, math.log(self._looks[band]))
            most = (amplitude[band] - strongest[band]) ** 2 / looks
            rest = max(0.0, min(most, single[band] - strongest[band] ** 2))
            root = math.sqrt(_CHANNEL[band])
            still.append(strongest[band] * root)
            waves.append((rest + diffuse[band]) * _CHANNEL[band])
        return highest(still, waves, self._looks)


def serves(stage: Stage, loudspeaker: Loudspeaker) -> Point:
    """Return the place that a loudspeaker is for: the listener, or the nearest performer's ears."""
    if loudspeaker.kind == "mains":
        return stage.listener.position_m
    return stage.microphones[performer_of(stage, loudspeaker)].ears_at_m


def performer_of(stage: Stage, wedge: Loudspeaker) -> int:
    """Return the microphone, by its place in the list, of the performer a wedge is for.

    The nearest microphone: a head that comes nearer to it changes nothing.
    """
    here = wedge.position_m
    apart = [math.dist(one.position_m, here) for one in stage.microphones]
    return apart.index(min(apart))


def performers_of(stage: Stage) -> tuple[int, ...]:
    """Return for each wedge, in their order, the performer that it is for."""
    return tuple(performer_of(stage, one) for one in stage.loudspeakers if one.kind == "wedge")


def highest(still: list[float], waves: list[float], looks: Bands) -> float:
    """Return x where the expected count of peaks above x, over all bands, is one."""
    low = max(still)
    high = low + math.sqrt(max(waves) * (math.log(sum(looks)) + 1.0)) + 1e-12
    for _ in range(20):
        x = 0.5 * (low + high)
        count = 0.0
        for d, r, n in zip(still, waves, looks, strict=True):
            beyond = x - d
            if beyond <= 0.0:
                count += n
            elif r > 0.0:
                count += n * math.exp(-beyond * beyond / r)
        if count > 1.0:
            low = x
        else:
            high = x
    return 0.5 * (low + high)
