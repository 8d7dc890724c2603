"""The marks of the report's pictures: rings, pulls, hatching.

A ring is a drop that lies on its side: its blunt end is where it began, it is thick for a loud
one and drawn out for a long one, solid for a howl and open for ringing.  Shape says it all;
colour adds nothing that black and white would lose.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from monitor.placing.shapes import Disc, Ink, Outline, Point, Shape
from monitor.report.evening import Degree

THINNEST, THICKEST = 4.0, 10.5
"""Radius of the blunt end at and below -60 dBFS and at full scale."""
TAIL_PER_ROOT_S = 7.0
LONGEST_TAIL = 90.0
"""The tail grows with the root of the time, so that half a second and a minute can both be told."""
_ROUND = tuple(math.radians(degrees) for degrees in range(75, 286, 30))
_STROKE = 1.6


def radius_of(level_dbfs: float | None) -> float:
    """Return the radius of a ring's blunt end; of an unknown level, the thinnest."""
    loud = 0.0 if level_dbfs is None else min(max((level_dbfs + 60.0) / 60.0, 0.0), 1.0)
    return THINNEST + loud * (THICKEST - THINNEST)


def tail_of(lasted_s: float) -> float:
    """Return how far a ring's tail reaches beyond its blunt end."""
    return min(TAIL_PER_ROOT_S * math.sqrt(max(0.0, lasted_s)), LONGEST_TAIL)


def drop(
    at: Point,
    *,
    degree: Degree,
    level_dbfs: float | None,
    lasted_s: float | None,
    size: float = 1.0,
    right: float = math.inf,
) -> Shape:
    """Return a ring's mark, its blunt end beginning ``at``; a disc where the end is not known.

    ``size`` makes all of it smaller where there are many; no tail goes beyond ``right``.
    """
    x, y = at
    radius = size * radius_of(level_dbfs)
    howl = degree == "howl"
    stroke = _STROKE * max(size, 0.6)
    centre = x + radius
    if lasted_s is None:
        return Disc((centre, y), radius, "paper", stroke, "paper" if howl else None, part="ring")
    tip = max(min(centre + radius + size * tail_of(lasted_s), right), centre + radius)
    blunt = [(centre + radius * math.cos(a), y - radius * math.sin(a)) for a in _ROUND]
    return Outline(
        (*blunt, (tip, y)),
        closed=True,
        stroke="paper",
        width_cm=stroke,
        fill="paper" if howl else None,
        part="ring howl" if howl else "ring",
    )


def pull_tick(at: Point, *, down: bool, size: float = 1.0) -> Outline:
    """Return a wedge that points the way the slider went, its point at the moment and band."""
    x, y = at
    way = -1.0 if down else 1.0
    return Outline(
        ((x, y), (x - 5.0 * size, y + way * 13.0 * size), (x + 5.0 * size, y + way * 13.0 * size)),
        closed=True,
        stroke="candle",
        width_cm=1.4,
        fill="candle" if down else "ground",
        part="pull",
    )


def hatched(left: float, right: float, top: float, bottom: float) -> Iterator[Shape]:
    """Yield a shaded stretch: a tint with slanting lines, which paper shows too."""
    corners = ((left, top), (right, top), (right, bottom), (left, bottom))
    yield Outline(corners, closed=True, fill="line", strength=0.35, part="deaf")
    height, step = bottom - top, 14.0
    start = left - height
    while start < right:
        # The part of the line from (start, bottom) up to the right that lies within.
        first, last = max(start, left), min(start + height, right)
        if last > first:
            points = ((first, bottom - (first - start)), (last, bottom - (last - start)))
            yield Outline(points, stroke="quiet", width_cm=1.0, part="deaf")
        start += step


def line(
    points: tuple[Point, ...], ink: Ink, width: float, dash: tuple[float, float] | None = None
) -> Outline:
    """Return an open line; ``dash`` is how long a dash and a gap are."""
    return Outline(points, stroke=ink, width_cm=width, dash_cm=dash)


def width_of(words: str, height: float) -> float:
    """Return about how wide a line of type is; generous, for system typefaces differ."""
    return 0.56 * height * len(words)


def flow(
    parts: list[tuple[float, float, str]], left: float, right: float, gap: float
) -> list[tuple[float, int]]:
    """Return x and row for each part, wrapped at ``right``.

    Parameters
    ----------
    parts : list of (float, float, str)
        For each: width of its mark, height of its type, its words.
    left, right, gap : float
    """
    places, x, row = [], left, 0
    for mark, height, words in parts:
        wide = mark + width_of(words, height)
        if x > left and x + wide > right:
            x, row = left, row + 1
        places.append((x, row))
        x += wide + gap
    return places
