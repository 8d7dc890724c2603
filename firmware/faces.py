"""The panel's faces: pure drawing, one bit, for a glance at two metres in the dark.

Each kind has a shape of its own, which is seen before anything is read: *starting* a name
over a rule beside the address's square code, *quiet* bare words, *ringing* an open outline,
*howl* a solid block, *several* a solid block beside open ones, *deaf* a dashed frame with a
struck-out ear.  In a ring-out: *raise* an open triangle that points up, *pull* a solid wedge that
hangs down, *gone* a tick, *back off* a solid bar to come down to.  *code* six digits between
two pillars.
"""

from __future__ import annotations

from pathlib import Path

from PIL import Image, ImageDraw

from firmware.address_square import square_code
from firmware.guides import GUIDES, draw_guide
from firmware.lettering import Box, big, put_line, stack, typeface, width_of
from firmware.ports import Face

FLAT_PX = 48
"""Panels less high than this have one row of small type below the big one."""
LEAST_WORDS_PX = 61
"""Half an IP address in the smallest type; the code beside it takes no more than leaves that."""
EASY_PX = 11
"""Type from which an address is typed off without mistakes at arm's length."""
ACTION_PART = 0.54
"""Of two rows the one that says what to do is the higher."""

EXAMPLE_FACES: dict[str, Face] = {
    "starting": Face("starting", "lantern", "http://192.168.4.1:8080", "set"),
    "starting-no-page": Face("starting", "lantern", "starting", "soundcheck"),
    "starting-long-name": Face("starting", "Stage left box 2", "http://10.42.0.1", "set"),
    "quiet": Face("quiet", "quiet", "last 2.5k 2480 Hz", "http://192.168.4.1:8080"),
    "quiet-nothing-yet": Face("quiet", "quiet", "soundcheck", ""),
    "ringing": Face("ringing", "2.5k", "pull 2.5k", "2480 Hz"),
    "ringing-low": Face("ringing", "31.5", "pull 31.5", "31.2 Hz"),
    "ringing-other-slider": Face("ringing", "1k", "pull 1k", "823 Hz rings"),
    "howl": Face("howl", "2.5k", "pull 2.5k", "2480 Hz"),
    "howl-longest": Face("howl", "12.5k", "pull 12.5k", "12496 Hz  again! 3"),
    "howl-shortest": Face("howl", "1k", "pull 1k", "1004 Hz"),
    "several-two": Face("several", "2.5k", "pull 2.5k", "2 at once", ("630",)),
    "several-three": Face("several", "12.5k", "pull 12.5k", "3 at once", ("31.5", "1.25k")),
    "several-five": Face("several", "800", "pull 800", "5 at once", ("2k", "4k", "250", "6.3k")),
    "several-one-band": Face("several", "1.6k", "pull 1.6k", "2 at once", ()),
    "raise": Face("raise", "raise", "slowly"),
    "raise-put-back": Face("raise", "put back", "2.5k to -2"),
    "raise-put-three-back": Face("raise", "put back", "12.5k to -10.5", "1k to -2, +1"),
    "quiet-listen": Face("quiet", "listen", "hold the fader"),
    "pull": Face("pull", "2.5k", "pull by 4"),
    "pull-longest": Face("pull", "12.5k", "pull by 10.5"),
    "pull-two": Face("pull", "800", "pull by 4", "and 1k by 2"),
    "gone": Face("gone", "raise on", "gone"),
    "back-off": Face("back off", "-3 dB", "come down"),
    "back-off-further": Face("back off", "further", "come down"),
    "ringing-depth": Face("ringing", "2.5k", "pull 2.5k by 4", "2480 Hz"),
    "ringing-share": Face("ringing", "100", "pull 100 by 7", "and 160 by 1"),
    "howl-depth": Face("howl", "12.5k", "pull 12.5k by 10.5", "12496 Hz  again! 3"),
    "howl-share": Face("howl", "12.5k", "pull 12.5k by 10.5", "and 10k by 10.5"),
    "howl-other-slider": Face("howl", "100", "pull 100 by 7", "125 Hz rings"),
    "several-share": Face("several", "100", "pull 100 by 7", "and 160 by 1", ("500",)),
    "several-depth": Face("several", "2.5k", "turn down 3", "3 at once", ("630", "5k")),
    "code": Face("code", "042 817", "type it on your phone"),
    "deaf-no-microphone": Face("deaf", "no mic", "plug in a USB mic"),
    "deaf-silence": Face("deaf", "silent", "muted? other channel?", "http://192.168.4.1:8080"),
    "deaf-clipping": Face("deaf", "too loud", "turn my mic down"),
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
    if face.kind in GUIDES:
        draw_guide(draw, face, width, height)
    elif face.kind == "several":
        _several(draw, face, width, height)
    elif face.kind == "deaf":
        _deaf(draw, face, width, height)
    elif face.kind == "starting":
        _starting(draw, face, width, height)
    elif face.kind == "code":
        _code(draw, face, width, height)
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
        draw.text((x, y), name, font=typeface(12), fill=230)
        sheet.paste(picture, (x, y + name_px))
    return sheet


# ---------------------------------------------------------------------- the kinds


def _one_ring(draw: ImageDraw.ImageDraw, face: Face, width: int, height: int) -> None:
    """The band in an open outline (ringing) or as a solid block (howl); lines below."""
    block_bottom = _block_bottom(face, width, height)
    block = (0, 0, width, block_bottom)
    if face.kind == "howl":
        _fill(draw, block)
        big(draw, face.headline, _inset(block, 4, 4 if height >= FLAT_PX else 2), ink=0)
    else:
        _outline(draw, block, thickness=2)
        big(draw, face.headline, _inset(block, 6, 6 if height >= FLAT_PX else 3))
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
    big(draw, face.headline, _inset(first, 3, 4), ink=0)
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
        big(draw, label, _inset(box, 3, 3 if height >= FLAT_PX else 1))
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
        big(draw, face.headline, (5, round(height * 0.36), width - 5, words_top))
    else:
        ear_width = round(height * 0.34)
        _struck_out_ear(draw, (5, 5, 5 + ear_width, words_top))
        big(draw, face.headline, (9 + ear_width, min(7, height // 8), width - 6, words_top - 2))
    lines = [line for line in (face.line_1, face.line_2) if line]
    stack(draw, lines, (5, words_top + 1, width - 5, height - 3))


def _starting(draw: ImageDraw.ImageDraw, face: Face, width: int, height: int) -> None:
    """The box's name over a rule, and the address: to be typed off, and for a phone's camera."""
    is_address = face.line_1.startswith("http")
    side = min(width, height, max(width, height) - LEAST_WORDS_PX)
    code = square_code(face.line_1, side) if is_address else None
    if code is not None:
        _beside_its_code(draw, face, code, width, height)
        return
    rule = round(height * 0.42)
    big(draw, face.headline, (2, 2, width - 2, rule - 2))
    draw.rectangle((0, rule, width - 1, rule + 1), fill=1)
    lines = [line for line in (face.line_1, face.line_2) if line]
    stack(draw, lines, (0, rule + 4, width, height))


def _beside_its_code(
    draw: ImageDraw.ImageDraw, face: Face, code: Image.Image, width: int, height: int
) -> None:
    """The address's code at the right (upright: below), name and address beside it."""
    draw.bitmap((width - code.width, height - code.height), code, fill=1)
    if width > height:
        right, bottom = width - code.width - 3, height
    else:
        right, bottom = width, height - code.height - 3
    rule = round(bottom * 0.36)
    big(draw, face.headline, (0, 2, right, rule - 3))
    draw.rectangle((0, rule, right - 1, rule + 1), fill=1)
    address = face.line_1.split("://", 1)[1].rstrip("/")
    lines = _in_two(address, right)
    if face.line_2 and width_of(face.line_2, EASY_PX) <= right:
        lines.append(face.line_2)
    stack(draw, lines, (0, rule + 4, right, bottom))


def _in_two(address: str, room_px: int) -> list[str]:
    """An address as one row, or as two that break before a dot where it is too long for one."""
    dots = [place for place, sign in enumerate(address) if sign == "."]
    if not dots or width_of(address, EASY_PX) <= room_px:
        return [address]
    cut = min(dots, key=lambda place: abs(place - len(address) / 2))
    return [address[:cut], address[cut:]]


def _code(draw: ImageDraw.ImageDraw, face: Face, width: int, height: int) -> None:
    """Digits as large as they fit between two solid pillars, and what to do with them."""
    pillar = max(4, width // 12)
    words = round(height * 0.68)
    _fill(draw, (0, 0, pillar, words))
    _fill(draw, (width - pillar, 0, width, words))
    left, right = pillar + 3, width - pillar - 3
    big(draw, face.headline, (left, 3, right, words - 2))
    stack(draw, [face.line_1], (0, words + 2, width, height))


def _quiet(draw: ImageDraw.ImageDraw, face: Face, width: int, height: int) -> None:
    """Bare words, small, much dark around them."""
    margin = round(width * 0.18)
    bottom = round(height * 0.56)
    big(draw, face.headline, (margin, min(3, height // 20), width - margin, bottom), weight=0)
    lines = [line for line in (face.line_1, face.line_2) if line]
    stack(draw, lines, (0, round(height * 0.62), width, height))


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
        if width_of(both, size) <= width:
            return size
    return 0


def _two_lines(draw: ImageDraw.ImageDraw, face: Face, box: Box) -> None:
    """Two short lines side by side if they fit so in large type, else one below the other.

    The first is what to do: it has the higher row, and the only one where there is no room for two.
    """
    size = _side_by_side_px(face, box[2], box[3])
    if size:
        put_line(draw, face.line_1, box, size, "left" if face.line_2 else "middle")
        put_line(draw, face.line_2, box, size, "right")
    elif box[3] < FLAT_PX:
        stack(draw, [face.line_1], box)
    elif face.line_1 and face.line_2:
        left, top, right, bottom = box
        cut = round(top + (bottom - top) * ACTION_PART)
        stack(draw, [face.line_1], (left, top, right, cut))
        stack(draw, [face.line_2], (left, cut + 1, right, bottom))
    else:
        stack(draw, [line for line in (face.line_1, face.line_2) if line], box)
