"""What a stage plan is drawn on: the view, the room, its grid, the scale bar, the two sides."""

from __future__ import annotations

import math
from dataclasses import dataclass

from monitor.placing.name_places import width_of
from monitor.placing.outlines import Box, clipped, moved, sector
from monitor.placing.shapes import Outline, Point, Shape, Words
from monitor.placing.stage import FOOT_M, Loudspeaker, Stage, Units

PHONE_PX = 328.0
"""Width of the drawing on the narrowest phone that is looked after: 360 dots less the margins.
Type, strokes and what a finger takes hold of are measured in dots there."""
_SIDE_PX = 12.0
_TOP_PX = 22.0
_BOTTOM_PX = 62.0
TALLEST = 1.05
"""A room deeper than this times its width gets space at its sides, so that a phone shows the whole
plan above the fold without making its type and what a finger takes hold of smaller."""
NAME_PX = 12.0
SMALL_PX = 11.0
_GRID_M: dict[Units, tuple[float, ...]] = {
    "metres": (1.0, 2.0, 5.0, 10.0, 50.0),
    "feet": (5.0 * FOOT_M, 10.0 * FOOT_M, 20.0 * FOOT_M, 50.0 * FOOT_M, 200.0 * FOOT_M),
}
_MOST_LINES = 16
"""Of the grid, on the longer side: a phone shows them 20 dots apart."""
_WEDGE_REACH_M = 2.0
"""How far a wedge's coverage is drawn: it plays to whoever stands before it, not to the room."""
_FEW_MICROPHONES = 8.0
_DEAF_KEY = "dotted: deaf side"


@dataclass(frozen=True, slots=True)
class View:
    """Where everything is drawn, in centimetres of the room.

    ``px`` is a dot on a phone; ``crowd`` is how much smaller patterns are drawn among many
    microphones, 1 where there are few.
    """

    px: float
    crowd: float
    left: float
    top: float
    width: float
    height: float
    room: Box

    @property
    def box(self) -> Box:
        """Left, top, right, bottom."""
        return self.left, self.top, self.left + self.width, self.top + self.height


def view_of(stage: Stage) -> View:
    """Return the view that shows the whole room with its margins."""
    across, deep = 100.0 * stage.room.width_m, 100.0 * stage.room.depth_m
    width = max(across / (1.0 - 2.0 * _SIDE_PX / PHONE_PX), deep / TALLEST)
    px = width / PHONE_PX
    return View(
        px=px,
        crowd=max(0.5, min(1.0, math.sqrt(_FEW_MICROPHONES / len(stage.microphones)))),
        left=(across - width) / 2.0,
        top=-_TOP_PX * px,
        width=width,
        height=deep + (_TOP_PX + _BOTTOM_PX) * px,
        room=(0.0, 0.0, across, deep),
    )


def grid_m(stage: Stage) -> float:
    """Return how far apart the grid's lines are: a round number in the stage's own units."""
    longest = max(stage.room.width_m, stage.room.depth_m)
    steps = _GRID_M[stage.units]
    return next((step for step in steps if longest / step <= _MOST_LINES), steps[-1])


def length_words(metres: float, units: Units) -> str:
    """Return a length as it is said: "2.5 m", "8 ft"."""
    number, unit = (metres, "m") if units == "metres" else (metres / FOOT_M, "ft")
    text = f"{number:.1f}" if number < 9.95 else f"{number:.0f}"
    return f"{text.removesuffix('.0')} {unit}"


def room_shapes(stage: Stage, view: View) -> list[Shape]:
    """Return grid, walls, the two sides' names and the scale bar."""
    _, _, across, deep = view.room
    walls = ((0.0, 0.0), (across, 0.0), (across, deep), (0.0, deep))
    middle, px = across / 2.0, view.px
    sides = [
        Words((middle, -7.0 * px), "back wall", SMALL_PX * px),
        *_audience(middle, deep + 16.0 * px, px),
    ]
    return [
        *_grid(stage, view),
        Outline(walls, closed=True, stroke="quiet", width_cm=1.6 * px, part="room"),
        *sides,
        *_scale_bar(stage, view),
    ]


