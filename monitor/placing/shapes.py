"""A picture as a list of shapes, drawn by two back ends: text (SVG) and dots (PNG).

Conventions
-----------
Centimetres; x to the right, y downwards, which on a stage plan is towards the audience.  Inks are
named by their part in the look and not by their colour, so that one picture has a night and a
day.  Nothing here knows what is drawn.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Point = tuple[float, float]
Ink = Literal["ground", "line", "quiet", "paper", "candle"]
Theme = Literal["night", "day"]
Anchor = Literal["start", "middle", "end"]

THEMES: dict[Theme, dict[Ink, str]] = {
    "night": {
        "ground": "#0e0d0b",
        "line": "#3a352c",
        "quiet": "#a39b8b",
        "paper": "#f1ebdf",
        "candle": "#ffb547",
    },
    "day": {
        "ground": "#f8f4ea",
        "line": "#d5cdbc",
        "quiet": "#625b4e",
        "paper": "#1b1812",
        "candle": "#8a4b00",
    },
}
"""The page's own colours (web/static/lantern.css), which names them likewise."""


@dataclass(frozen=True, slots=True)
class Outline:
    """Straight lines from point to point; ``closed`` joins the last to the first.

    ``width_cm`` is the stroke's; ``dash_cm`` the lengths of dash and gap.  ``strength`` from 0 to
    1 is how much of the fill covers what lies below; strokes cover wholly.
    """

    points: tuple[Point, ...]
    closed: bool = False
    stroke: Ink | None = None
    width_cm: float = 0.0
    dash_cm: tuple[float, float] | None = None
    fill: Ink | None = None
    strength: float = 1.0
    part: str = ""


@dataclass(frozen=True, slots=True)
class Disc:
    """A circle, outlined, filled or both."""

    centre: Point
    radius_cm: float
    stroke: Ink | None = None
    width_cm: float = 0.0
    fill: Ink | None = None
    part: str = ""


@dataclass(frozen=True, slots=True)
class Words:
    """One line of type standing on ``at``; ``height_cm`` is the size of the type.

    It has a rim of the ground's colour, so that it can be read over lines.
    """

    at: Point
    text: str
    height_cm: float
    ink: Ink = "quiet"
    anchor: Anchor = "middle"
    bold: bool = False
    part: str = ""


Shape = Outline | Disc | Words


@dataclass(frozen=True, slots=True)
class Thing:
    """Shapes that belong to one thing, which a finger or the keyboard can take hold of.

    ``held_at`` and ``held_cm`` are the centre and the radius of the round place that a finger
    may touch, ``middle`` the middle of what is drawn; ``label`` is what a screen reader says.
    """

    kind: str
    index: int
    label: str
    held_at: Point
    held_cm: float
    middle: Point
    shapes: tuple[Shape, ...]


@dataclass(frozen=True, slots=True)
class Picture:
    """Everything in the order it is drawn, within a rectangle; ``title`` says what it shows."""

    left_cm: float
    top_cm: float
    width_cm: float
    height_cm: float
    title: str
    parts: tuple[Shape | Thing, ...]


def shapes_of(picture: Picture) -> list[Shape]:
    """Return the picture's shapes in the order they are drawn, those of things among them."""
    found: list[Shape] = []
    for part in picture.parts:
        if isinstance(part, Thing):
            found.extend(part.shapes)
        else:
            found.append(part)
    return found
