"""Where names stand in a picture so that they cover neither each other nor the things."""

from __future__ import annotations

import math
import textwrap
from itertools import product

from monitor.placing.outlines import Box, between
from monitor.placing.shapes import Anchor, Point

_WIDTHS = (("iljtfrI.,:;'|!()[]- ", 0.38), ("mwMW%@—…", 0.98), ("ABCDEFGHKNOPQRUVXYZ+", 0.74))
_USUAL = 0.62
_BOLD = 1.13
"""Widths of signs beside the type's size, as in the broadest typeface that systems have for their
own (measured on DejaVu Sans): a name must not be cut anywhere."""
_MOST_COVERED = 0.45
"""A name that would cover more than this is left out; things keep theirs for screen readers."""
_NAME_COST = 12.0
_THING_COST = 1.5
"""A name over a name makes both unreadable; over a thing it hides a part of it."""
_ANOTHER_S_COST = 3.0
_CLEARLY = 1.2
"""So many times nearer to its own thing than to any other a name has to be, not to be misread."""
_RIM = 0.35
_WIDE_RIM = 1.2
_BESIDE_COST = 0.5
"""Space round a name, beside its type's size: names that touch are read as one, and names in one
stack as the same thing's."""
_LINE_STEP = 0.5
_LINE_COST = 0.07
"""A place on a line costs so much for each half height of type that the line runs through it."""
_SIDES: tuple[tuple[float, float, Anchor], ...] = (
    (1.0, 0.0, "start"),
    (-1.0, 0.0, "end"),
    (0.0, -1.0, "middle"),
    (0.0, 1.0, "middle"),
    (0.9, -0.45, "start"),
    (-0.9, -0.45, "end"),
    (0.9, 0.45, "start"),
    (-0.9, 0.45, "end"),
    (0.5, -0.9, "start"),
    (-0.5, -0.9, "end"),
    (0.5, 0.9, "start"),
    (-0.5, 0.9, "end"),
)
"""Right first: it is read as belonging to the thing; corners last."""
_SIDE_COST = 0.01
_FARTHER = ((1.0, 0.0), (1.35, 0.2), (1.9, 0.5), (2.8, 0.9))
"""Times as far as asked, and what that costs: a name far off may be read as another's."""
_BOLD_FARTHER = tuple((0.5 + 0.5 * step, 0.1 * (step - 1)) for step in range(1, 12))
"""The same for bold words, which are alike in nothing else and are found from farther off."""


def shortened(text: str, most_signs: int) -> str:
    """Return the text on one line, with its end left out if it is longer than ``most_signs``."""
    text = " ".join(text.split())
    return text if len(text) <= most_signs else text[: most_signs - 1].rstrip() + "…"


def wrapped(text: str, most_signs: int, most_lines: int) -> tuple[str, ...]:
    """Return the text in lines of at most ``most_signs``, about as long as each other.

    If it takes more than ``most_lines``, the last is shortened.
    """
    lines = textwrap.wrap(text, max(8, most_signs)) or [""]
    for signs in range(max(8, most_signs) - 1, 7, -1):
        narrower = textwrap.wrap(text, signs)
        if len(narrower) != len(lines):
            break
        lines = narrower
    if len(lines) > most_lines:
        lines[most_lines - 1] = shortened(" ".join(lines[most_lines - 1 :]), max(8, most_signs))
    # What held two words together has done so; not every typeface has a sign for it.
    return tuple(line.replace("\N{NO-BREAK SPACE}", " ") for line in lines[:most_lines])


def width_of(text: str, height: float, *, bold: bool = False) -> float:
    """Return about how wide a line of type is, rather too wide than too narrow."""
    total = 0.0
    for sign in text:
        total += next((width for signs, width in _WIDTHS if sign in signs), _USUAL)
    return total * height * (_BOLD if bold else 1.0)


