"""What can stand where on a stage plan; checked once, when a plan is read."""

from __future__ import annotations

import math

from monitor.placing.stage import FOOT_M, Point, Stage, StageError

NEAREST_M = 0.2
"""A microphone's capsule cannot be nearer to a loudspeaker's front: there it is inside the box."""

ROUNDING_M = 0.001
"""A plan that was written and read again has its lengths rounded."""


def check_stage(stage: Stage) -> None:
    """Raise StageError with one line if something is missing or stands where nothing can stand."""
    if not stage.microphones:
        raise StageError("the stage has no microphone; add one with name, x, y and pattern")
    if not stage.loudspeakers:
        raise StageError("the stage has no loudspeaker; add one with name, kind, x and y")
    if not stage.open_microphones():
        raise StageError("no microphone is open, so nothing can ring; set open = true for one")
    _check_names(stage)
    _check_places(stage)
    for microphone in stage.microphones:
        for loudspeaker in stage.loudspeakers:
            apart_m = math.dist(microphone.position_m, loudspeaker.position_m)
            if apart_m < NEAREST_M - ROUNDING_M:
                raise StageError(
                    f"microphone '{microphone.name}' is {_length(apart_m, stage)} from loudspeaker "
                    f"'{loudspeaker.name}', inside its cabinet; "
                    f"put them at least {_length(NEAREST_M, stage)} apart"
                )


def _check_names(stage: Stage) -> None:
    seen: set[str] = set()
    names = [one.name for one in stage.microphones] + [one.name for one in stage.loudspeakers]
    for name in names:
        if name in seen:
            raise StageError(f"the name '{name}' is given twice; give each thing its own")
        seen.add(name)


def _check_places(stage: Stage) -> None:
    places: list[tuple[str, Point]] = [
        (f"microphone '{one.name}'", one.position_m) for one in stage.microphones
    ]
    places += [(f"the mouth at '{one.name}'", one.mouth_at_m) for one in stage.microphones]
    places += [(f"loudspeaker '{one.name}'", one.position_m) for one in stage.loudspeakers]
    places.append(("the listener", stage.listener.position_m))
    names = ("x", "y", "height")
    for what, place in places:
        for axis, value, size in zip(names, place, stage.room.size_m, strict=True):
            if not -ROUNDING_M <= value <= size + ROUNDING_M:
                raise StageError(
                    f"{what}: {axis} {_length(value, stage)} is outside the room, "
                    f"which goes from 0 to {_length(size, stage)} there"
                )


def _length(metres: float, stage: Stage) -> str:
    if stage.units == "feet":
        return f"{metres / FOOT_M:.3g} ft"
    return f"{metres:.3g} m"
