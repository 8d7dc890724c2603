"""Moves of a wedge: round the performer, nearer, further off, turned to face them.

A wedge always ends up looking at the ears of the performer it is for; nearer, it is turned down.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from monitor.placing.directivity import deafest_deg
from monitor.placing.loop import performer_of
from monitor.placing.moves import Move, Scene, faced
from monitor.placing.spots import loudspeaker_fits
from monitor.placing.stage import Loudspeaker, Microphone, facing

ROUND_STEP_DEG = 15
FURTHEST_ROUND_DEG = 105
"""How far round from where the performer looks a wedge may stand: it has to be seen past the feet,
and behind the ears it is no help (common practice, no source)."""
NEAREST_M, FURTHEST_M = 0.7, 3.0
"""From a performer's ears across the floor: the feet need room, and further off it plays to others
(common practice, no source)."""
DEAF_WITHIN_DEG = 25.0
_TURNED_MIN, _CARRIED_MIN = 0.3, 1.0
"""Turned on the spot; or carried with its cable, and a minute more for each metre or 60 degrees."""
_MIN_PER_DEG = 1.0 / 60.0


def wedge_moves(scene: Scene) -> Iterator[Move]:
    """Yield every sensible move of the wedges that matter."""
    for index in scene.wedges:
        wedge = scene.stage.loudspeakers[index]
        performer = scene.stage.microphones[performer_of(scene.stage, wedge)]
        yield from _fitting(
            scene, index, "face", "turned to face the singer", _TURNED_MIN, performer, wedge
        )
        yield from _round(scene, index, wedge, performer)
        yield from _nearer(scene, index, wedge, performer)


def _fitting(
    scene: Scene,
    index: int,
    kind: str,
    words: str,
    minutes: float,
    performer: Microphone,
    new: Loudspeaker,
) -> Iterator[Move]:
    new = faced(new, performer.ears_at_m)
    if not loudspeaker_fits(scene.stage, index, new):
        return
    wedges = sum(one.kind == "wedge" for one in scene.stage.loudspeakers)
    label = "wedge" if wedges == 1 else f"'{new.name}'"
    yield Move(
        family=f"wedge-{index + 1}-{kind}",
        words=f"{label} {words}",
        minutes=minutes,
        stage=scene.with_loudspeakers({index: new}),
        loudspeakers=(new.name,),
    )


def _round(scene: Scene, index: int, wedge: Loudspeaker, performer: Microphone) -> Iterator[Move]:
    x, y, _ = performer.ears_at_m
    away_m = math.hypot(wedge.x_m - x, wedge.y_m - y)
    now_deg = math.degrees(math.atan2(wedge.x_m - x, wedge.y_m - y))
    away_m = min(max(away_m, NEAREST_M), FURTHEST_M)
    ahead_deg = performer.aim_deg + 180.0
    for by_deg in range(-FURTHEST_ROUND_DEG, FURTHEST_ROUND_DEG + 1, ROUND_STEP_DEG):
        at_deg = ahead_deg + by_deg
        turn_deg = (at_deg - now_deg + 180.0) % 360.0 - 180.0
        if abs(turn_deg) < ROUND_STEP_DEG / 2.0:
            continue
        new = replace(
            wedge,
            x_m=x + away_m * math.sin(math.radians(at_deg)),
            y_m=y + away_m * math.cos(math.radians(at_deg)),
        )
        minutes = _CARRIED_MIN + abs(turn_deg) * _MIN_PER_DEG
        words = _where(new, wedge, performer)
        yield from _fitting(scene, index, "round", words, minutes, performer, new)


def _where(new: Loudspeaker, old: Loudspeaker, performer: Microphone) -> str:
    deaf = deafest_deg(performer.pattern)
    off, before = (abs(off_axis_deg(performer, one) - deaf) for one in (new, old))
    if performer.pattern != "omni" and off < min(DEAF_WITHIN_DEG, before):
        return "round to the microphone's deaf side"
    # What the performer calls left: the performer faces the other way from the audience's view.
    ahead = math.radians(performer.aim_deg + 180.0)
    x, y, _ = performer.ears_at_m
    right = (new.x_m - x) * math.cos(ahead) - (new.y_m - y) * math.sin(ahead)
    front = (new.x_m - x) * math.sin(ahead) + (new.y_m - y) * math.cos(ahead)
    if abs(right) < 0.3 * abs(front):
        return "round to straight in front of the singer"
    # Facing the audience, the singer's left is to the right as the audience sees it.
    side = "left" if right > 0.0 else "right"
    return f"round to the {side} of the singer as the singer sees it"


def off_axis_deg(microphone: Microphone, loudspeaker: Loudspeaker) -> float:
    """Return the angle between a microphone's aim and the line to a loudspeaker."""
    x, y, z = (b - a for a, b in zip(microphone.position_m, loudspeaker.position_m, strict=True))
    aim = microphone.aim
    length = math.sqrt(x * x + y * y + z * z)
    cosine = (x * aim[0] + y * aim[1] + z * aim[2]) / length
    return math.degrees(math.acos(max(-1.0, min(1.0, cosine))))


def _nearer(scene: Scene, index: int, wedge: Loudspeaker, performer: Microphone) -> Iterator[Move]:
    x, y, _ = performer.ears_at_m
    away_m = math.hypot(wedge.x_m - x, wedge.y_m - y)
    if away_m < 1e-6:
        return
    turn = math.radians(facing((x, y, 0.0), (wedge.x_m, wedge.y_m, 0.0))[0])
    for step_m in scene.lengths.short_steps_m:
        for kind, sign, rest in (("nearer", -1.0, " and turned down"), ("further", 1.0, " off")):
            new_m = away_m + sign * step_m
            if not NEAREST_M <= new_m <= FURTHEST_M:
                continue
            new = replace(wedge, x_m=x + new_m * math.sin(turn), y_m=y + new_m * math.cos(turn))
            words = f"{scene.lengths.far(step_m)} {kind}{rest}"
            yield from _fitting(scene, index, kind, words, _CARRIED_MIN + step_m, performer, new)
