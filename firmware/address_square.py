"""The page's address as a square code that a phone's camera reads (QR code, ISO/IEC 18004).

The code is dark on lit pixels, as the standard has it, and as large as the panel is high.
"""

from __future__ import annotations

from functools import lru_cache

from PIL import Image

WANTED_QUIET = 4
"""Lit squares around the code by the standard."""
LEAST_QUIET = 1.5
"""What is left of them where a longer address needs more squares; the tests' reader takes it."""
LEAST_SCALE = 2
"""Pixels a square: with one the camera sees grey."""


@lru_cache(maxsize=4)
def square_code(text: str, side_px: int) -> Image.Image | None:
    """Return the code in a lit square, mode "1"; None where the panel is too small for it.

    Parameters
    ----------
    text : str
        What a phone reads, an address.
    side_px : int
        Side of the square in pixels.
    """
    # Imported when it is first drawn: the panel's thread can wait, the start cannot.
    import segno

    try:
        code = segno.make(text, error="l", micro=False, boost_error=False)
    except segno.DataOverflowError:
        return None
    squares = [list(row) for row in code.matrix]
    count = len(squares)
    scale = max(LEAST_SCALE, int(side_px / (count + 2 * WANTED_QUIET)))
    if (count + 2 * LEAST_QUIET) * scale > side_px:
        return None
    drawn = Image.new("1", (count, count), 1)
    drawn.putdata([0 if dark else 255 for row in squares for dark in row])
    image = Image.new("1", (side_px, side_px), 1)
    edge = (side_px - count * scale) // 2
    image.paste(
        drawn.resize((count * scale, count * scale), Image.Resampling.NEAREST), (edge, edge)
    )
    return image
