"""The timeline's key: what its marks mean, only those that are there."""

from __future__ import annotations

from collections.abc import Iterator

from monitor.placing.shapes import Shape, Words
from monitor.report.evening import Evening
from monitor.report.marks import drop, flow, hatched, line, pull_tick, radius_of, tail_of
from monitor.report.scales import Sizes

_HEAD = 2.0 * radius_of(-20.0)


def key_shapes(evening: Evening, sizes: Sizes, top: float) -> tuple[list[Shape], float]:
    """Return the key's shapes and where the picture ends below them."""
    entries = list(_entries(evening))
    height = sizes.type
    parts = [(mark + 6.0, height, said) for _, mark, said in entries]
    places = flow(parts, 12.0, sizes.width - 8.0, 16.0)
    shapes: list[Shape] = []
    for (kind, mark, said), (x, row) in zip(entries, places, strict=True):
        y = top + (0.9 + 1.9 * row) * height
        shapes.extend(_mark(kind, x, y))
        shapes.append(Words((x + mark + 6.0, y + 0.36 * height), said, height, anchor="start"))
    rows = places[-1][1] + 1 if places else 0
    return shapes, top + (0.3 + 1.9 * rows) * height


def _entries(evening: Evening) -> Iterator[tuple[str, float, str]]:
    """Yield each mark's name, width and words."""
    if evening.rings:
        yield "howl", _HEAD + tail_of(2.0), "howl"
        yield "ringing", _HEAD + tail_of(2.0), "ringing"
        yield "quiet", 2 * radius_of(-50.0), "-50 dBFS"
        yield "loud", 2 * radius_of(-5.0), "-5 dBFS"
        for seconds in (1, 10, 60):
            yield f"{seconds}", _HEAD + tail_of(seconds), f"{seconds} s"
    if any(ring.lasted_s is None for ring in evening.rings):
        yield "open end", _HEAD, "end not known"
    if evening.moves or evening.standing:
        yield "pulled", 34.0, "slider pulled, and stands"
    if any(move.to_db < move.from_db for move in evening.moves):
        yield "eased", 10.0, "eased"
    if evening.of_kind("song"):
        yield "song", 8.0, "song"
    if evening.of_kind("deaf"):
        yield "deaf", 26.0, "could not hear"


def _mark(kind: str, x: float, y: float) -> Iterator[Shape]:
    if kind in ("pulled", "eased"):
        down = kind == "pulled"
        yield pull_tick((x + 5.0, y + (6.0 if down else -6.0)), down=down)
        if down:
            yield line(((x + 5.0, y + 6.0), (x + 34.0, y + 6.0)), "candle", 1.5)
    elif kind == "song":
        yield line(((x + 4.0, y - 10.0), (x + 4.0, y + 10.0)), "quiet", 0.8, (1.5, 6.0))
    elif kind == "deaf":
        yield from hatched(x, x + 26.0, y - 8.0, y + 8.0)
    else:
        levels = {"quiet": -50.0, "loud": -5.0}
        lengths = {"howl": 2.0, "ringing": 2.0, "quiet": 0.0, "loud": 0.0, "open end": None}
        yield drop(
            (x, y),
            degree="howl" if kind == "howl" else "ringing",
            level_dbfs=levels.get(kind, -20.0),
            lasted_s=lengths[kind] if kind in lengths else float(kind),
        )
