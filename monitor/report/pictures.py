"""A gig's pictures straight from its record, as SVG or PNG, for a file or a page."""

from __future__ import annotations

import io
from datetime import tzinfo
from typing import Literal

from monitor.placing.shapes import Picture, Theme
from monitor.placing.shapes_png import png_image
from monitor.placing.shapes_svg import svg_text
from monitor.report.curve import curve_picture
from monitor.report.evening import Record, evening_of
from monitor.report.timeline import timeline_picture

Drawn = Literal["timeline", "curve"]
DOTS_WIDE, DOTS_NARROW = 1600, 1080


def gig_picture(
    record: Record,
    drawn: Drawn,
    *,
    wide: bool = True,
    caption: bool = True,
    zone: tzinfo | None = None,
) -> Picture:
    """Return one of a gig's pictures; ``wide`` False is for a phone held upright.

    ``caption`` False leaves out what gig it is, for a page that says so itself.

    Raises
    ------
    ValueError
        If there is no such picture.
    """
    if drawn == "timeline":
        return timeline_picture(evening_of(record), wide=wide, caption=caption, zone=zone)
    if drawn == "curve":
        return curve_picture(evening_of(record), caption=caption, zone=zone)
    raise ValueError(f"there is no picture {drawn!r}; it is timeline or curve")


def gig_svg(
    record: Record,
    drawn: Drawn = "timeline",
    *,
    wide: bool = True,
    theme: Theme | None = "day",
    zone: tzinfo | None = None,
) -> str:
    """Return a picture as SVG; ``theme`` None takes the inks of the page it is put into.

    That page says which gig it is; else the picture has a caption.
    """
    has_caption = theme is not None
    picture = gig_picture(record, drawn, wide=wide, caption=has_caption, zone=zone)
    return svg_text(picture, theme=theme)


def gig_png(
    record: Record,
    drawn: Drawn = "timeline",
    *,
    wide: bool = True,
    theme: Theme = "day",
    zone: tzinfo | None = None,
) -> bytes:
    """Return a picture as a PNG file's bytes."""
    picture = gig_picture(record, drawn, wide=wide, zone=zone)
    found = io.BytesIO()
    dots = DOTS_WIDE if wide else DOTS_NARROW
    png_image(picture, theme=theme, width_px=dots).save(found, format="PNG")
    return found.getvalue()
