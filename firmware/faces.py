"""The panel's faces: pure drawing, one bit, for a glance at two metres in the dark.

Each kind has a shape of its own, which is seen before anything is read: *starting* a name
over a rule, *quiet* bare words, *ringing* an open outline, *howl* a solid block, *several*
a solid block beside open ones, *deaf* a dashed frame with a struck-out ear.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont

from firmware.ports import Face

Box = tuple[int, int, int, int]
"""Left, top, right, bottom in pixels; right and bottom are outside."""

MASTER_PX = 160
"""Type is drawn this large, then fitted: its weight follows the size it is shown at."""

FLAT_PX = 48
"""Panels less high than this have one row of small type below the big one."""
LEAST_ROW_PX = 10
"""The least height of a row in which small type can be read."""
THIN_PX = range(13, 16)
"""At these sizes the type's strokes come out one pixel wide though there is room for two."""

EXAMPLE_FACES: dict[str, Face] = {
    "starting": Face("starting", "lantern", "http://192.168.4.1:8080", "set"),
    "starting-no-page": Face("starting", "lantern", "starting", "soundcheck"),
    "starting-long-name": Face("starting", "Stage left box 2", "http://10.42.0.1", "set"),
    "quiet": Face("quiet", "quiet", "last 2.5k 2480 Hz", "http://192.168.4.1:8080"),
    "quiet-nothing-yet": Face("quiet", "quiet", "soundcheck", ""),
    "ringing": Face("ringing", "2.5k", "2480 Hz", "pull 2.5k"),
    "ringing-low": Face("ringing", "31.5", "31.2 Hz", "pull 31.5"),
    "ringing-other-slider": Face("ringing", "800", "823 Hz", "pull 1k"),
    "howl": Face("howl", "2.5k", "2480 Hz", "pull 2.5k"),
    "howl-longest": Face("howl", "12.5k", "12496 Hz", "pull 12.5k  again! 3"),
    "howl-shortest": Face("howl", "1k", "1004 Hz", "pull 1k"),
    "several-two": Face("several", "2.5k", "pull 2.5k", "2 at once", ("630",)),
    "several-three": Face("several", "12.5k", "pull 12.5k", "3 at once", ("31.5", "1.25k")),
    "several-five": Face("several", "800", "pull 800", "5 at once", ("2k", "4k", "250", "6.3k")),
    "several-one-band": Face("several", "1.6k", "pull 1.6k", "2 at once", ()),
    "deaf-no-microphone": Face("deaf", "no mic", "plug in the microphone"),
    "deaf-silence": Face("deaf", "silence", "is it switched on?", "http://192.168.4.1:8080"),
    "deaf-clipping": Face("deaf", "too loud", "move away or turn down the mic"),
}


def draw_face(face: Face, *, width: int = 128, height: int = 64) -> Image.Image:
    """Draw one face.

    Parameters
    ----------
    face : what to show; words that do not fit are made smaller, then cut short
    width, height : the panel's size in pixels, as it hangs

    Returns
    -------
    Image.Image, mode "1", size (width, height); lit pixels are 255
    """
    image = Image.new("1", (width, height), 0)
    draw = ImageDraw.Draw(image)
    draw.fontmode = "1"
    if face.kind == "several":
        _several(draw, face, width, height)
    elif face.kind == "deaf":
        _deaf(draw, face, width, height)
    elif face.kind == "starting":
        _starting(draw, face, width, height)
    elif face.kind == "quiet":
        _quiet(draw, face, width, height)
    else:
        _one_ring(draw, face, width, height)
    return image


def write_faces(directory: Path) -> list[Path]:
    """Write every example face as PNG at four times its size, and all on one ``faces.png``.

    Raises
    ------
    OSError
        If the directory cannot be made or written.
    """
    directory.mkdir(parents=True, exist_ok=True)
    written = []
    pictures = {name: draw_face(face) for name, face in EXAMPLE_FACES.items()}
    for name, picture in pictures.items():
        path = directory / f"{name}.png"
        _enlarged(picture, 4).save(path)
        written.append(path)
    sheet = directory / "faces.png"
    _contact_sheet(pictures).save(sheet)
    return [sheet, *written]


