"""The outlines of what stands on a stage, from above: patterns, coverage, cabinets, arrows.

Conventions
-----------
Centimetres, x to the right and y towards the audience.  ``aim_deg`` is the stage file's: 0
towards the audience, 90 to the right, 180 to the back wall.  Every outline is a tuple of points.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from monitor.placing.shapes import Point

Points = tuple[Point, ...]
Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""

_STEP_DEG = 5.0
"""Fine enough for a curve of some centimetres, and few enough for forty of them on a page."""

CABINET_CM = (38.0, 34.0)
"""Width at the front and depth of a loudspeaker for small rooms: common practice, no source."""
WEDGE_CM = (48.0, 34.0)
"""The same of one that lies on the floor: common practice, no source."""


def bearing(aim_deg: float) -> Point:
    """Return the unit vector of a direction."""
    aim = math.radians(aim_deg)
    return math.sin(aim), math.cos(aim)


def moved(at: Point, aim_deg: float, forward_cm: float, right_cm: float = 0.0) -> Point:
    """Return the point so far forward, as ``aim_deg`` looks, and so far to its right hand."""
    x, y = bearing(aim_deg)
    return at[0] + forward_cm * x - right_cm * y, at[1] + forward_cm * y + right_cm * x


def polar(at: Point, aim_deg: float, radius_cm: float, heard: Callable[[float], float]) -> Points:
    """Return a microphone's pattern round the place it stands at.

    Parameters
    ----------
    at : Point
    aim_deg : float
    radius_cm : float
        Where the pattern hears all: ``heard`` is 1.
    heard : callable
        The pattern's amplitude, whatever its sign, by the angle from its aim in degrees.
    """
    count = round(360.0 / _STEP_DEG)
    angles = [_STEP_DEG * i for i in range(count)]
    return tuple(moved(at, aim_deg + angle, radius_cm * abs(heard(angle))) for angle in angles)


def sector(at: Point, aim_deg: float, angle_deg: float, radius_cm: float) -> Points:
    """Return a loudspeaker's coverage: the place it stands at, then the arc it reaches.

    360 degrees and more is the whole circle.
    """
    angle_deg = min(360.0, angle_deg)
    count = max(2, math.ceil(angle_deg / _STEP_DEG))
    first = aim_deg - angle_deg / 2.0
    arc = tuple(moved(at, first + angle_deg * i / count, radius_cm) for i in range(count + 1))
    return arc[:-1] if angle_deg == 360.0 else (at, *arc)


def clipped(points: Sequence[Point], box: Box) -> Points:
    """Return the part of a closed outline that lies inside a box.

    I. E. Sutherland, G. W. Hodgman, "Reentrant Polygon Clipping", Communications of the ACM
    17(1), 1974 (named from memory): cut by one side after the other.
    """
    kept = list(points)
    for axis, bound, sign in ((0, box[0], 1), (0, box[2], -1), (1, box[1], 1), (1, box[3], -1)):
        before, kept = kept, []
        for here, there in zip(before, before[1:] + before[:1], strict=True):
            inside, next_inside = (sign * (p[axis] - bound) >= 0.0 for p in (here, there))
            if inside:
                kept.append(here)
            if inside != next_inside:
                part = (bound - here[axis]) / (there[axis] - here[axis])
                kept.append(
                    (here[0] + part * (there[0] - here[0]), here[1] + part * (there[1] - here[1]))
                )
    return tuple(kept)


def cabinet(at: Point, aim_deg: float, scale: float = 1.0) -> Points:
    """Return a loudspeaker on a stand from above: broad at the front, narrower at the back.

    ``at`` is the middle of its front; the first two points are the front.
    """
    width, depth = (scale * side for side in CABINET_CM)
    return _four(at, aim_deg, front_cm=width, back_cm=0.62 * width, depth_cm=depth)


def wedge(at: Point, aim_deg: float, scale: float = 1.0) -> Points:
    """Return a wedge from above: a broad box whose slope, the front half, is a line of its own."""
    width, depth = (scale * side for side in WEDGE_CM)
    return _four(at, aim_deg, front_cm=width, back_cm=width, depth_cm=depth)


def _four(at: Point, aim_deg: float, *, front_cm: float, back_cm: float, depth_cm: float) -> Points:
    return (
        moved(at, aim_deg, 0.0, -front_cm / 2.0),
        moved(at, aim_deg, 0.0, front_cm / 2.0),
        moved(at, aim_deg, -depth_cm, back_cm / 2.0),
        moved(at, aim_deg, -depth_cm, -back_cm / 2.0),
    )


def arrow_head(tip: Point, aim_deg: float, length_cm: float) -> Points:
    """Return a closed arrow head that points as ``aim_deg`` looks."""
    return (
        tip,
        moved(tip, aim_deg, -length_cm, length_cm / 2.2),
        moved(tip, aim_deg, -length_cm, -length_cm / 2.2),
    )


def aim_from(here: Point, there: Point) -> float:
    """Return the direction from one place to another, as ``aim_deg`` counts it."""
    return math.degrees(math.atan2(there[0] - here[0], there[1] - here[1]))


def between(here: Point, there: Point, part: float) -> Point:
    """Return the place so far along the way from one place to another."""
    return here[0] + part * (there[0] - here[0]), here[1] + part * (there[1] - here[1])
