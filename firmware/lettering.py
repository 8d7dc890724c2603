"""Type for one-bit panels: as large as its place allows, and readable from two metres."""

from __future__ import annotations

import unicodedata
from functools import lru_cache

from PIL import Image, ImageDraw, ImageFont

Box = tuple[int, int, int, int]
"""Left, top, right, bottom in pixels; right and bottom are outside."""

MASTER_PX = 160
"""Type is drawn this large, then fitted: its weight follows the size it is shown at."""
LEAST_ROW_PX = 10
"""The least height of a row in which small type can be read."""
THIN_PX = range(13, 16)
"""At these sizes the type's strokes come out one pixel wide though there is room for two."""


_STAND_INS = {"\u2212": "-", "\u2013": "-", "\u2014": "-", "\u00d7": "x"} | dict(
    zip("ßæÆœŒøØłŁđĐðÐþÞıħ", "ss ae AE oe OE o O l L d D d D th Th i h".split(), strict=True)
)
"""For what is no letter with a mark on it."""


def drawable(text: str) -> str:
    """The text in letters that the typeface has: without their marks, or "?" for what has none.

    A box in the place of a letter tells less than the letter without its accent.
    """
    return "".join(_drawn_as(sign) for sign in text)


@lru_cache(maxsize=1024)
def _drawn_as(sign: str) -> str:
    plain = unicodedata.normalize("NFKD", _STAND_INS.get(sign, sign))
    for candidate in (sign, "".join(one for one in plain if not unicodedata.combining(one))):
        if candidate and all(_has(one) for one in candidate):
            return candidate
    return "" if unicodedata.combining(sign) else "?"


def _has(sign: str) -> bool:
    font = typeface(20)
    return sign.isspace() or bytes(font.getmask(sign)) != bytes(font.getmask("\uffff"))


def stack(draw: ImageDraw.ImageDraw, lines: list[str], box: Box) -> None:
    """Lines below each other, as large as the height and the width allow, none above its first."""
    left, top, right, bottom = box
    most = max(1, (bottom - top) // LEAST_ROW_PX)
    lines = [drawable(line) for line in lines[:most]]
    for line in tuple(lines):
        too_wide = width_of(line, 13 if len(lines) == 1 else 10) > right - left
        if too_wide and len(lines) < most:
            place = lines.index(line)
            lines[place : place + 1] = _halved(line)
    largest = 20
    for number, line in enumerate(lines):
        row_top = top + number * (bottom - top) // len(lines)
        row_bottom = top + (number + 1) * (bottom - top) // len(lines)
        row = (left, row_top, right, row_bottom)
        size = min(row_bottom - row_top + 1, largest)
        while size > 9 and width_of(line, size) > right - left:
            size -= 1
        while len(line) > 1 and width_of(line, size) > right - left:
            line = line[:-2] + "…" if line.endswith("…") else line[:-1] + "…"
        put_line(draw, line, row, size, "middle")
        largest = size


def _halved(line: str) -> list[str]:
    """One line as two at the space nearest its middle, as it is if it has none."""
    spaces = [place for place, sign in enumerate(line) if sign == " "]
    if not spaces:
        middle = len(line) // 2
        return [line[:middle], line[middle:]] if "://" in line else [line]
    cut = min(spaces, key=lambda place: abs(place - len(line) / 2))
    return [line[:cut], line[cut + 1 :]]


def put_line(draw: ImageDraw.ImageDraw, text: str, box: Box, size: int, where: str) -> None:
    """One line of type at the left, in the middle or at the right of a box."""
    left, top, right, bottom = box
    text = drawable(text)
    spare = right - left - width_of(text, size)
    x = left + {"left": 0, "middle": max(0, spare // 2), "right": max(0, spare)}[where]
    # The letters' bodies are centred, not each line's own ink: lines do not jump.
    _, cap_top, _, cap_bottom = typeface(size).getbbox("H0", anchor="ls")
    baseline = (top + bottom) // 2 - round((cap_top + cap_bottom) / 2)
    # Descenders stay inside the row where it is tight.
    baseline = min(baseline, bottom - round(typeface(size).getbbox("gp", anchor="ls")[3]))
    draw.text((x, baseline), text, font=typeface(size), fill=1, anchor="ls")
    if size in THIN_PX:
        draw.text((x + 1, baseline), text, font=typeface(size), fill=1, anchor="ls")


def big(draw: ImageDraw.ImageDraw, text: str, box: Box, *, ink: int = 1, weight: int = 3) -> None:
    """Type that fills a box: stretched in width, as on a road, but not out of shape."""
    left, top, right, bottom = box
    master = _master(drawable(text), weight)
    room_x, room_y = right - left, bottom - top
    if master is None or room_x < 1 or room_y < 1:
        return
    scale = min(room_x / master.width, room_y / master.height)
    wide = min(room_x, round(master.width * scale * 2.1))
    tall = min(room_y, round(master.height * scale * 1.35))
    fitted = master.resize((max(1, wide), max(1, tall)), Image.Resampling.BOX)
    mask = fitted.point(lambda value: 255 if value >= 112 else 0).convert("1")
    draw.bitmap((left + (room_x - wide) // 2, top + (room_y - tall) // 2), mask, fill=ink)


@lru_cache(maxsize=64)
def _master(text: str, weight: int) -> Image.Image | None:
    """One line of text, large, cropped to its ink; None if there is none."""
    font = typeface(MASTER_PX)
    left, top, right, bottom = font.getbbox(text, stroke_width=weight)
    canvas = Image.new("L", (max(1, round(right - left)), max(1, round(bottom - top))), 0)
    ImageDraw.Draw(canvas).text((-left, -top), text, font=font, fill=255, stroke_width=weight)
    ink = canvas.getbbox()
    return canvas.crop(ink) if ink else None


def width_of(text: str, size: int) -> int:
    """How wide a line of type is, in pixels."""
    return round(typeface(size).getlength(text, mode="1")) + 1


@lru_cache(maxsize=32)
def typeface(size: int) -> ImageFont.FreeTypeFont:
    """The typeface inside Pillow itself: there without any package or network."""
    font = ImageFont.load_default(size)
    if not isinstance(font, ImageFont.FreeTypeFont):
        raise RuntimeError("Pillow was built without FreeType; install its ordinary wheel")
    return font
