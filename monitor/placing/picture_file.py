"""A picture in a file, as SVG or PNG."""

from __future__ import annotations

from pathlib import Path

from monitor.output_file import write_whole
from monitor.placing.shapes import Picture, Theme
from monitor.placing.shapes_png import png_image
from monitor.placing.shapes_svg import svg_text


def write_svg(path: Path, picture: Picture, *, theme: Theme = "night") -> None:
    """Write the picture as an SVG file that stands alone.

    Raises
    ------
    LanternError
        If it cannot be written.
    """
    text = svg_text(picture, theme=theme)
    write_whole(path, lambda beside: beside.write_text(text, encoding="utf-8"), what="the picture")


def write_png(
    path: Path, picture: Picture, *, theme: Theme = "night", width_px: int = 1200
) -> None:
    """Write the picture as a PNG file.

    Raises
    ------
    LanternError
        If it cannot be written.
    """
    image = png_image(picture, theme=theme, width_px=width_px)
    write_whole(
        path, lambda beside: image.save(beside, format="PNG", optimize=True), what="the picture"
    )