def _enlarged(picture: Image.Image, times: int) -> Image.Image:
    return picture.resize((picture.width * times, picture.height * times), Image.Resampling.NEAREST)


def _contact_sheet(pictures: dict[str, Image.Image]) -> Image.Image:
    """All pictures on one page, four in a row, each under its name."""
    columns, gap, name_px = 4, 12, 18
    enlarged = {name: _enlarged(picture, 2).convert("L") for name, picture in pictures.items()}
    cell_x = max(picture.width for picture in enlarged.values()) + gap
    cell_y = max(picture.height for picture in enlarged.values()) + gap + name_px
    rows = -(-len(enlarged) // columns)
    sheet = Image.new("L", (columns * cell_x + gap, rows * cell_y + gap), 60)
    draw = ImageDraw.Draw(sheet)
    for number, (name, picture) in enumerate(enlarged.items()):
        x, y = gap + number % columns * cell_x, gap + number // columns * cell_y
        draw.text((x, y), name, font=_font(12), fill=230)
        sheet.paste(picture, (x, y + name_px))
    return sheet


# ---------------------------------------------------------------------- the kinds


def _one_ring(draw: ImageDraw.ImageDraw, face: Face, width: int, height: int) -> None:
    """The band in an open outline (ringing) or as a solid block (howl); lines below."""
    block_bottom = _block_bottom(face, width, height)
    block = (0, 0, width, block_bottom)
    if face.kind == "howl":
        _fill(draw, block)
        _big(draw, face.headline, _inset(block, 4, 4 if height >= FLAT_PX else 2), ink=0)
    else:
        _outline(draw, block, thickness=2)
        _big(draw, face.headline, _inset(block, 6, 6 if height >= FLAT_PX else 3))
    _two_lines(draw, face, (0, block_bottom + 1, width, height))


def _several(draw: ImageDraw.ImageDraw, face: Face, width: int, height: int) -> None:
    """The first band as a block, the others in outlines beside it."""
    block_bottom = _block_bottom(face, width, height)
    split = round(width * 0.66)
    others_top = 0
    if height > width:  # upright: below, not beside
        others_left = 0
        others_top = block_bottom // 2
        first = (0, 0, width, others_top)
        others_top += 2
    else:
        others_left = split + 2
        first = (0, 0, split, block_bottom)
    _fill(draw, first)
    _big(draw, face.headline, _inset(first, 3, 4), ink=0)
    # Without a second label there is another ring in the very same band.
    shown = list(face.others[:2]) or ["+1"]
    if len(face.others) > 2:
        shown = [face.others[0], f"+{len(face.others) - 1}"]
    if height < FLAT_PX:
        shown = shown[:1] if len(face.others) < 2 else [f"+{len(face.others)}"]
    for row, label in enumerate(shown):
        each = (block_bottom - others_top) // len(shown)
        top = others_top + row * each + (row > 0)
        bottom = others_top + (row + 1) * each - (row < len(shown) - 1)
        box = (others_left, top, width, bottom)
        _outline(draw, box, thickness=1)
        _big(draw, label, _inset(box, 3, 3 if height >= FLAT_PX else 1))
    _two_lines(draw, face, (0, block_bottom + 1, width, height))


def _deaf(draw: ImageDraw.ImageDraw, face: Face, width: int, height: int) -> None:
    """A dashed frame, a struck-out ear, and words."""
    dash = 6
    for left in range(0, width, 2 * dash):
        draw.rectangle((left, 0, left + dash - 1, 1), fill=1)
        draw.rectangle((left, height - 2, left + dash - 1, height - 1), fill=1)
    for top in range(0, height, 2 * dash):
        draw.rectangle((0, top, 1, top + dash - 1), fill=1)
        draw.rectangle((width - 2, top, width - 1, top + dash - 1), fill=1)
    words_top = round(height * 0.58)
    if height > width:  # the headline needs the whole width of an upright panel
        _struck_out_ear(draw, (width // 4, 5, width - width // 4, round(height * 0.34)))
        _big(draw, face.headline, (5, round(height * 0.36), width - 5, words_top))
    else:
        ear_width = round(height * 0.34)
        _struck_out_ear(draw, (5, 5, 5 + ear_width, words_top))
        _big(draw, face.headline, (9 + ear_width, min(7, height // 8), width - 6, words_top - 2))
    lines = [line for line in (face.line_1, face.line_2) if line]
    _stack(draw, lines, (5, words_top + 1, width - 5, height - 3))


def _starting(draw: ImageDraw.ImageDraw, face: Face, width: int, height: int) -> None:
    """The box's name over a rule, and the address large enough to be typed off."""
    rule = round(height * 0.42)
    _big(draw, face.headline, (2, 2, width - 2, rule - 2))
    draw.rectangle((0, rule, width - 1, rule + 1), fill=1)
    lines = [line for line in (face.line_1, face.line_2) if line]
    _stack(draw, lines, (0, rule + 4, width, height))


def _quiet(draw: ImageDraw.ImageDraw, face: Face, width: int, height: int) -> None:
    """Bare words, small, much dark around them."""
    margin = round(width * 0.18)
    bottom = round(height * 0.56)
    _big(draw, face.headline, (margin, min(3, height // 20), width - margin, bottom), weight=0)
    lines = [line for line in (face.line_1, face.line_2) if line]
    _stack(draw, lines, (0, round(height * 0.62), width, height))


# ---------------------------------------------------------------------- parts


def _fill(draw: ImageDraw.ImageDraw, box: Box) -> None:
    draw.rectangle((box[0], box[1], box[2] - 1, box[3] - 1), fill=1)


def _outline(draw: ImageDraw.ImageDraw, box: Box, *, thickness: int) -> None:
    corners = (box[0], box[1], box[2] - 1, box[3] - 1)
    draw.rounded_rectangle(corners, radius=4, outline=1, width=thickness)


def _inset(box: Box, across: int, down: int) -> Box:
    return box[0] + across, box[1] + down, box[2] - across, box[3] - down


def _struck_out_ear(draw: ImageDraw.ImageDraw, box: Box) -> None:
    left, top, right, bottom = box
    w, h = right - left, bottom - top
    # Outer shell from the front round to the lobe, a smaller fold inside, the stroke over it.
    draw.arc((left + 2, top, right - 3, top + round(h * 0.72)), 165, 60, fill=1, width=3)
    draw.arc(
        (left + round(w * 0.3), top + round(h * 0.5), right - round(w * 0.28), bottom - 3),
        -20, 170, fill=1, width=3,
    )  # fmt: skip
    draw.arc(
        (left + round(w * 0.33), top + round(h * 0.22), right - round(w * 0.3), top + h // 2 + 2),
        180, 80, fill=1, width=2,
    )  # fmt: skip
    # A dark edge keeps the stroke apart from the ear.
    draw.line((left, bottom - 2, right, top + 1), fill=0, width=7)
    draw.line((left, bottom - 2, right, top + 1), fill=1, width=3)


def _block_bottom(face: Face, width: int, height: int) -> int:
    """Where the block ends: higher when the lines below it do not fit side by side."""
    return round(height * (0.64 if _side_by_side_px(face, width, height) else 0.58))


def _side_by_side_px(face: Face, width: int, height: int) -> int:
    """The largest type in which both lines stand side by side, 0 if only small type would."""
    both = f"{face.line_1}  {face.line_2}" if face.line_2 else face.line_1
    # A flat panel has no room for two rows, so there small type must do.
    smallest = 14 if height >= FLAT_PX else 9
    for size in range(min(round(height * 0.33), 20), smallest - 1, -1):
        if _width(both, size) <= width:
            return size
    return 0


def _two_lines(draw: ImageDraw.ImageDraw, face: Face, box: Box) -> None:
    """Two short lines side by side if they fit so in large type, else one below the other."""
    size = _side_by_side_px(face, box[2], box[3])
    if size:
        _line(draw, face.line_1, box, size, "left" if face.line_2 else "middle")
        _line(draw, face.line_2, box, size, "right")
    elif box[3] < FLAT_PX:  # what to do counts for more than the exact frequency
        _stack(draw, [face.line_1 if face.kind == "several" else face.line_2], box)
    else:
        _stack(draw, [line for line in (face.line_1, face.line_2) if line], box)


def _stack(draw: ImageDraw.ImageDraw, lines: list[str], box: Box) -> None:
    """Lines below each other, as large as the height and the width allow, none above its first."""
    left, top, right, bottom = box
    most = max(1, (bottom - top) // LEAST_ROW_PX)
    lines = lines[:most]
    for line in tuple(lines):
        too_wide = _width(line, 13 if len(lines) == 1 else 10) > right - left
        if too_wide and len(lines) < most:
            place = lines.index(line)
            lines[place : place + 1] = _halved(line)
    largest = 20
    for number, line in enumerate(lines):
        row_top = top + number * (bottom - top) // len(lines)
        row_bottom = top + (number + 1) * (bottom - top) // len(lines)
        row = (left, row_top, right, row_bottom)
        size = min(row_bottom - row_top + 1, largest)
        while size > 9 and _width(line, size) > right - left:
            size -= 1
        while len(line) > 1 and _width(line, size) > right - left:
            line = line[:-2] + "…" if line.endswith("…") else line[:-1] + "…"
        _line(draw, line, row, size, "middle")
        largest = size


def _halved(line: str) -> list[str]:
    """One line as two at the space nearest its middle, as it is if it has none."""
    spaces = [place for place, sign in enumerate(line) if sign == " "]
    if not spaces:
        middle = len(line) // 2
        return [line[:middle], line[middle:]] if "://" in line else [line]
    cut = min(spaces, key=lambda place: abs(place - len(line) / 2))
    return [line[:cut], line[cut + 1 :]]


def _line(draw: ImageDraw.ImageDraw, text: str, box: Box, size: int, where: str) -> None:
    left, top, right, bottom = box
    spare = right - left - _width(text, size)
    x = left + {"left": 0, "middle": max(0, spare // 2), "right": max(0, spare)}[where]
    # The letters' bodies are centred, not each line's own ink: lines do not jump.
    _, cap_top, _, cap_bottom = _font(size).getbbox("H0", anchor="ls")
    baseline = (top + bottom) // 2 - round((cap_top + cap_bottom) / 2)
    # Descenders stay inside the row where it is tight.
    baseline = min(baseline, bottom - round(_font(size).getbbox("gp", anchor="ls")[3]))
    draw.text((x, baseline), text, font=_font(size), fill=1, anchor="ls")
    if size in THIN_PX:
        draw.text((x + 1, baseline), text, font=_font(size), fill=1, anchor="ls")


def _big(draw: ImageDraw.ImageDraw, text: str, box: Box, *, ink: int = 1, weight: int = 3) -> None:
    """Type that fills a box: stretched in width, as on a road, but not out of shape."""
    left, top, right, bottom = box
    master = _master(text, weight)
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
    font = _font(MASTER_PX)
    left, top, right, bottom = font.getbbox(text, stroke_width=weight)
    canvas = Image.new("L", (max(1, round(right - left)), max(1, round(bottom - top))), 0)
    ImageDraw.Draw(canvas).text((-left, -top), text, font=font, fill=255, stroke_width=weight)
    ink = canvas.getbbox()
    return canvas.crop(ink) if ink else None


def _width(text: str, size: int) -> int:
    return round(_font(size).getlength(text, mode="1")) + 1


@lru_cache(maxsize=32)
def _font(size: int) -> ImageFont.FreeTypeFont:
    """The typeface inside Pillow itself: there without any package or network."""
    font = ImageFont.load_default(size)
    if not isinstance(font, ImageFont.FreeTypeFont):
        raise RuntimeError("Pillow was built without FreeType; install its ordinary wheel")
    return font
