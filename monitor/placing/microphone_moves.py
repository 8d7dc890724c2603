"""Moves of a microphone: mouth nearer, turned, another pattern, muted, moved with its singer."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from monitor.placing.loop import performer_of
from monitor.placing.moves import Move, Scene
from monitor.placing.spots import loudspeaker_fits, microphone_fits
from monitor.placing.stage import Microphone, Pattern

VOCAL_PATTERNS: tuple[Pattern, ...] = ("cardioid", "supercardioid", "hypercardioid")
"""What vocal microphones for the stage are made with (common practice, no source)."""
TURNS_DEG = (15.0, 30.0)
FURTHEST_TURN_DEG = 30.0
"""A singer still sings to the audience."""
TILTS_DEG = (15.0, 30.0)
TILT_SPAN_DEG = (-20.0, 60.0)
FAR_MOUTH_M = 0.06
"""Beyond about two fingers (3 to 5 cm) a mouth can come nearer (common practice, no source)."""
_MOUTH_MIN, _TURNED_MIN, _CARRIED_MIN, _OTHER_MIN, _MUTED_MIN = 0.2, 0.5, 2.0, 5.0, 0.2
"""A word to the singer; a stand turned, and a minute more for each 60 degrees; a singer moved, and
a minute more for each metre and wedge; another microphone found, put up, its gain set; a button."""
_MIN_PER_DEG = 1.0 / 60.0
_MUTED_LASTING = 0.5
"""A microphone that is open on the plan is one that somebody uses now and then: while it is open,
what muting it brings is gone."""


def microphone_moves(scene: Scene) -> Iterator[Move]:
    """Yield every sensible move of the open microphones that matter."""
    for index in scene.microphones:
        one = scene.stage.microphones[index]
        yield from _mouth(scene, index, one)
        yield from _turned(scene, index, one)
        yield from _pattern(scene, index, one)
        yield from _moved(scene, index, one)
    yield from _all_mouths(scene)
    yield from _muted(scene)


def _label(scene: Scene, index: int) -> str:
    """Return the microphone's name in front of what is done, nothing where there is only one."""
    if len(scene.stage.microphones) == 1:
        return ""
    return f"'{scene.stage.microphones[index].name}': "


def _of_one(
    scene: Scene, index: int, kind: str, words: str, minutes: float, new: Microphone
) -> Iterator[Move]:
    if microphone_fits(scene.stage, index, new):
        yield Move(
            family=f"microphone-{index + 1}-{kind}",
            words=_label(scene, index) + words,
            minutes=minutes,
            stage=scene.with_microphones({index: new}),
            microphones=(new.name,),
        )


def _mouth(scene: Scene, index: int, one: Microphone) -> Iterator[Move]:
    lengths = scene.lengths
    for near_m in lengths.mouth_steps_m:
        if one.mouth_m > FAR_MOUTH_M and near_m < one.mouth_m:
            words = f"mouth from {lengths.near_number(one.mouth_m)} to {lengths.near(near_m)}"
            new = replace(one, mouth_m=near_m)
            yield from _of_one(scene, index, "mouth", words, _MOUTH_MIN + one.mouth_m - near_m, new)


def _all_mouths(scene: Scene) -> Iterator[Move]:
    near_m = scene.lengths.mouth_steps_m[-1]
    far = {i: one for i, one in scene.stage.open_microphones() if one.mouth_m > FAR_MOUTH_M}
    if len(far) < 2:
        return
    new = {i: replace(one, mouth_m=near_m) for i, one in far.items()}
    yield Move(
        family="microphones-mouth",
        words=f"every mouth to {scene.lengths.near(near_m)}",
        minutes=_MOUTH_MIN * len(far),
        stage=scene.with_microphones(new),
        microphones=tuple(one.name for one in new.values()),
    )


