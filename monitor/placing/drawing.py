"""The stage plan as a picture: SVG for the page and for files, PNG by Pillow.

Shape and word come first, colour last: the limiting path is thick and says so, the best change is
dashed, where a microphone is deaf is dotted, what is muted is struck out.  Only the limiting path
and the best change are in the candle's colour.

On a page
---------
``draw_svg(stage, reckoning)`` has a ``viewBox`` in centimetres of the room, x and y as in the stage
file, and each thing is a ``<g class="thing">`` with ``data-kind``, ``data-index``, ``tabindex``,
``role`` and ``aria-label``.  Its colours are the page's ``--ground``, ``--line``, ``--quiet``,
``--paper`` and ``--candle``.  A page's own rules for ``svg text`` or ``svg path`` would beat the
drawing's presentation attributes: they must leave ``svg.plan`` alone.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

from monitor.errors import LanternError
from monitor.placing.ghosts import Ghost, ghost_of
from monitor.placing.ground import (
    NAME_PX,
    PHONE_PX,
    SMALL_PX,
    View,
    coverage_shapes,
    key_words,
    length_words,
    room_shapes,
    view_of,
)
from monitor.placing.name_places import NamePlaces, shortened, wrapped
from monitor.placing.outlines import aim_from, arrow_head, between, moved
from monitor.placing.reckon import Pair, Reckoning
from monitor.placing.shapes import Outline, Picture, Point, Shape, Theme, Thing, Words
from monitor.placing.shapes_png import png_image
from monitor.placing.shapes_svg import svg_text
from monitor.placing.stage import Stage
from monitor.placing.things import (
    listener_thing,
    loudspeaker_thing,
    microphone_thing,
    mouth_thing,
    spot,
)

LONGEST_NAME = 22
"""Signs of a name on the drawing; a thing's label for screen readers has all of it."""
LONGEST_CHANGE = 34
_FEW_PATHS = 8
"""Up to so many paths are drawn as lines that can be followed; more are a faint net."""
_KEPT_FREE_PX = {"microphone": 13.0, "loudspeaker": 14.0, "mouth": 8.0, "listener": 9.0}
_AWAY_PX = {"microphone": 20.0, "loudspeaker": 18.0, "listener": 13.0}


def plan_picture(stage: Stage, reckoning: Reckoning, *, caption: bool = False) -> Picture:
    """Return the plan as shapes.

    Parameters
    ----------
    stage : Stage
    reckoning : Reckoning
        Of this very stage.
    caption : bool
        Write the reckoning's sentence below: for a picture that stands alone.
    """
    view = view_of(stage)
    limiting = reckoning.limiting
    things = _things(stage, view)
    ghost = ghost_of(stage, reckoning.changes[0].stage, view) if reckoning.changes else None
    names = _free_places(stage, reckoning, view, things, ghost)
    below = _caption(reckoning.sentence, view) if caption else []
    parts: list[Shape | Thing] = [
        *coverage_shapes(stage, view),
        *room_shapes(stage, view),
        key_words(view, ghost.drawn if ghost else ""),
        *_thin_paths(stage, reckoning, view),
        *things,
        *_limiting_path(stage, limiting, view),
        *(ghost.shapes if ghost else ()),
        *_limiting_words(stage, reckoning, view, names),
        *_names(stage, limiting, view, names, things, first=True),
        *(_change_words(ghost, reckoning, view, names) if ghost else ()),
        *_names(stage, limiting, view, names, things, first=False),
        *below,
    ]
    return Picture(
        left_cm=view.left,
        top_cm=view.top,
        width_cm=view.width,
        height_cm=view.height + 16.0 * view.px * len(below),
        title=f"stage plan to scale, audience below. {reckoning.sentence}",
        parts=tuple(parts),
    )