class NamePlaces:
    """Finds places for names within ``view``, one after the other; the first have the choice."""

    def __init__(self, view: Box) -> None:
        self._view = view
        self._taken: list[tuple[Box, float]] = []
        self._lines: list[tuple[Point, Point, float]] = []
        self._named: list[tuple[Point, Point]] = []

    def keep_free(self, at: Point, radius_cm: float, own: Point | None = None) -> None:
        """Keep names off a round place.

        A name beside it is read as that of the thing there, or of the one at ``own``.
        """
        x, y = at
        box = (x - radius_cm, y - radius_cm, x + radius_cm, y + radius_cm)
        self._taken.append((box, _THING_COST))
        self._named.append((at, at if own is None else own))

    def keep_off(self, here: Point, there: Point, weight: float = 1.0) -> None:
        """Keep names off a line where another place is as good; more so with more weight."""
        self._lines.append((here, there, weight))

    def place(
        self,
        spots: tuple[Point, ...],
        away_cm: float,
        lines: tuple[str, ...],
        height_cm: float,
        *,
        must: bool,
        bold: bool = False,
    ) -> tuple[list[Point], Anchor] | None:
        """Find a place for some lines beside a thing.

        Parameters
        ----------
        spots : tuple of Point
            The thing's middle, or several places along it, one as good as the other.
        away_cm : float
            How far its own drawing reaches.
        lines : tuple of str
        height_cm : float
            The size of the type.
        must : bool
            Take the best place even if something is covered there.
        bold : bool

        Returns
        -------
        (points, anchor) or None
            Where each line stands (its baseline), and by which end; None if there is no room.
        """
        width = max(width_of(line, height_cm, bold=bold) for line in lines)
        size = (width, 1.2 * height_cm * len(lines))
        bound = math.inf if must else _MOST_COVERED
        best: tuple[Box, Anchor] | None = None
        for at, (times, far_cost) in product(spots, _BOLD_FARTHER if bold else _FARTHER):
            for side, (across, down, anchor) in enumerate(_SIDES):
                way = (across * times * away_cm, down * times * away_cm)
                box = self._pushed_inside(_box(at, way, anchor, size))
                cost = _SIDE_COST * side + far_cost
                if not bold and self._read_as_another_s(box, at):
                    cost += _ANOTHER_S_COST
                cost = self._cost(box, height_cm, cost, bound)
                if cost < bound:
                    bound, best = cost, (box, anchor)
        if best is None:
            return None
        box, anchor = best
        self._taken.append((_grown(box, _RIM * height_cm), _NAME_COST))
        self._taken.append((_grown(box, _WIDE_RIM * height_cm), _BESIDE_COST))
        x = {"start": box[0], "middle": (box[0] + box[2]) / 2.0, "end": box[2]}[anchor]
        # The first baseline is where the letters' bodies, without what hangs below, end.
        rows = [box[1] + 1.2 * height_cm * row + 0.95 * height_cm for row in range(len(lines))]
        return [(x, y) for y in rows], anchor

    def _cost(self, box: Box, height_cm: float, cost: float, bound: float) -> float:
        """Return ``cost`` and what a place covers: names and things as parts, lines by length.

        From ``bound`` on it is of no interest and not reckoned to its end.
        """
        for taken, weight in self._taken:
            if cost >= bound:
                return cost
            cost += weight * _shared(box, taken)
        step = _LINE_STEP * height_cm
        for here, there, weight in self._lines:
            if cost >= bound:
                return cost
            if not _apart((here, there), box):
                count = max(1, math.ceil(math.dist(here, there) / step))
                inside = sum(
                    _within(between(here, there, i / count), box) for i in range(count + 1)
                )
                cost += _LINE_COST * weight * inside
        return cost

    def _read_as_another_s(self, box: Box, at: Point) -> bool:
        """Whether a name there is not clearly nearer to its own thing than to another."""
        own = min((_gap(box, one) for one, of in self._named if of == at), default=math.inf)
        return any(_gap(box, one) < _CLEARLY * own for one, of in self._named if of != at)

    def _pushed_inside(self, box: Box) -> Box:
        left, top, right, bottom = self._view
        dx = max(0.0, left - box[0]) - max(0.0, box[2] - right)
        dy = max(0.0, top - box[1]) - max(0.0, box[3] - bottom)
        return box[0] + dx, box[1] + dy, box[2] + dx, box[3] + dy


def _box(at: Point, way: Point, anchor: Anchor, size: tuple[float, float]) -> Box:
    """Return the box of type that begins so far from a place; above and below it as a whole."""
    width, height = size
    x = at[0] + way[0]
    left = {"start": x, "middle": x - width / 2.0, "end": x - width}[anchor]
    sign = (way[1] > 0.0) - (way[1] < 0.0)
    middle = at[1] + way[1] + sign * height / 2.0
    return left, middle - height / 2.0, left + width, middle + height / 2.0


def _grown(box: Box, rim: float) -> Box:
    return box[0] - rim, box[1] - rim, box[2] + rim, box[3] + rim


def _area(box: Box) -> float:
    return (box[2] - box[0]) * (box[3] - box[1])


def _shared(one: Box, other: Box) -> float:
    """Return the area that two boxes share, as a part of the smaller one."""
    width = min(one[2], other[2]) - max(one[0], other[0])
    height = min(one[3], other[3]) - max(one[1], other[1])
    if width <= 0.0 or height <= 0.0:
        return 0.0
    return width * height / min(_area(one), _area(other))


def _gap(box: Box, point: Point) -> float:
    """Return how far a point is from a box; 0 inside."""
    across = max(box[0] - point[0], 0.0, point[0] - box[2])
    down = max(box[1] - point[1], 0.0, point[1] - box[3])
    return math.hypot(across, down)


def _within(point: Point, box: Box) -> bool:
    return box[0] <= point[0] <= box[2] and box[1] <= point[1] <= box[3]


def _apart(line: tuple[Point, Point], box: Box) -> bool:
    """Whether a line lies wholly on one side of a box: most do, and need no closer look."""
    (x0, y0), (x1, y1) = line
    return (
        max(x0, x1) < box[0] or min(x0, x1) > box[2] or max(y0, y1) < box[1] or min(y0, y1) > box[3]
    )
