"""Where a loudspeaker or a singer can be put: inside the room, not in people, not in each other."""

from __future__ import annotations

import math

from monitor.placing.stage import Loudspeaker, Microphone, Point, Stage

FROM_WALL_M = 0.3
FROM_PEOPLE_M = 0.6
FROM_MICROPHONE_M: dict[str, float] = {"mains": 1.0, "wedge": 0.6}
APART_M = 0.4
FROM_LISTENER_M = 2.0
"""Room for a cabinet, a person's width, and nobody's head in front of a mains cabinet (common
practice, no source)."""
FURTHEST_AHEAD_M = 2.0
"""Mains further than this before the foremost microphone stand among the audience, and so do their
cables (common practice, no source)."""
IN_FRONT_M = 0.7
"""Mains nearer than this to a singer's line of sight hide the singer from the audience."""


def loudspeaker_fits(stage: Stage, index: int, new: Loudspeaker) -> bool:
    """Return whether loudspeaker ``index`` may stand as ``new``; what holds already is no bar."""
    old = stage.loudspeakers[index]
    if not _inside(stage, new.position_m, old.position_m):
        return False
    for microphone in stage.microphones:
        if _too_near(
            new.position_m, old.position_m, microphone.position_m, FROM_MICROPHONE_M[new.kind]
        ) or _too_near(new.position_m, old.position_m, microphone.ears_at_m, FROM_PEOPLE_M):
            return False
        if new.kind == "mains" and _hides(new, microphone) and not _hides(old, microphone):
            return False
    if new.kind == "mains":
        listener = stage.listener
        foremost_m = max(one.y_m for one in stage.microphones)
        ahead_m = min(listener.y_m - FROM_LISTENER_M, foremost_m + FURTHEST_AHEAD_M)
        if new.y_m > max(ahead_m, old.y_m):
            return False
        if _too_near(new.position_m, old.position_m, listener.position_m, FROM_LISTENER_M):
            return False
    return all(
        i == index or not _too_near(new.position_m, old.position_m, other.position_m, APART_M)
        for i, other in enumerate(stage.loudspeakers)
    )


def microphone_fits(stage: Stage, index: int, new: Microphone) -> bool:
    """Return whether microphone ``index`` and its singer may stand as ``new``."""
    old = stage.microphones[index]
    for here, before in ((new.position_m, old.position_m), (new.ears_at_m, old.ears_at_m)):
        if not _inside(stage, here, before):
            return False
        for loudspeaker in stage.loudspeakers:
            if _too_near(here, before, loudspeaker.position_m, FROM_MICROPHONE_M["wedge"]):
                return False
    if new.y_m > max(stage.listener.y_m - FROM_LISTENER_M, old.y_m):
        return False
    return all(
        i == index or not _too_near(new.position_m, old.position_m, other.position_m, FROM_PEOPLE_M)
        for i, other in enumerate(stage.microphones)
    )


def _inside(stage: Stage, new: Point, old: Point) -> bool:
    for value, before, size in zip(new, old, stage.room.size_m, strict=True):
        edge = min(FROM_WALL_M, max(0.0, min(before, size - before)))
        if not edge - 1e-9 <= value <= size - edge + 1e-9:
            return False
    return True


def _too_near(new: Point, old: Point, other: Point, least_m: float) -> bool:
    """Nearer than allowed, and nearer than it was."""
    apart_m = math.dist(new, other)
    return apart_m < min(least_m, math.dist(old, other) - 1e-9)


def _hides(loudspeaker: Loudspeaker, microphone: Microphone) -> bool:
    return loudspeaker.y_m > microphone.y_m and abs(loudspeaker.x_m - microphone.x_m) < IN_FRONT_M
