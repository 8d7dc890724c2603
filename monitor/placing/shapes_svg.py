"""Shapes as SVG text: presentation attributes and classes only.

A page with a strict Content-Security-Policy takes it as it is: no style attribute, no style
element, nothing from elsewhere.  On a page the inks are the page's own custom properties
(``--paper`` and so on), with the night's colours where there are none; in a file they are plain
colours, since not everything that opens an SVG file knows custom properties.
"""

from __future__ import annotations

from xml.sax.saxutils import escape, quoteattr

from monitor.placing.shapes import (
    THEMES,
    Disc,
    Ink,
    Outline,
    Picture,
    Point,
    Shape,
    Theme,
    Thing,
    Words,
)

_RIM_PART = 0.28
"""The rim round type, beside the type's size: both sides together."""


def svg_text(picture: Picture, *, theme: Theme | None = None) -> str:
    """Return the picture as one ``<svg>`` element.

    Parameters
    ----------
    picture : Picture
    theme : "night", "day" or None
        None: the inks of the page it stands in.  Otherwise a file that stands alone, with its
        ground drawn and the colours of that theme.
    """
    inks = _inks(theme)
    box = (picture.left_cm, picture.top_cm, picture.width_cm, picture.height_cm)
    lines = [
        '<svg xmlns="http://www.w3.org/2000/svg" class="plan" '
        f'viewBox="{" ".join(_number(n) for n in box)}" role="group" '
        f"aria-label={_quoted(picture.title)} "
        'font-family="system-ui, sans-serif" stroke-linejoin="round" stroke-linecap="butt">'
    ]
    if theme is not None:
        left, top, width, height = (_number(n) for n in box)
        lines.append(
            f'<rect x="{left}" y="{top}" width="{width}" height="{height}" '
            f'fill="{inks["ground"]}"/>'
        )
    for part in picture.parts:
        if isinstance(part, Thing):
            lines.append(_thing(part, inks))
        else:
            lines.append(_shape(part, inks))
    lines.append("</svg>")
    return "\n".join(lines) + "\n"


def _inks(theme: Theme | None) -> dict[Ink, str]:
    if theme is not None:
        return THEMES[theme]
    return {ink: f"var(--{ink}, {colour})" for ink, colour in THEMES["night"].items()}


def _number(value: float) -> str:
    """Return a length to a millimetre, as short as it can be written."""
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def _clean(text: str) -> str:
    """Return the text without what XML 1.0 cannot hold (control signs, lone surrogates)."""
    return "".join(sign if sign.isprintable() else " " for sign in text)


def _quoted(text: str) -> str:
    return quoteattr(_clean(text))


def _thing(thing: Thing, inks: dict[Ink, str]) -> str:
    x, y = thing.held_at
    inside = "\n".join(_shape(shape, inks) for shape in thing.shapes)
    return (
        f'<g class="thing" data-kind={_quoted(thing.kind)} data-index="{thing.index}" '
        f'tabindex="0" role="button" aria-label={_quoted(thing.label)}>\n'
        f'<circle class="hold" cx="{_number(x)}" cy="{_number(y)}" '
        f'r="{_number(thing.held_cm)}" fill="none" pointer-events="all"/>\n'
        f"{inside}\n</g>"
    )


def _shape(shape: Shape, inks: dict[Ink, str]) -> str:
    if isinstance(shape, Words):
        return _words(shape, inks)
    if isinstance(shape, Disc):
        x, y = shape.centre
        place = f'cx="{_number(x)}" cy="{_number(y)}" r="{_number(shape.radius_cm)}"'
        return f"<circle{_class(shape)} {place}{_paint(shape, inks)}/>"
    return f'<path{_class(shape)} d="{_way(shape.points, shape.closed)}"{_paint(shape, inks)}/>'


def _class(shape: Shape) -> str:
    return f' class="{shape.part}"' if shape.part else ""


def _way(points: tuple[Point, ...], closed: bool) -> str:
    steps = "L".join(f"{_number(x)} {_number(y)}" for x, y in points)
    return f"M{steps}{'Z' if closed else ''}"


def _paint(shape: Outline | Disc, inks: dict[Ink, str]) -> str:
    paint = f' fill="{inks[shape.fill] if shape.fill else "none"}"'
    if isinstance(shape, Outline) and shape.fill and shape.strength < 1.0:
        paint += f' fill-opacity="{shape.strength:.3g}"'
    if shape.stroke:
        paint += f' stroke="{inks[shape.stroke]}" stroke-width="{_number(shape.width_cm)}"'
    if isinstance(shape, Outline) and shape.dash_cm:
        paint += f' stroke-dasharray="{" ".join(_number(n) for n in shape.dash_cm)}"'
    return paint


def _words(words: Words, inks: dict[Ink, str]) -> str:
    x, y = words.at
    weight = ' font-weight="700"' if words.bold else ""
    return (
        f'<text{_class(words)} x="{_number(x)}" y="{_number(y)}" '
        f'font-size="{_number(words.height_cm)}"{weight} text-anchor="{words.anchor}" '
        f'fill="{inks[words.ink]}" stroke="{inks["ground"]}" '
        f'stroke-width="{_number(_RIM_PART * words.height_cm)}" paint-order="stroke" '
        f'pointer-events="none">{escape(_clean(words.text))}</text>'
    )
