"""The stage plan: where microphones, loudspeakers and the farthest listener are.

Conventions
-----------
Metres and degrees inside; ``units`` says only how the person reads and writes lengths.  The origin
is the back wall's left corner as the audience sees it: x to the right, y from the back wall towards
the audience, z up, as in the practice stage's rooms.  An aim of 0 degrees looks at the audience,
90 to the right as the audience sees it, 180 at the back wall; a tilt is positive upwards.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from monitor.errors import UsageError

Point = tuple[float, float, float]
Units = Literal["metres", "feet"]
Kind = Literal["mains", "wedge"]
Pattern = Literal["omni", "subcardioid", "cardioid", "supercardioid", "hypercardioid", "figure-8"]

FOOT_M = 0.3048
UNIT_M: dict[Units, float] = {"metres": 1.0, "feet": FOOT_M}
EARS_BEHIND_MOUTH_M = 0.12
"""Ears lie about this far behind the lips (common practice, no source)."""


class StageError(UsageError):
    """A stage plan that cannot be: one line with what is wrong and what was expected."""


@dataclass(frozen=True, slots=True)
class Room:
    """The room's inner size in metres, and how long it rings on.

    ``reverberation`` is what the person wrote: a word, or seconds; ``t60_s`` what is reckoned with.
    """

    width_m: float
    depth_m: float
    height_m: float
    t60_s: float
    reverberation: str | float = "usual"

    @property
    def size_m(self) -> Point:
        """Width, depth and height."""
        return (self.width_m, self.depth_m, self.height_m)

    @property
    def volume_m3(self) -> float:
        """Cubic metres of air."""
        return self.width_m * self.depth_m * self.height_m

    @property
    def surface_m2(self) -> float:
        """Square metres of walls, floor and ceiling."""
        a, b, c = self.size_m
        return 2.0 * (a * b + b * c + a * c)


@dataclass(frozen=True, slots=True)
class Microphone:
    """A vocal microphone; its aim looks at the mouth, which is ``mouth_m`` away from it."""

    name: str
    x_m: float
    y_m: float
    height_m: float
    pattern: Pattern
    aim_deg: float
    tilt_deg: float
    mouth_m: float
    open: bool

    @property
    def position_m(self) -> Point:
        """Where the capsule is."""
        return (self.x_m, self.y_m, self.height_m)

    @property
    def aim(self) -> Point:
        """Unit vector of the side that hears best."""
        return direction(self.aim_deg, self.tilt_deg)

    @property
    def mouth_at_m(self) -> Point:
        """Where the mouth is."""
        return along(self.position_m, self.aim, self.mouth_m)

    @property
    def ears_at_m(self) -> Point:
        """Where the performer's ears are: a little behind the mouth, and level with it."""
        x, y, z = self.mouth_at_m
        level = math.radians(self.aim_deg)
        back = EARS_BEHIND_MOUTH_M
        return (x + back * math.sin(level), y + back * math.cos(level), z)


@dataclass(frozen=True, slots=True)
class Loudspeaker:
    """A loudspeaker: mains play to the listener, a wedge to the performer nearest to it.

    ``coverage_deg`` is the horizontal and vertical angle between its -6 dB points.
    """

    name: str
    kind: Kind
    x_m: float
    y_m: float
    height_m: float
    aim_deg: float
    tilt_deg: float
    coverage_deg: tuple[float, float]

    @property
    def position_m(self) -> Point:
        """Where its front is."""
        return (self.x_m, self.y_m, self.height_m)

    @property
    def aim(self) -> Point:
        """Unit vector of its axis."""
        return direction(self.aim_deg, self.tilt_deg)


@dataclass(frozen=True, slots=True)
class Listener:
    """The farthest one who has to hear the mains."""

    x_m: float
    y_m: float
    height_m: float

    @property
    def position_m(self) -> Point:
        """Where the ears are."""
        return (self.x_m, self.y_m, self.height_m)


@dataclass(frozen=True, slots=True)
class Stage:
    """Everything on one plan.

    ``ead_m`` is the equivalent acoustic distance: how near a voice without any amplification would
    have to be to be loud enough.
    """

    room: Room
    microphones: tuple[Microphone, ...]
    loudspeakers: tuple[Loudspeaker, ...]
    listener: Listener
    ead_m: float
    units: Units = "metres"
    name: str = ""

    @property
    def mains(self) -> tuple[Loudspeaker, ...]:
        """Those that play to the listener."""
        return tuple(one for one in self.loudspeakers if one.kind == "mains")

    def open_microphones(self) -> tuple[tuple[int, Microphone], ...]:
        """Return those that are open, each with its place in ``microphones``."""
        return tuple((i, one) for i, one in enumerate(self.microphones) if one.open)


@lru_cache(maxsize=1024)
def direction(aim_deg: float, tilt_deg: float) -> Point:
    """Return the unit vector of an aim and a tilt in degrees."""
    turn, up = math.radians(aim_deg), math.radians(tilt_deg)
    return (math.sin(turn) * math.cos(up), math.cos(turn) * math.cos(up), math.sin(up))


def facing(here: Point, there: Point) -> tuple[float, float]:
    """Return the aim and tilt in degrees of a thing ``here`` that looks ``there``."""
    x, y, z = (b - a for a, b in zip(here, there, strict=True))
    return math.degrees(math.atan2(x, y)) % 360.0, math.degrees(math.atan2(z, math.hypot(x, y)))


def along(here: Point, way: Point, distance_m: float) -> Point:
    """Return the point ``distance_m`` from ``here`` along a unit vector."""
    return (
        here[0] + way[0] * distance_m,
        here[1] + way[1] * distance_m,
        here[2] + way[2] * distance_m,
    )
