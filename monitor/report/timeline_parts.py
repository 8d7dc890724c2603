"""What of an evening the timeline shows: which rings, the level's line, when it could not hear."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from monitor.placing.shapes import Outline, Shape
from monitor.report.evening import Evening, Ring
from monitor.report.marks import line
from monitor.report.words import number

MOST_DRAWN = 3000
"""Beyond it a picture takes seconds and megabytes, and shows no more."""
LEAST_LEVELS = 3


def drawn_rings(evening: Evening, most: int = MOST_DRAWN) -> list[Ring]:
    """Return the rings that a picture shows, in order: all, or of too many the weightiest."""
    if len(evening.rings) <= most:
        return list(evening.rings)
    weight = sorted(
        evening.rings, key=lambda r: (r.degree == "howl", r.lasted_s or 0.0), reverse=True
    )
    return sorted(weight[:most], key=lambda ring: ring.at_s)


def humps(run: list[tuple[float, float]], bottom: float) -> Iterator[Shape]:
    """Yield a run of levels as a line over a tint that stands on ``bottom``."""
    if not run:
        return
    if len(run) == 1:
        run = [run[0], (run[0][0] + 2.0, run[0][1])]
    ends = ((run[-1][0], bottom), (run[0][0], bottom))
    yield Outline((*run, *ends), closed=True, fill="quiet", strength=0.25, part="level")
    yield line(tuple(run), "quiet", 1.2)


def usual_step_s(times_s: list[float]) -> float:
    """Return the middle of the gaps: a minute, or more where old detail was thinned."""
    gaps = sorted(b - a for a, b in pairwise(times_s))
    return max(60.0, gaps[len(gaps) // 2]) if gaps else 60.0


def levels_of(evening: Evening) -> list[tuple[float, float]]:
    """Return moments and levels in dBFS; none where there are too few to be a line."""
    found = [
        (one.at_s, level)
        for one in evening.of_kind("level")
        if (level := number(one.content.get("level_dbfs"), -300.0, 60.0)) is not None
    ]
    return found if len(found) >= LEAST_LEVELS else []


def deaf_stretches(evening: Evening) -> list[tuple[float, float]]:
    """Return when the box could not hear: from and to, in seconds since the beginning."""
    found: list[tuple[float, float]] = []
    since_s: float | None = None
    for one in evening.happenings:
        if one.kind == "deaf" and since_s is None:
            since_s = one.at_s
        elif one.kind == "hears" and since_s is not None:
            found.append((since_s, one.at_s))
            since_s = None
    if since_s is not None:
        found.append((since_s, max(evening.length_s, since_s)))
    return found


def heard_s(evening: Evening, since_s: float = 0.0) -> float:
    """Return for how long the box could hear, from a moment to the end."""
    deaf_s = sum(max(0.0, to_s - max(from_s, since_s)) for from_s, to_s in deaf_stretches(evening))
    return max(0.0, evening.length_s - since_s - deaf_s)
