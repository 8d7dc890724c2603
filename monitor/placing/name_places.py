"""Where names stand in a picture so that they cover neither each other nor the things."""

from __future__ import annotations

from monitor.placing.outlines import Box
from monitor.placing.shapes import Anchor, Point

SIGN_PART = 0.58
"""The mean width of a sign beside the type's size, a little wide: a name must not be cut."""
_MOST_COVERED = 0.3
"""A name of which more than this part is covered is left out; things keep theirs for readers."""
_SIDES: tuple[tuple[float, float, Anchor], ...] = (
    (1.0, 0.0, "start"),
    (-1.0, 0.0, "end"),
    (0.0, 1.0, "middle"),
    (0.0, -1.0, "middle"),
    (0.75, 0.75, "start"),
    (0.75, -0.75, "start"),
    (-0.75, 0.75, "end"),
    (-0.75, -0.75, "end"),
)
"""Right first: it is read as belonging to the thing; corners last."""


def shortened(text: str, most_signs: int) -> str:
    """Return the text on one line, with its end left out if it is longer than ``most_signs``."""
    text = " ".join(text.split())
    return text if len(text) <= most_signs else text[: most_signs - 1].rstrip() + "…"


class NamePlaces:
    """Finds places for names within ``view``, one after the other; the first have the choice.

    Parameters
    ----------
    view : Box
        No name leaves it.
    """

    def __init__(self, view: Box) -> None:
        self._view = view
        self._taken: list[Box] = []

    def keep_free(self, at: Point, radius_cm: float) -> None:
        """Keep names off a round place."""
        x, y = at
        self._taken.append((x - radius_cm, y - radius_cm, x + radius_cm, y + radius_cm))

    def place(
        self, at: Point, away_cm: float, lines: tuple[str, ...], height_cm: float, *, must: bool
    ) -> tuple[list[Point], Anchor] | None:
        """Find a place for some lines beside a thing.

        Parameters
        ----------
        at : Point
            The thing's middle.
        away_cm : float
            How far its own drawing reaches.
        lines : tuple of str
        height_cm : float
            The size of the type.
        must : bool
            Take the best place even if something is covered there.

        Returns
        -------
        (points, anchor) or None
            Where each line stands (its baseline), and by which end; None if there is no room.
        """
        width = SIGN_PART * height_cm * max(len(line) for line in lines)
        height = 1.2 * height_cm * len(lines)
        best: tuple[float, Box, Anchor] | None = None
        for side, (across, down, anchor) in enumerate(_SIDES):
            box = self._pushed_inside(
                _box(at, away_cm, (across, down), anchor, width=width, height=height)
            )
            covered = sum(_shared(box, taken) for taken in self._taken) / (width * height)
            cost = covered + 0.01 * side
            if best is None or cost < best[0]:
                best = (cost, box, anchor)
        if best is None or (best[0] > _MOST_COVERED and not must):
            return None
        _, box, anchor = best
        self._taken.append(box)
        x = {"start": box[0], "middle": (box[0] + box[2]) / 2.0, "end": box[2]}[anchor]
        # The first baseline is where the letters' bodies, without what hangs below, end.
        rows = [box[1] + 1.2 * height_cm * row + 0.95 * height_cm for row in range(len(lines))]
        return [(x, y) for y in rows], anchor

    def _pushed_inside(self, box: Box) -> Box:
        left, top, right, bottom = self._view
        dx = max(0.0, left - box[0]) - max(0.0, box[2] - right)
        dy = max(0.0, top - box[1]) - max(0.0, box[3] - bottom)
        return box[0] + dx, box[1] + dy, box[2] + dx, box[3] + dy


def _box(
    at: Point,
    away_cm: float,
    side: tuple[float, float],
    anchor: Anchor,
    *,
    width: float,
    height: float,
) -> Box:
    x = at[0] + side[0] * away_cm
    left = {"start": x, "middle": x - width / 2.0, "end": x - width}[anchor]
    middle = at[1] + side[1] * (away_cm + height / 2.0)
    return left, middle - height / 2.0, left + width, middle + height / 2.0


def _shared(one: Box, other: Box) -> float:
    """Return the area that two boxes share."""
    width = min(one[2], other[2]) - max(one[0], other[0])
    height = min(one[3], other[3]) - max(one[1], other[1])
    return max(0.0, width) * max(0.0, height)
