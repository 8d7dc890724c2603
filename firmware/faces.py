"""The panel's faces: pure drawing, one bit, for a glance at two metres in the dark.

Each kind has a shape of its own, which is seen before anything is read: *starting* a name
over a rule beside the address's square code, *quiet* bare words, *ringing* an open outline,
*howl* a solid block, *several* a solid block beside open ones, *deaf* a dashed frame with a
struck-out ear.  In a ring-out: *raise* an open triangle that points up, *pull* a solid wedge that
hangs down, *gone* a tick, *back off* a solid bar to come down to.  *code* six digits between
two pillars.
"""

from __future__ import annotations

from PIL import Image, ImageDraw

from firmware.address_square import square_code
from firmware.guides import GUIDES, draw_guide
from firmware.lettering import Box, big, put_line, stack, width_of
from firmware.ports import Face

FLAT_PX = 48
"""Panels less high than this have one row of small type below the big one."""
LEAST_WORDS_PX = 61
"""Half an IP address in the smallest type; the code beside it takes no more than leaves that."""
EASY_PX = 11
"""Type from which an address is typed off without mistakes at arm's length."""
ACTION_PART = 0.54
"""Of two rows the one that says what to do is the higher."""


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
