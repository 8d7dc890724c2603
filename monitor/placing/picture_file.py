"""A picture in a file, as SVG or PNG, or a text: whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from monitor.errors import LanternError
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
    write_whole(path, lambda beside: beside.write_text(text, encoding="utf-8"))


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
    write_whole(path, lambda beside: image.save(beside, format="PNG", optimize=True))


def write_whole(path: Path, write: Callable[[Path], object], *, what: str = "the picture") -> None:
    """Write beside the file and rename, so that a full disk leaves the old file or none.

    Raises
    ------
    LanternError
        If it cannot be written; ``what`` says what it is.
    """
    beside = path.with_name(f"{path.name}.{os.getpid()}.new")
    try:
        write(beside)
        beside.replace(path)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise LanternError(
            f"{path}: {what} cannot be written ({error.strerror}); "
            "name a file in a folder that is yours"
        ) from error
