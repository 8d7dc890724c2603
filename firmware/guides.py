"""The panel's faces in a ring-out: what the hand does next, told by shape first.

*raise* an open triangle that points up, *pull* a solid wedge that hangs down as the slider will,
*gone* a tick, *back off* a solid bar to come down to.
"""

from __future__ import annotations

from PIL import ImageDraw

from firmware.lettering import Box, big, stack
from firmware.ports import Face

GUIDES = ("raise", "pull", "gone", "back off")
FLAT_PX = 48
"""Panels less high than this have room for the big word and nothing below it but one row."""


def draw_guide(draw: ImageDraw.ImageDraw, face: Face, width: int, height: int) -> None:
    """Draw a face of one of the ``GUIDES``; the panel's size in pixels as it hangs."""
    if face.kind == "back off":
        _back_off(draw, face, width, height)
        return
    side = round(0.27 * width) if width > height else width
    tall = height if width > height else round(0.36 * height)
    if face.kind == "raise":
        left = width - side if width > height else 0
        _triangle(draw, (left, 0, left + side, tall))
        words = (0, 0, left - 4, height) if width > height else (0, tall + 3, width, height)
    else:
        shape = _wedge if face.kind == "pull" else _tick
        shape(draw, (0, 0, side, tall))
        words = (side + 4, 0, width, height) if width > height else (0, tall + 3, width, height)
    _words(draw, face, words)


def _words(draw: ImageDraw.ImageDraw, face: Face, box: Box) -> None:
    """The big word, and small lines below it."""
    left, top, right, bottom = box
    lines = [line for line in (face.line_1, face.line_2) if line]
    if bottom - top < FLAT_PX:
        lines = lines[:1]
    cut = top + round((bottom - top) * (0.6 if len(lines) < 2 else 0.54)) if lines else bottom
    big(draw, face.headline, (left, top + 2, right, cut - 2))
    if lines:
        stack(draw, lines, (left, cut, right, bottom))


def _triangle(draw: ImageDraw.ImageDraw, box: Box) -> None:
    """Open, and pointing up."""
    left, top, right, bottom = box
    middle = (left + right - 1) / 2
    draw.polygon(((left, bottom - 1), (middle, top), (right - 1, bottom - 1)), outline=1, width=4)


def _wedge(draw: ImageDraw.ImageDraw, box: Box) -> None:
    """Solid, and hanging from the top, as the slider that goes down."""
    left, top, right, bottom = box
    draw.polygon(((left, top), (right - 1, top), ((left + right - 1) / 2, bottom - 1)), fill=1)


def _tick(draw: ImageDraw.ImageDraw, box: Box) -> None:
    """A tick, thick enough for two metres."""
    left, top, right, bottom = box
    w, h = right - left, bottom - top
    corner = (left + 0.38 * w, top + 0.72 * h)
    thick = max(4, min(w, h) // 5)
    draw.line(((left + 0.12 * w, top + 0.5 * h), corner), fill=1, width=thick)
    draw.line((corner, (left + 0.9 * w, top + 0.2 * h)), fill=1, width=thick)
    # The two strokes meet without a notch.
    r = thick / 2
    draw.ellipse((corner[0] - r, corner[1] - r, corner[0] + r, corner[1] + r), fill=1)


def _back_off(draw: ImageDraw.ImageDraw, face: Face, width: int, height: int) -> None:
    """A solid bar along the bottom, the amount in it: down to here."""
    top = round(0.42 * height)
    draw.rectangle((0, top, width - 1, height - 1), fill=1)
    big(draw, face.headline, (4, top + 3, width - 4, height - 3), ink=0)
    stack(draw, [line for line in (face.line_1,) if line], (0, 0, width, top - 1))
