"""What a change moves, drawn on the plan as it is now: a dashed ghost and an arrow to it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from monitor.placing.ground import View
from monitor.placing.outlines import Points, arrow_head, moved, sector
from monitor.placing.outlines import aim_from as direction_to
from monitor.placing.shapes import Outline, Point, Shape
from monitor.placing.stage import Loudspeaker, Microphone, Stage
from monitor.placing.things import cabinet_outline, head_at, pattern_outline, spot

_STILL_CM = 1.0
_TURNED_DEG = 1.0
_ARC_PX = 30.0


@dataclass(frozen=True, slots=True)
class Ghost:
    """The shapes of a change, beside which places its words may stand, and how it is drawn."""

    shapes: tuple[Shape, ...]
    spots: tuple[Point, ...]
    drawn: str


def ghost_of(stage: Stage, changed: Stage, view: View) -> Ghost | None:
    """Return what differs between two stages with the same things; None if nothing is seen."""
    shapes: list[Shape] = []
    places: list[Point] = []
    for before, after in zip(stage.loudspeakers, changed.loudspeakers, strict=True):
        if before != after:
            shapes += _loudspeaker(before, after, view)
            places.append(spot(after))
    for old, new in zip(stage.microphones, changed.microphones, strict=True):
        if old != new:
            shapes += _microphone(old, new, view)
            places.append(spot(new))
    muted = any(
        old.open and not new.open
        for old, new in zip(stage.microphones, changed.microphones, strict=True)
    )
    return Ghost(tuple(shapes), tuple(places), "crossed" if muted else "dashed") if shapes else None


def _dashed(points: Points, px: float) -> Outline:
    """Return a closed outline as the key says that changes are drawn."""
    return Outline(
        points,
        closed=True,
        stroke="candle",
        width_cm=2.0 * px,
        dash_cm=(5.0 * px, 3.5 * px),
        part="ghost",
    )


def _loudspeaker(before: Loudspeaker, after: Loudspeaker, view: View) -> list[Shape]:
    px = view.px
    found: list[Shape] = [
        _dashed(cabinet_outline(after, view), px),
        *_arrow(spot(before), spot(after), px),
    ]
    if _turned_deg(before.aim_deg, after.aim_deg):
        found += _turn(spot(after), before.aim_deg, after.aim_deg, px)
    return found


def _microphone(old: Microphone, new: Microphone, view: View) -> list[Shape]:
    px = view.px
    found: list[Shape] = _arrow(spot(old), spot(new), px)
    if old.open and not new.open:
        x, y = spot(new)
        arm = 8.0 * px
        for side in (-1.0, 1.0):
            ends = ((x - arm, y - side * arm), (x + arm, y + side * arm))
            found.append(Outline(ends, stroke="candle", width_cm=2.4 * px, part="ghost"))
    if old.pattern != new.pattern or math.dist(spot(old), spot(new)) > _STILL_CM:
        found.append(pattern_outline(new, view, ink="candle", dashed=True))
    if _turned_deg(old.aim_deg, new.aim_deg):
        found.append(pattern_outline(new, view, ink="candle", dashed=True))
        found += _turn(spot(new), old.aim_deg, new.aim_deg, px)
    if old.mouth_m != new.mouth_m:
        (there, _), (here, radius) = head_at(old, view), head_at(new, view)
        found += _arrow(there, here, px)
        head = sector(here, 0.0, 360.0, radius)
        found.append(_dashed(head, px))
    return found


def _turned_deg(before: float, after: float) -> float:
    """Return how far it is turned, the short way round; 0 if that is not to be seen."""
    turn = (after - before + 180.0) % 360.0 - 180.0
    return turn if abs(turn) > _TURNED_DEG else 0.0


def _arrow(here: Point, there: Point, px: float) -> list[Shape]:
    if math.dist(here, there) <= _STILL_CM:
        return []
    aim = direction_to(here, there)
    head_px = min(8.0, 0.6 * math.dist(here, there) / px)
    shaft = (here, moved(there, aim, -head_px * px))
    return [
        Outline(shaft, stroke="candle", width_cm=2.0 * px, part="ghost"),
        Outline(arrow_head(there, aim, head_px * px), closed=True, fill="candle", part="ghost"),
    ]


def _turn(at: Point, before_deg: float, after_deg: float, px: float) -> list[Shape]:
    """Return an arc from the old to the new aim with an arrow head at its end."""
    turn, radius = _turned_deg(before_deg, after_deg), _ARC_PX * px
    count = max(2, math.ceil(abs(turn) / 5.0))
    arc = tuple(moved(at, before_deg + turn * i / count, radius) for i in range(count + 1))
    onwards = after_deg + math.copysign(90.0, turn)
    return [
        Outline(arc, stroke="candle", width_cm=2.0 * px, part="ghost"),
        Outline(
            arrow_head(moved(arc[-1], onwards, 3.0 * px), onwards, 8.0 * px),
            closed=True,
            fill="candle",
            part="ghost",
        ),
    ]
