"""What the equaliser did in the end: its response, the sliders that made it, what rang.

The response is drawn where the record carries it; the report reckons none of its own.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from datetime import tzinfo
from itertools import pairwise

from monitor.advice.labels import decibels
from monitor.listening.bands import third_octave_of
from monitor.placing.shapes import Disc, Ink, Outline, Picture, Point, Shape, Words
from monitor.report.evening import Evening
from monitor.report.marks import line, width_of
from monitor.report.title import date_of, title_of
from monitor.report.words import put_words, stands_words

WIDTH, HEIGHT = 1000.0, 430.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 58.0, 988.0, 74.0, 396.0
_LOWEST_HZ, _HIGHEST_HZ = 40.0, 16000.0
_MARKS = {50: "50", 100: "100", 200: "200", 500: "500", 1000: "1k", 2000: "2k", 5000: "5k"}
_MARKS |= {10000: "10k"}
_TYPE = 15.0
_CAPTION = 3.4 * _TYPE
_SHALLOWEST_DB = 12.0
"""The least that is drawn: what most graphic equalisers cut (common practice)."""
_LEAST_DISC, _MOST_DISC = 5.0, 14.0


class _Grid:
    """Frequency to x, dB to y; ``low`` moves all of it down for a caption."""

    def __init__(self, evening: Evening, low: float) -> None:
        heard = [ring.frequency_hz for ring in evening.rings]
        self.lowest_hz = min([_LOWEST_HZ, *heard])
        self.highest_hz = max([_HIGHEST_HZ, *heard])
        # Of what is drawn: far below its corner a low cut would press all the rest flat.
        drawn = [db for hz, db in evening.curve if self.lowest_hz <= hz <= self.highest_hz]
        deepest = [-db for db in drawn]
        deepest += [p.pull_db for p in evening.standing if not p.is_switch]
        highest = max([0.0, *drawn])
        self.deepest_db = max(_SHALLOWEST_DB, 3.0 * math.ceil(max([0.0, *deepest]) / 3.0))
        self.highest_db = 3.0 * math.ceil(max(0.0, highest - 0.25) / 3.0)
        self.low = low

    def x(self, hz: float) -> float:
        part = math.log(hz / self.lowest_hz) / math.log(self.highest_hz / self.lowest_hz)
        return _LEFT + (_RIGHT - _LEFT) * min(max(part, 0.0), 1.0)

    def y(self, db: float) -> float:
        part = (self.highest_db - db) / (self.highest_db + self.deepest_db)
        return self.low + _TOP + (_BOTTOM - _TOP) * min(max(part, 0.0), 1.0)


def curve_picture(evening: Evening, *, caption: bool = False, zone: tzinfo | None) -> Picture:
    """Return the equaliser as it stood at the end, with the gig's rings above it.

    Parameters
    ----------
    evening : Evening
    caption : bool
        Write venue and date above: for a picture that stands alone.
    zone : tzinfo or None
        The local time to show; None is the machine's.
    """
    grid = _Grid(evening, _CAPTION if caption else 0.0)
    shapes: list[Shape] = [
        *_lines(grid), *_response(evening, grid), *_rang(evening, grid), *_sliders(evening, grid)
    ]  # fmt: skip
    if caption:
        shapes.extend(_caption(evening, zone))
    if not evening.curve:
        said = "the response was not kept" if evening.standing else "no slider was pulled"
        shapes.append(Words((_RIGHT - 6.0, grid.y(-grid.deepest_db) - 10.0), said, _TYPE,
                            anchor="end"))  # fmt: skip
    said = "equaliser at the end: " + (pulled_words(evening) or "no slider pulled")
    return Picture(0.0, 0.0, WIDTH, HEIGHT + grid.low, said, tuple(shapes))


def pulled_words(evening: Evening) -> str:
    """Return the sliders that stood pulled at the end: "low cut on, 400 -2 dB, 2.5k -4 dB"."""
    return ", ".join(stands_words(one.name, one.pull_db) for one in evening.standing)


def _caption(evening: Evening, zone: tzinfo | None) -> Iterator[Shape]:
    yield Words((12.0, 1.5 * _TYPE), title_of(evening)[:80], 1.25 * _TYPE, ink="paper",
                anchor="start", bold=True)  # fmt: skip
    when = date_of(evening, evening.clock(zone)) or "date not known"
    said = f"{when}; equaliser as it stood at the end"
    yield Words((12.0, 2.9 * _TYPE), said, _TYPE, anchor="start")


def _lines(grid: _Grid) -> Iterator[Shape]:
    top, bottom = grid.y(grid.highest_db), grid.y(-grid.deepest_db)
    for hz, label in _MARKS.items():
        x = grid.x(hz)
        yield line(((x, top), (x, bottom)), "line", 0.8)
        yield Words((x, bottom + 1.4 * _TYPE), label, _TYPE)
    yield Words((_RIGHT, bottom + 1.4 * _TYPE), "Hz", _TYPE, anchor="end")
    step_db = 3.0 if grid.deepest_db + grid.highest_db <= 24.0 else 6.0
    count = int((grid.highest_db + grid.deepest_db) / step_db) + 1
    for step in range(count):
        db = grid.highest_db - step_db * step
        y = grid.y(db)
        ink: Ink = "quiet" if db == 0.0 else "line"
        yield line(((_LEFT, y), (_RIGHT, y)), ink, 1.2 if db == 0.0 else 0.8)
        yield Words((_LEFT - 8.0, y + 0.36 * _TYPE), decibels(db), _TYPE, anchor="end")
    yield Words((8.0, top - 0.8 * _TYPE), "dB", _TYPE, anchor="start")


def _response(evening: Evening, grid: _Grid) -> Iterator[Shape]:
    points = [
        (grid.x(hz), grid.y(db))
        for hz, db in evening.curve
        if grid.lowest_hz <= hz <= grid.highest_hz
    ]
    if len(points) < 2:
        return
    zero = grid.y(0.0)
    ends = ((points[-1][0], zero), (points[0][0], zero))
    yield Outline((*points, *ends), closed=True, fill="candle", strength=0.12, part="response")
    yield line(tuple(points), "candle", 3.0)


def _sliders(evening: Evening, grid: _Grid) -> Iterator[Shape]:
    """A wedge for each slider that stands pulled, as deep as it is pulled, with its depth.

    A low cut, which has none, has its word at its corner.
    """
    taken: list[Point] = []
    for pulled in evening.standing:
        if pulled.centre_hz is None:
            continue
        x, zero = grid.x(pulled.centre_hz), grid.y(0.0)
        y = zero if pulled.is_switch else grid.y(-pulled.pull_db)
        wedge = ((x - 6.0, zero), (x + 6.0, zero), (x, y))
        if not pulled.is_switch:
            yield Outline(wedge, closed=True, stroke="candle", width_cm=1.2, fill="candle",
                          strength=0.35, part="slider")  # fmt: skip
        said = f"{pulled.label} {put_words(pulled.label, pulled.pull_db)}"
        wide = width_of(said, _TYPE)
        at = (x, y + 1.2 * _TYPE)
        while any(abs(at[0] - x_) < wide and abs(at[1] - y_) < 1.1 * _TYPE for x_, y_ in taken):
            at = (x, at[1] + 1.1 * _TYPE)
        taken.append(at)
        if at[1] < grid.y(-grid.deepest_db):
            yield Words(at, said, _TYPE, ink="candle", bold=True)


def _rang(evening: Evening, grid: _Grid) -> Iterator[Shape]:
    """A disc for each band that rang, larger for oftener, with the count; solid if it howled."""
    all_rings: dict[str, list[float]] = {}
    howls: Counter[str] = Counter()
    for ring in evening.rings:
        band = third_octave_of(ring.frequency_hz).label
        all_rings.setdefault(band, []).append(math.log(ring.frequency_hz))
        howls[band] += ring.degree == "howl"
    most = max((len(found) for found in all_rings.values()), default=1)
    y = grid.low + 42.0
    for band, found in all_rings.items():
        hz = math.exp(sum(found) / len(found))
        x = grid.x(hz)
        radius = _LEAST_DISC + (_MOST_DISC - _LEAST_DISC) * math.sqrt(len(found) / most)
        fill: Ink | None = "paper" if howls[band] else None
        down = (x, grid.y(_level_at(evening, hz)))
        yield line(((x, y + radius), down), "paper", 1.0, (2.0, 4.0))
        yield Disc((x, y), radius, "paper", 1.6, fill, part="rang")
        yield Words((x, y - _MOST_DISC - 6.0), f"{len(found)}", _TYPE, ink="paper")
    said = "rang, times" if all_rings else "nothing rang"
    yield Words((8.0, y - _MOST_DISC - 6.0), said, 0.9 * _TYPE, anchor="start")


def _level_at(evening: Evening, hz: float) -> float:
    """Return the response at a frequency, on a straight line between its points; 0 without."""
    points = evening.curve
    if not points or not points[0][0] <= hz <= points[-1][0]:
        return 0.0
    for (f, level), (g, next_level) in pairwise(points):
        if f <= hz <= g:
            part = 0.0 if g == f else (math.log(hz / f)) / math.log(g / f)
            return level + part * (next_level - level)
    return 0.0