def key_words(view: View, best: str) -> Words:
    """Return the line that says what the strokes mean; ``best`` is how the best change is drawn."""
    key = " · ".join(["thick: limits", *([f"{best}: best change"] if best else []), _DEAF_KEY])
    at = (view.left + view.width / 2.0, view.room[3] + 54.0 * view.px)
    return Words(at, key, 10.0 * view.px, part="key")


def _grid(stage: Stage, view: View) -> list[Shape]:
    _, _, across, deep = view.room
    step = 100.0 * grid_m(stage)
    lines: list[tuple[Point, Point]] = []
    lines += [((step * i, 0.0), (step * i, deep)) for i in range(1, math.ceil(across / step))]
    lines += [((0.0, step * i), (across, step * i)) for i in range(1, math.ceil(deep / step))]
    return [Outline(ends, stroke="line", width_cm=0.7 * view.px, part="grid") for ends in lines]


def _audience(x: float, y: float, px: float) -> list[Shape]:
    """The word between two marks that point out of the stage: a side is not told by its place."""
    half = 0.5 * width_of("audience", SMALL_PX * px)
    marks: list[Shape] = []
    for at in (x - half - 12.0 * px, x + half + 12.0 * px):
        tip = (at, y)
        marks.append(
            Outline(
                (tip, (at - 5.0 * px, y - 8.0 * px), (at + 5.0 * px, y - 8.0 * px)),
                closed=True,
                fill="quiet",
            )
        )
    return [*marks, Words((x, y), "audience", SMALL_PX * px)]


def _scale_bar(stage: Stage, view: View) -> list[Shape]:
    _, _, across, deep = view.room
    px, step_m = view.px, grid_m(stage)
    length, y = 100.0 * step_m, deep + 34.0 * px
    left = view.left + _SIDE_PX * px if view.width > across + 40.0 * px else 0.0
    right, tick = left + length, 4.0 * px
    ends = ((left, y - tick), (left, y), (right, y), (right, y - tick))
    words = f"{length_words(step_m, stage.units)}, as the grid"
    return [
        Outline(ends, stroke="paper", width_cm=1.6 * px, part="scale"),
        Words((right + 6.0 * px, y), words, SMALL_PX * px, anchor="start"),
    ]


def coverage_shapes(stage: Stage, view: View) -> list[Shape]:
    """Return each loudspeaker's coverage between its -6 dB points, as far as the walls."""
    found: list[Shape] = []
    farthest = math.hypot(view.room[2], view.room[3])
    for one in stage.loudspeakers:
        at = (100.0 * one.x_m, 100.0 * one.y_m)
        reach = farthest if one.kind == "mains" else 100.0 * _WEDGE_REACH_M
        inside = clipped(sector(at, one.aim_deg, one.coverage_deg[0], reach), view.room)
        if len(inside) > 2:
            found.append(Outline(inside, closed=True, fill="quiet", strength=0.09, part="coverage"))
        found += [
            Outline(edge, stroke="line", width_cm=1.0 * view.px, part="edge")
            for edge in _edges(one, at, reach, view.room)
        ]
    return found


def _edges(one: Loudspeaker, at: Point, reach: float, room: Box) -> list[tuple[Point, Point]]:
    if one.coverage_deg[0] >= 360.0:
        return []
    edges = []
    for side in (-0.5, 0.5):
        end = moved(at, one.aim_deg + side * one.coverage_deg[0], reach)
        part = _inside_part(at, end, room)
        if part > 0.0:
            edges.append((at, (at[0] + part * (end[0] - at[0]), at[1] + part * (end[1] - at[1]))))
    return edges


def _inside_part(here: Point, there: Point, room: Box) -> float:
    """Return how much of the way from a place within the room lies within it, 0 to 1."""
    part = 1.0
    for axis, low, high in ((0, room[0], room[2]), (1, room[1], room[3])):
        way = there[axis] - here[axis]
        if abs(way) > 1e-9:
            part = min(part, ((high if way > 0.0 else low) - here[axis]) / way)
    return max(0.0, part)