def draw_svg(
    stage: Stage,
    reckoning: Reckoning,
    *,
    theme_classes: bool = True,
    standalone: bool = False,
    theme: Theme = "night",
) -> str:
    """Return the plan as one ``<svg>`` element.

    Parameters
    ----------
    stage : Stage
    reckoning : Reckoning
        Of this very stage.
    theme_classes : bool
        True: in the inks of the page it stands in.  False: in the plain colours of ``theme``.
    standalone : bool
        For a file: plain colours, and the reckoning's sentence below the plan.
    theme : "night" or "day"
    """
    picture = plan_picture(stage, reckoning, caption=standalone)
    return svg_text(picture, theme=theme if standalone or not theme_classes else None)


def write_svg(path: Path | str, stage: Stage, reckoning: Reckoning, *, theme: Theme) -> None:
    """Write the plan as an SVG file, whole or not at all.

    Raises
    ------
    LanternError
        If it cannot be written.
    """
    text = draw_svg(stage, reckoning, standalone=True, theme=theme)
    _write_whole(Path(path), lambda beside: beside.write_text(text, encoding="utf-8"))


def write_png(
    path: Path | str,
    stage: Stage,
    reckoning: Reckoning,
    *,
    theme: Theme = "night",
    width_px: int = 1200,
) -> None:
    """Write the plan as a PNG file, whole or not at all.

    Raises
    ------
    LanternError
        If it cannot be written.
    """
    picture = plan_picture(stage, reckoning, caption=True)
    image = png_image(picture, theme=theme, width_px=width_px)
    _write_whole(Path(path), lambda beside: image.save(beside, format="PNG", optimize=True))


def _write_whole(path: Path, write: Callable[[Path], object]) -> None:
    """Write beside the file and rename, so that a full disk leaves the old file or none."""
    beside = path.with_name(f"{path.name}.{os.getpid()}.new")
    try:
        write(beside)
        beside.replace(path)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise LanternError(
            f"{path}: cannot be written ({error.strerror}); name a file in a folder that is yours"
        ) from error


# --- the parts ----------------------------------------------------------------------------------


def _things(stage: Stage, view: View) -> list[Thing]:
    """Return every thing; the last has the first right to a finger."""
    microphones = range(len(stage.microphones))
    return [
        listener_thing(stage, view),
        *(loudspeaker_thing(stage, i, view) for i in range(len(stage.loudspeakers))),
        *(mouth_thing(stage, i, view) for i in microphones),
        *(microphone_thing(stage, i, view) for i in microphones),
    ]


def _free_places(
    stage: Stage, reckoning: Reckoning, view: View, things: list[Thing], ghost: Ghost | None
) -> NamePlaces:
    """Return where names may stand: off the things, and rather not on a path."""
    left, _, right, _ = view.box
    names = NamePlaces((left, 0.0, right, view.room[3]))
    for thing in things:
        names.keep_free(thing.middle, _KEPT_FREE_PX[thing.kind] * view.px)
    few = len(reckoning.pairs) <= _FEW_PATHS
    for pair in reckoning.pairs:
        if pair.limits or few:
            names.keep_off(*_ends(stage, pair), weight=4.0 if pair.limits else 0.15)
    for shape in ghost.shapes if ghost else ():
        if isinstance(shape, Outline):
            for here, there in pairwise(shape.points):
                names.keep_off(here, there, weight=2.0)
    return names


def _ends(stage: Stage, pair: Pair) -> tuple[Point, Point]:
    """Return where a pair's path begins, at the loudspeaker, and ends, at the microphone."""
    loudspeaker = next(one for one in stage.loudspeakers if one.name == pair.loudspeaker)
    microphone = next(one for one in stage.microphones if one.name == pair.microphone)
    return spot(loudspeaker), spot(microphone)


def _thin_paths(stage: Stage, reckoning: Reckoning, view: View) -> list[Shape]:
    few = len(reckoning.pairs) <= _FEW_PATHS
    return [
        Outline(
            _ends(stage, pair),
            stroke="quiet" if few else "line",
            width_cm=(1.2 if few else 0.8) * view.px,
            part="path",
        )
        for pair in reckoning.pairs
        if not pair.limits
    ]


