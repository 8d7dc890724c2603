"""What stands on a stage plan: each thing's drawing from above and the words for who cannot see it.

To scale are the places, the angles, the loudspeakers' cabinets and the heads; where that would be
too small to see on a phone, a thing is drawn larger and only its place is true.
"""

from __future__ import annotations

import math

from monitor.placing.directivity import OMNI_PART, pattern_amplitude
from monitor.placing.ground import View, length_words
from monitor.placing.outlines import (
    CABINET_CM,
    WEDGE_CM,
    Points,
    arrow_head,
    between,
    cabinet,
    moved,
    polar,
    wedge,
)
from monitor.placing.shapes import Disc, Ink, Outline, Point, Shape, Thing
from monitor.placing.stage import Loudspeaker, Microphone, Stage, Units

HOLD_PX = 23.0
"""A finger needs 44 dots across (WCAG 2.2, 2.5.5)."""
POLAR_PX = 25.0
"""How far the pattern's outline reaches where the microphone hears best: no length in the room."""
_NULL_PX = (7.0, 31.0)
_HEAD_CM = 9.0
"""Half a head's width: common practice, no source."""
_LEAST_HEAD_PX = 6.0
_GRILLE_PX = 3.4
_LEAST_CABINET_PX = 18.0


def spot(thing: Microphone | Loudspeaker) -> Point:
    """Return a thing's place in centimetres."""
    return 100.0 * thing.x_m, 100.0 * thing.y_m


def heard(microphone: Microphone, angle_deg: float) -> float:
    """Return the pattern's amplitude towards a level direction ``angle_deg`` from its aim.

    What the microphone is tilted turns its axis away from everything level.
    """
    level = math.cos(math.radians(angle_deg)) * math.cos(math.radians(microphone.tilt_deg))
    return pattern_amplitude(microphone.pattern, math.degrees(math.acos(level)))


def deaf_angles(microphone: Microphone) -> tuple[float, ...]:
    """Return the level angles from its aim, in degrees, where it hears least; none for an omni."""
    omni = OMNI_PART[microphone.pattern]
    level = (1.0 - omni) * math.cos(math.radians(microphone.tilt_deg))
    if level < 1e-6:
        return ()
    if omni / level >= 1.0:
        return (180.0,)
    angle = math.degrees(math.acos(-omni / level))
    return (angle, -angle)


def head_at(microphone: Microphone, view: View) -> tuple[Point, float]:
    """Return the performer's head: its middle and radius; the nose looks at the microphone."""
    radius = max(_HEAD_CM, _LEAST_HEAD_PX * view.px)
    level_cm = 100.0 * microphone.mouth_m * math.cos(math.radians(microphone.tilt_deg))
    away = max(level_cm, (_GRILLE_PX + 1.5) * view.px) + radius
    return moved(spot(microphone), microphone.aim_deg, away), radius


def _place_words(x_m: float, y_m: float, height_m: float, units: Units) -> str:
    return (
        f"{length_words(x_m, units)} from the left, {length_words(y_m, units)} from the back wall, "
        f"{length_words(height_m, units)} high"
    )


def _aim_words(aim_deg: float) -> str:
    sides = ("to the audience", "to the right", "to the back wall", "to the left")
    off = (aim_deg + 45.0) % 90.0 - 45.0
    side = sides[round(aim_deg / 90.0) % 4]
    return side if abs(off) < 3.0 else f"at {aim_deg:.0f} degrees, about {side}"


# --- each thing ---------------------------------------------------------------------------------


def microphone_thing(stage: Stage, index: int, view: View) -> Thing:
    """Return a microphone: grille, handle, pattern, and dotted rays where it is deaf."""
    one = stage.microphones[index]
    ink: Ink = "paper" if one.open else "quiet"
    units = stage.units
    words = (
        f"microphone {one.name}, {one.pattern}, {'open' if one.open else 'muted'}, "
        f"{_place_words(one.x_m, one.y_m, one.height_m, units)}, aims {_aim_words(one.aim_deg)}"
    )
    at, px = spot(one), view.px
    shapes: list[Shape] = [pattern_outline(one, view, ink="quiet")]
    shapes += [_deaf_ray(at, one.aim_deg + angle, view) for angle in deaf_angles(one)]
    handle = (at, moved(at, one.aim_deg, -11.0 * px))
    shapes.append(Outline(handle, stroke=ink, width_cm=2.6 * px))
    shapes.append(
        Disc(at, _GRILLE_PX * px, stroke=ink, width_cm=1.6 * px, fill=ink if one.open else "ground")
    )
    if not one.open:
        shapes.append(_strike(at, px))
    return Thing("microphone", index, words, at, HOLD_PX * px, at, tuple(shapes))


