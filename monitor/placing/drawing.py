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

import math

from monitor.placing.ghosts import ghost_of
from monitor.placing.ground import View, coverage_shapes, key_words, room_shapes, view_of
from monitor.placing.outlines import aim_from, arrow_head, moved
from monitor.placing.plan_words import FEW_PATHS, PlanWords, caption_words, path_ends
from monitor.placing.reckon import Pair, Reckoning
from monitor.placing.shapes import Outline, Picture, Shape, Thing
from monitor.placing.shapes_svg import svg_text
from monitor.placing.stage import Stage
from monitor.placing.things import (
    listener_thing,
    loudspeaker_thing,
    microphone_thing,
    mouth_thing,
)


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
    things = _things(stage, view)
    ghost = ghost_of(stage, reckoning.changes[0].stage, view) if reckoning.changes else None
    words = PlanWords(stage, reckoning, view, things, ghost)
    below = caption_words(reckoning.sentence, view) if caption else []
    parts: list[Shape | Thing] = [
        *coverage_shapes(stage, view),
        *room_shapes(stage, view),
        key_words(view, ghost.drawn if ghost else ""),
        *_thin_paths(stage, reckoning, view),
        *things,
        *_limiting_path(stage, reckoning.limiting, view),
        *(ghost.shapes if ghost else ()),
        *words.all(),
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


def draw_svg(stage: Stage, reckoning: Reckoning) -> str:
    """Return the plan as one ``<svg>`` element in the inks of the page it stands in.

    ``reckoning`` is of this very stage.
    """
    return svg_text(plan_picture(stage, reckoning))


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


def _thin_paths(stage: Stage, reckoning: Reckoning, view: View) -> list[Shape]:
    few = len(reckoning.pairs) <= FEW_PATHS
    return [
        Outline(
            path_ends(stage, pair),
            stroke="quiet" if few else "line",
            width_cm=(1.2 if few else 0.8) * view.px,
            part="path",
        )
        for pair in reckoning.pairs
        if not pair.limits
    ]


def _limiting_path(stage: Stage, pair: Pair, view: View) -> list[Shape]:
    """Return the thick arrow into the microphone; a short way has a small head."""
    here, there = path_ends(stage, pair)
    aim, length = aim_from(here, there), math.dist(here, there)
    gap, head = min(5.0 * view.px, 0.15 * length), min(11.0 * view.px, 0.5 * length)
    tip = moved(there, aim, -gap)
    return [
        Outline(
            (here, moved(tip, aim, -0.8 * head)),
            stroke="candle",
            width_cm=4.0 * view.px,
            part="path limits",
        ),
        Outline(arrow_head(tip, aim, head), closed=True, fill="candle", part="limits"),
    ]
