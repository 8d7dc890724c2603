"""The single moves that are tried on a stage: what a person can do in the five minutes before."""

from __future__ import annotations

from dataclasses import dataclass, replace

from monitor.placing.lengths import Lengths
from monitor.placing.loop import Loop, Reckoner
from monitor.placing.stage import Loudspeaker, Microphone, Point, Stage, facing

STRONG_DB = 12.0
"""A thing whose strongest pair lies this far under the limiting one cannot bring a decibel."""
MOST_THINGS = 4
"""Microphones, and wedges, that are tried: the strongest ones; more would only take time."""


@dataclass(frozen=True, slots=True)
class Move:
    """One move tried: ``family`` tells moves of one kind of one thing.

    ``minutes`` is about how long one person is at it, alone and before doors, cables and a word
    with the others included (common practice, no source).  ``lasting`` is the part of the evening
    that it holds.  ``microphones`` and ``loudspeakers`` are the names of what is moved.
    """

    family: str
    words: str
    minutes: float
    stage: Stage
    microphones: tuple[str, ...] = ()
    loudspeakers: tuple[str, ...] = ()
    lasting: float = 1.0


@dataclass(frozen=True, slots=True)
class Scene:
    """A stage with what the makers of moves need to know of it.

    ``microphones`` and ``wedges`` are places in the stage's lists, the strongest first.
    """

    stage: Stage
    lengths: Lengths
    microphones: tuple[int, ...]
    wedges: tuple[int, ...]

    def with_loudspeakers(self, moved: dict[int, Loudspeaker]) -> Stage:
        """Return the stage with some loudspeakers replaced."""
        old = self.stage.loudspeakers
        return replace(
            self.stage, loudspeakers=tuple(moved.get(i, one) for i, one in enumerate(old))
        )

    def with_microphones(self, moved: dict[int, Microphone]) -> Stage:
        """Return the stage with some microphones replaced."""
        old = self.stage.microphones
        return replace(
            self.stage, microphones=tuple(moved.get(i, one) for i, one in enumerate(old))
        )


def scene_of(stage: Stage, reckoner: Reckoner, loop: Loop) -> Scene:
    """Return the scene, with the things that matter for this loop."""
    of_microphone: dict[int, float] = {}
    of_loudspeaker: dict[int, float] = {}
    for part, level in zip(loop.parts, reckoner.alone(loop), strict=True):
        of_microphone[part.microphone] = max(of_microphone.get(part.microphone, 0.0), level)
        of_loudspeaker[part.loudspeaker] = max(of_loudspeaker.get(part.loudspeaker, 0.0), level)
    return Scene(
        stage=stage,
        lengths=Lengths(stage.units),
        microphones=_strongest(of_microphone),
        wedges=_strongest(
            {i: x for i, x in of_loudspeaker.items() if stage.loudspeakers[i].kind == "wedge"},
            beside=max(of_loudspeaker.values()),
        ),
    )


def _strongest(levels: dict[int, float], beside: float = 0.0) -> tuple[int, ...]:
    if not levels:
        return ()
    least = max(beside, *levels.values()) * 10.0 ** (-STRONG_DB / 20.0)
    strong = [i for i, level in levels.items() if level >= least]
    return tuple(sorted(strong, key=lambda i: -levels[i])[:MOST_THINGS])


def faced(one: Loudspeaker, place: Point) -> Loudspeaker:
    """Return the loudspeaker looking at a place."""
    aim_deg, tilt_deg = facing(one.position_m, place)
    return replace(one, aim_deg=aim_deg, tilt_deg=tilt_deg)