def _turned(scene: Scene, index: int, one: Microphone) -> Iterator[Move]:
    if one.pattern == "omni":
        return
    for turn_deg in TURNS_DEG:
        # A singer who faces the audience and turns left looks to the right as the audience sees it.
        for side, sign in (("left", 1.0), ("right", -1.0)):
            aim_deg = (one.aim_deg + sign * turn_deg) % 360.0
            if abs(aim_deg - 180.0) > FURTHEST_TURN_DEG:
                continue
            words = f"microphone and singer turned {turn_deg:.0f}° to the singer's {side}"
            new = replace(one, aim_deg=aim_deg)
            minutes = _TURNED_MIN + turn_deg * _MIN_PER_DEG
            yield from _of_one(scene, index, f"turn-{side}", words, minutes, new)
    for by_deg in TILTS_DEG:
        for kind, sign in (("up", 1.0), ("down", -1.0)):
            tilt_deg = one.tilt_deg + sign * by_deg
            if TILT_SPAN_DEG[0] <= tilt_deg <= TILT_SPAN_DEG[1]:
                words = f"microphone tilted {by_deg:.0f}° {kind}"
                new = replace(one, tilt_deg=tilt_deg)
                minutes = _TURNED_MIN + by_deg * _MIN_PER_DEG
                yield from _of_one(scene, index, f"tilt-{kind}", words, minutes, new)


def _pattern(scene: Scene, index: int, one: Microphone) -> Iterator[Move]:
    for pattern in VOCAL_PATTERNS:
        if pattern != one.pattern:
            words = f"a {pattern} microphone in place of the {one.pattern}"
            new = replace(one, pattern=pattern)
            yield from _of_one(scene, index, "pattern", words, _OTHER_MIN, new)


def _moved(scene: Scene, index: int, one: Microphone) -> Iterator[Move]:
    """The singer moves with the microphone, and so do the wedges that are for this singer."""
    stage = scene.stage
    own = [
        i
        for i, speaker in enumerate(stage.loudspeakers)
        if speaker.kind == "wedge" and performer_of(stage, speaker) == index
    ]
    who = "singer, microphone and wedge" if own else "singer and microphone"
    for step_m in scene.lengths.short_steps_m:
        for kind, x, y in (
            ("back", 0.0, -1.0),
            ("left", -1.0, 0.0),
            ("right", 1.0, 0.0),
        ):
            new = replace(one, x_m=one.x_m + x * step_m, y_m=one.y_m + y * step_m)
            wedges = {
                i: replace(
                    stage.loudspeakers[i],
                    x_m=stage.loudspeakers[i].x_m + x * step_m,
                    y_m=stage.loudspeakers[i].y_m + y * step_m,
                )
                for i in own
            }
            if not all(loudspeaker_fits(stage, i, wedge) for i, wedge in wedges.items()):
                continue
            minutes = _CARRIED_MIN + step_m + len(own)
            where = "back" if kind == "back" else f"to the {kind} as the audience sees it"
            for move in _of_one(
                scene, index, kind, f"{who} {scene.lengths.far(step_m)} {where}", minutes, new
            ):
                speakers = tuple(
                    wedges.get(i, speaker) for i, speaker in enumerate(move.stage.loudspeakers)
                )
                yield replace(
                    move,
                    stage=replace(move.stage, loudspeakers=speakers),
                    loudspeakers=tuple(wedge.name for wedge in wedges.values()),
                )


def _muted(scene: Scene) -> Iterator[Move]:
    opened = scene.stage.open_microphones()
    # The first microphone of a plan is the lead: it stays open.
    for index, one in opened[1:]:
        if index in scene.microphones:
            yield Move(
                family=f"microphone-{index + 1}-mute",
                words=f"mute '{one.name}' while nobody uses it",
                minutes=_MUTED_MIN,
                lasting=_MUTED_LASTING,
                stage=scene.with_microphones({index: replace(one, open=False)}),
                microphones=(one.name,),
            )
    if len(opened) > 2:
        closed = {i: replace(one, open=False) for i, one in opened[1:]}
        yield Move(
            family="microphones-mute",
            words=f"mute the {len(closed)} other microphones while nobody uses them",
            minutes=_MUTED_MIN * len(closed),
            lasting=_MUTED_LASTING,
            stage=scene.with_microphones(closed),
            microphones=tuple(one.name for one in closed.values()),
        )
