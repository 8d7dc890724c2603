"""Moves of the mains: forward, apart, up, turned; a mirrored pair moves together."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from monitor.placing.moves import Move, Scene, faced
from monitor.placing.spots import loudspeaker_fits
from monitor.placing.stage import Loudspeaker, Stage

HIGHEST_STAND_M = 2.5
"""A usual stand goes no higher (common practice, no source)."""
TURNS_DEG = (15.0, 30.0, 45.0)
MIRRORED_M = 0.3
"""Two mains this alike in depth and height are a pair."""
_CARRIED_MIN, _TURNED_MIN = 2.0, 0.5
"""For each cabinet, and a minute more for each metre, or for each 30 degrees."""
_MIN_PER_DEG = 1.0 / 30.0
Change = Callable[[Loudspeaker, float], Loudspeaker]
"""From one of the mains and its way out to how it stands then."""


@dataclass(frozen=True, slots=True)
class Group:
    """Mains that are moved together; ``outward`` is each one's way out, -1 left or +1 right."""

    members: tuple[int, ...]
    label: str
    key: str
    outward: tuple[float, ...]


def mains_moves(scene: Scene) -> Iterator[Move]:
    """Yield every sensible move of the mains."""
    for group in _groups(scene.stage):
        yield from _forward_and_back(scene, group)
        yield from _sideways(scene, group)
        yield from _up(scene, group)
        yield from _turned(scene, group)


def _groups(stage: Stage) -> list[Group]:
    mains = [i for i, one in enumerate(stage.loudspeakers) if one.kind == "mains"]
    if not mains:
        return []
    if len(mains) == 1:
        return [Group((mains[0],), "mains", "mains", (0.0,))]
    middle = sum(stage.loudspeakers[i].x_m for i in mains) / len(mains)
    outward = tuple(1.0 if stage.loudspeakers[i].x_m > middle else -1.0 for i in mains)
    count = "both" if len(mains) == 2 else "all"
    together = [Group(tuple(mains), f"{count} mains", "mains", outward)]
    if len(mains) == 2 and _mirrored(*(stage.loudspeakers[i] for i in mains)):
        return together
    alone = [
        Group((i,), f"'{stage.loudspeakers[i].name}'", f"mains-{i + 1}", (0.0,)) for i in mains
    ]
    return together + alone


def _mirrored(one: Loudspeaker, other: Loudspeaker) -> bool:
    return (
        abs(one.y_m - other.y_m) <= MIRRORED_M and abs(one.height_m - other.height_m) <= MIRRORED_M
    )


def _shifted(
    *, x_m: float = 0.0, y_m: float = 0.0, up_m: float = 0.0, out_m: float = 0.0
) -> Change:
    """Return the change that shifts one of the mains; ``out_m`` goes each one's own way out."""
    return lambda one, side: replace(
        one,
        x_m=one.x_m + x_m + side * out_m,
        y_m=one.y_m + y_m,
        height_m=one.height_m + up_m,
    )


def _turned_by(*, right_deg: float = 0.0, out_deg: float = 0.0) -> Change:
    """Return the change that turns one of the mains to the right, or each its own way out."""
    return lambda one, side: replace(
        one, aim_deg=(one.aim_deg + right_deg + side * out_deg) % 360.0
    )


def _moved(
    scene: Scene, group: Group, kind: str, words: str, minutes: float, change: Change
) -> Iterator[Move]:
    """Yield the move if every member fits where ``change`` puts it; ``minutes`` each."""
    stage = scene.stage
    moved = {
        i: change(stage.loudspeakers[i], side)
        for i, side in zip(group.members, group.outward, strict=True)
    }
    if all(loudspeaker_fits(stage, i, new) for i, new in moved.items()):
        yield Move(
            family=f"{group.key}-{kind}",
            words=f"{group.label} {words}",
            minutes=minutes * len(moved),
            stage=scene.with_loudspeakers(moved),
            loudspeakers=tuple(one.name for one in moved.values()),
        )


def _forward_and_back(scene: Scene, group: Group) -> Iterator[Move]:
    for step_m in scene.lengths.floor_steps_m:
        minutes = _CARRIED_MIN + step_m
        for kind, sign in (("forward", 1.0), ("back", -1.0)):
            words = f"{scene.lengths.far(step_m)} {kind}"
            yield from _moved(scene, group, kind, words, minutes, _shifted(y_m=sign * step_m))


def _sideways(scene: Scene, group: Group) -> Iterator[Move]:
    for step_m in scene.lengths.floor_steps_m:
        far, minutes = scene.lengths.far(step_m), _CARRIED_MIN + step_m
        if len(group.members) > 1:
            change = _shifted(out_m=step_m)
            yield from _moved(scene, group, "apart", f"{far} further out", minutes, change)
            continue
        for kind, sign in (("left", -1.0), ("right", 1.0)):
            words = f"{far} to the {kind} as the audience sees it"
            yield from _moved(scene, group, kind, words, minutes, _shifted(x_m=sign * step_m))


def _up(scene: Scene, group: Group) -> Iterator[Move]:
    for step_m in scene.lengths.up_steps_m:
        highest_m = max(scene.stage.loudspeakers[i].height_m for i in group.members) + step_m
        if highest_m <= HIGHEST_STAND_M:
            words, minutes = f"{scene.lengths.far(step_m)} higher", _CARRIED_MIN + step_m
            yield from _moved(scene, group, "up", words, minutes, _shifted(up_m=step_m))


def _turned(scene: Scene, group: Group) -> Iterator[Move]:
    for turn_deg in TURNS_DEG:
        minutes = _TURNED_MIN + turn_deg * _MIN_PER_DEG
        if len(group.members) > 1:
            for kind, sign in (("out", 1.0), ("in", -1.0)):
                words = f"turned {turn_deg:.0f}° {kind}wards"
                change = _turned_by(out_deg=sign * turn_deg)
                yield from _moved(scene, group, f"turn-{kind}", words, minutes, change)
            continue
        for kind, sign in (("left", -1.0), ("right", 1.0)):
            words = f"turned {turn_deg:.0f}° to the {kind} as the audience sees it"
            change = _turned_by(right_deg=sign * turn_deg)
            yield from _moved(scene, group, f"turn-{kind}", words, minutes, change)
    listener = scene.stage.listener.position_m
    yield from _moved(
        scene,
        group,
        "face",
        "turned to face the farthest listener",
        1.0,
        lambda one, _: faced(one, listener),
    )