def pattern_outline(
    microphone: Microphone, view: View, *, ink: Ink, dashed: bool = False
) -> Outline:
    """Return a microphone's pattern as an outline round it; dashed, as a change would have it."""
    px = view.px
    radius = POLAR_PX * view.crowd * px
    points = polar(spot(microphone), microphone.aim_deg, radius, lambda deg: heard(microphone, deg))
    return Outline(
        points,
        closed=True,
        stroke=ink,
        width_cm=(1.8 if dashed else 1.2) * px,
        fill=None if dashed else ink,
        strength=0.16,
        dash_cm=(4.0 * px, 3.0 * px) if dashed else None,
        part="ghost" if dashed else "pattern",
    )


def _deaf_ray(at: Point, aim_deg: float, view: View) -> Outline:
    px = view.px
    ends = tuple(moved(at, aim_deg, reach * view.crowd * px) for reach in _NULL_PX)
    return Outline(
        ends, stroke="paper", width_cm=1.8 * px, dash_cm=(1.8 * px, 2.6 * px), part="deaf"
    )


def _strike(at: Point, px: float) -> Outline:
    ends = ((at[0] - 8.0 * px, at[1] + 8.0 * px), (at[0] + 8.0 * px, at[1] - 8.0 * px))
    return Outline(ends, stroke="paper", width_cm=1.8 * px, part="muted")


def mouth_thing(stage: Stage, index: int, view: View) -> Thing:
    """Return a performer's head whose nose looks at the microphone.

    A finger takes hold of it on the side away from the microphone, which has the first right to
    where both are.
    """
    one = stage.microphones[index]
    (middle, radius), px = head_at(one, view), view.px
    said = length_words if one.mouth_m >= 0.995 else _near_words
    words = f"mouth at {one.name}, {said(one.mouth_m, stage.units)} from it"
    nose = arrow_head(
        moved(middle, one.aim_deg + 180.0, radius + 3.0 * px), one.aim_deg + 180.0, 5.0 * px
    )
    hold = moved(middle, one.aim_deg, max(0.0, 26.0 * px - math.dist(middle, spot(one))))
    return Thing(
        "mouth",
        index,
        words,
        hold,
        HOLD_PX * px,
        middle,
        (Outline(nose, closed=True, fill="quiet"), Disc(middle, radius, fill="quiet")),
    )


def _near_words(metres: float, units: Units) -> str:
    return f"{100.0 * metres:.0f} cm" if units == "metres" else f"{metres / 0.0254:.0f} inches"


def loudspeaker_thing(stage: Stage, index: int, view: View) -> Thing:
    """Return a loudspeaker: its cabinet with a heavy front; a wedge has a line across its slope."""
    one = stage.loudspeakers[index]
    words = (
        f"loudspeaker {one.name}, {one.kind}, "
        f"{_place_words(one.x_m, one.y_m, one.height_m, stage.units)}, "
        f"aims {_aim_words(one.aim_deg)}, covers {one.coverage_deg[0]:.0f} degrees"
    )
    at, px = spot(one), view.px
    body = cabinet_outline(one, view)
    shapes: list[Shape] = [
        Outline(body, closed=True, stroke="paper", width_cm=1.4 * px, fill="line"),
        Outline(body[:2], stroke="paper", width_cm=4.0 * px, part="front"),
    ]
    if one.kind == "wedge":
        slope = (between(body[1], body[2], 0.5), between(body[0], body[3], 0.5))
        shapes.append(Outline(slope, stroke="paper", width_cm=1.4 * px))
    middle = moved(at, one.aim_deg, -math.dist(body[1], body[2]) / 2.0)
    return Thing("loudspeaker", index, words, middle, HOLD_PX * px, middle, tuple(shapes))


def cabinet_outline(loudspeaker: Loudspeaker, view: View) -> Points:
    """Return a loudspeaker's cabinet, to scale unless that is too small to see."""
    outline, side_cm = (
        (wedge, WEDGE_CM[1]) if loudspeaker.kind == "wedge" else (cabinet, CABINET_CM[1])
    )
    scale = max(1.0, _LEAST_CABINET_PX * view.px / side_cm)
    return outline(spot(loudspeaker), loudspeaker.aim_deg, scale)


def listener_thing(stage: Stage, view: View) -> Thing:
    """Return the farthest listener: a head with two ears."""
    one, px = stage.listener, view.px
    at = (100.0 * one.x_m, 100.0 * one.y_m)
    radius = max(_HEAD_CM, _LEAST_HEAD_PX * px)
    ears: list[Shape] = [
        Disc((at[0] + side * radius, at[1]), 2.6 * px, fill="paper") for side in (-1.0, 1.0)
    ]
    return Thing(
        "listener",
        0,
        f"farthest listener, {_place_words(one.x_m, one.y_m, one.height_m, stage.units)}",
        at,
        HOLD_PX * px,
        at,
        (*ears, Disc(at, radius, stroke="paper", width_cm=1.6 * px, fill="ground")),
    )
