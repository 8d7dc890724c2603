"""Shapes as a PNG.  Pillow is loaded only when one is drawn: the page never needs it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise
from typing import TYPE_CHECKING

from monitor.placing.shapes import (
    THEMES,
    Disc,
    Ink,
    Outline,
    Picture,
    Point,
    Shape,
    Theme,
    Words,
    shapes_of,
)

if TYPE_CHECKING:
    from PIL import Image, ImageDraw

_FINER = 3
"""Drawn so much larger and then made small: Pillow's own lines have hard steps."""
_ANCHORS = {"start": "ls", "middle": "ms", "end": "rs"}
_RIM_PART = 0.14
"""The rim on one side of type, beside its size."""
_BOLD_PART = 0.016
"""The packaged typeface has one weight; bold is drawn by so wide a stroke, beside its size."""


def png_image(picture: Picture, *, theme: Theme = "night", width_px: int) -> Image.Image:
    """Draw the picture.

    Parameters
    ----------
    picture : Picture
    theme : "night" or "day"
    width_px : int > 0
        The height follows from the picture.
    """
    from PIL import Image, ImageDraw

    height_px = max(1, round(width_px * picture.height_cm / picture.width_cm))
    image = Image.new("RGB", (_FINER * width_px, _FINER * height_px), THEMES[theme]["ground"])
    pen = _Pen(
        ImageDraw.Draw(image, "RGBA"),
        THEMES[theme],
        _FINER * width_px / picture.width_cm,
        (picture.left_cm, picture.top_cm),
    )
    for shape in shapes_of(picture):
        pen.draw(shape)
    return image.resize((width_px, height_px), Image.Resampling.BOX)


class _Pen:
    """Draws shapes in dots: ``per_cm`` of them a centimetre, from ``origin`` on."""

    def __init__(
        self, draw: ImageDraw.ImageDraw, inks: dict[Ink, str], per_cm: float, origin: Point
    ) -> None:
        self._draw = draw
        self._inks = inks
        self._per_cm = per_cm
        self._origin = origin

    def draw(self, shape: Shape) -> None:
        if isinstance(shape, Words):
            self._words(shape)
        elif isinstance(shape, Disc):
            self._disc(shape)
        else:
            self._outline(shape)

    def _dots(self, point: Point) -> Point:
        return (
            (point[0] - self._origin[0]) * self._per_cm,
            (point[1] - self._origin[1]) * self._per_cm,
        )

    def _colour(self, ink: Ink, strength: float = 1.0) -> tuple[int, int, int, int]:
        code = self._inks[ink]
        red, green, blue = (int(code[i : i + 2], 16) for i in (1, 3, 5))
        return red, green, blue, round(255 * strength)

    def _width(self, width_cm: float) -> int:
        return max(1, round(width_cm * self._per_cm))

    def _outline(self, shape: Outline) -> None:
        points = [self._dots(point) for point in shape.points]
        if shape.fill and len(points) > 2:
            self._draw.polygon(points, fill=self._colour(shape.fill, shape.strength))
        if not shape.stroke or len(points) < 2:
            return
        colour, width = self._colour(shape.stroke), self._width(shape.width_cm)
        if shape.closed:
            # Once more round the first corner, so that it is joined like the others.
            points = [*points, points[0], points[1]]
        if shape.dash_cm is None:
            self._draw.line(points, fill=colour, width=width, joint="curve")
            return
        on, off = (length * self._per_cm for length in shape.dash_cm)
        if shape.closed:
            points.pop()
        for dash in dashes(points, on, off):
            self._draw.line(dash, fill=colour, width=width, joint="curve")

    def _disc(self, shape: Disc) -> None:
        x, y = self._dots(shape.centre)
        # Pillow draws the stroke inside the edge, SVG on both sides of it.
        width = self._width(shape.width_cm) if shape.stroke else 0
        radius = shape.radius_cm * self._per_cm + width / 2
        self._draw.ellipse(
            (x - radius, y - radius, x + radius, y + radius),
            fill=self._colour(shape.fill) if shape.fill else None,
            outline=self._colour(shape.stroke) if shape.stroke else None,
            width=width,
        )

    def _words(self, shape: Words) -> None:
        from PIL import ImageFont

        from firmware.lettering import drawable

        at = self._dots(shape.at)
        size = max(1.0, shape.height_cm * self._per_cm)
        typeface = ImageFont.load_default(size)
        text = drawable(shape.text)
        anchor, ground = _ANCHORS[shape.anchor], self._colour("ground")
        self._draw.text(
            at,
            text,
            font=typeface,
            anchor=anchor,
            fill=ground,
            stroke_width=round(_RIM_PART * size),
            stroke_fill=ground,
        )
        ink = self._colour(shape.ink)
        bold = round(_BOLD_PART * size) if shape.bold else 0
        self._draw.text(
            at,
            text,
            font=typeface,
            anchor=anchor,
            fill=ink,
            stroke_width=bold,
            stroke_fill=ink,
        )


def dashes(points: list[Point], on: float, off: float) -> Iterator[list[Point]]:
    """Cut a line into dashes of length ``on`` with gaps of ``off``, round its corners."""
    dash, left, drawn = [points[0]], on, True
    for here, there in pairwise(points):
        length = math.dist(here, there)
        done = 0.0
        while length - done > left:
            done += left
            part = done / length
            cut = (here[0] + part * (there[0] - here[0]), here[1] + part * (there[1] - here[1]))
            if drawn:
                yield [*dash, cut]
            dash, drawn = [cut], not drawn
            left = on if drawn else off
        left -= length - done
        dash.append(there)
    if drawn and len(dash) > 1:
        yield dash