def _limiting_path(stage: Stage, pair: Pair, view: View) -> list[Shape]:
    here, there = _ends(stage, pair)
    px, aim = view.px, aim_from(here, there)
    tip = moved(there, aim, -5.0 * px)
    return [
        Outline(
            (here, moved(tip, aim, -9.0 * px)),
            stroke="candle",
            width_cm=4.0 * px,
            part="path limits",
        ),
        Outline(arrow_head(tip, aim, 11.0 * px), closed=True, fill="candle", part="limits"),
    ]


def spare_words(spare_db: float) -> str:
    """Return what is left or missing in whole decibels: "3 dB to spare", "3 dB short"."""
    whole = round(abs(spare_db))
    if whole == 0:
        return "just enough"
    return f"{whole} dB to spare" if spare_db > 0.0 else f"{whole} dB short"


def _limiting_words(
    stage: Stage, reckoning: Reckoning, view: View, names: NamePlaces
) -> list[Shape]:
    pair = reckoning.limiting
    lines = (
        f"limits: {length_words(pair.distance_m, stage.units)}",
        spare_words(reckoning.gain.spare_db),
    )
    here, there = _ends(stage, pair)
    spots = tuple(between(here, there, part) for part in (0.5, 0.35, 0.65))
    return _lines(names, spots, 11.0 * view.px, lines, view, strong=True)


def _change_words(ghost: Ghost, reckoning: Reckoning, view: View, names: NamePlaces) -> list[Shape]:
    best = reckoning.changes[0]
    lines = (*wrapped(best.words, LONGEST_CHANGE // 2, 3), f"+{best.gain_db:.1f} dB")
    return _lines(names, (ghost.at,), 18.0 * view.px, lines, view, strong=True)


def _names(
    stage: Stage,
    limiting: Pair,
    view: View,
    names: NamePlaces,
    things: list[Thing],
    *,
    first: bool,
) -> list[Shape]:
    """Return the names of the limiting pair, which have the choice of places, or all others."""
    found: list[Shape] = []
    for thing in things:
        name = _name_of(stage, thing)
        chosen = name in (limiting.loudspeaker, limiting.microphone)
        if name and chosen == first:
            line = shortened(name, LONGEST_NAME)
            away = _AWAY_PX[thing.kind] * view.px
            found += _lines(names, (thing.middle,), away, (line,), view, must=first, strong=False)
    return found


def _name_of(stage: Stage, thing: Thing) -> str:
    """Return the word beside a thing; a mouth has none."""
    if thing.kind == "loudspeaker":
        return stage.loudspeakers[thing.index].name
    if thing.kind == "microphone":
        one = stage.microphones[thing.index]
        return one.name if one.open else f"{one.name} (muted)"
    return "farthest listener" if thing.kind == "listener" else ""


def _lines(
    names: NamePlaces,
    spots: tuple[Point, ...],
    away_cm: float,
    lines: tuple[str, ...],
    view: View,
    *,
    strong: bool,
    must: bool = True,
) -> list[Shape]:
    height = NAME_PX * view.px
    place = names.place(spots, away_cm, lines, height, must=must, bold=strong)
    if place is None:
        return []
    points, anchor = place
    return [
        Words(point, line, height, "candle" if strong else "paper", anchor, bold=strong)
        for point, line in zip(points, lines, strict=True)
    ]


def _caption(sentence: str, view: View) -> list[Words]:
    px = view.px
    signs = int((PHONE_PX - 24.0) / (0.58 * SMALL_PX))
    top = view.top + view.height
    return [
        Words(
            (view.left + 12.0 * px, top + (10.0 + 16.0 * row) * px),
            line,
            SMALL_PX * px,
            "paper",
            "start",
        )
        for row, line in enumerate(wrapped(sentence, signs, 8))
    ]
