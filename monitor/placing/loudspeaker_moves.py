"""Moves of the mains: forward, apart, up, turned; a mirrored pair moves together."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from monitor.placing.moves import Move, Scene
from monitor.placing.spots import loudspeaker_fits
from monitor.placing.stage import Loudspeaker, Stage, facing

HIGHEST_STAND_M = 2.5
"""A usual stand goes no higher (common practice, no source)."""
TURNS_DEG = (15.0, 30.0, 45.0)
MIRRORED_M = 0.3
"""Two mains this alike in depth and height are a pair."""
METRES_PER_TURN = 1.0 / 30.0
"""Effort: 30 degrees of turning are as much trouble as a metre."""


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


def _moved(
    scene: Scene,
    group: Group,
    kind: str,
    words: str,
    effort: float,
    change: Callable[[Loudspeaker, float], Loudspeaker],
) -> Iterator[Move]:
    """Yield the move if every member of the group fits where ``change`` puts it."""
    stage = scene.stage
    moved = {
        i: change(stage.loudspeakers[i], side)
        for i, side in zip(group.members, group.outward, strict=True)
    }
    if all(loudspeaker_fits(stage, i, new) for i, new in moved.items()):
        yield Move(
            family=f"{group.key}-{kind}",
            words=f"{group.label} {words}",
            effort=effort,
            stage=scene.with_loudspeakers(moved),
            loudspeakers=tuple(one.name for one in moved.values()),
        )


def _forward_and_back(scene: Scene, group: Group) -> Iterator[Move]:
    for step_m in scene.lengths.floor_steps_m:
        for kind, sign in (("forward", 1.0), ("back", -1.0)):
            yield from _moved(
                scene,
                group,
                kind,
                f"{scene.lengths.far(step_m)} {kind}",
                step_m,
                lambda one, _, by=sign * step_m: replace(one, y_m=one.y_m + by),
            )


def _sideways(scene: Scene, group: Group) -> Iterator[Move]:
    for step_m in scene.lengths.floor_steps_m:
        far = scene.lengths.far(step_m)
        if len(group.members) > 1:
            yield from _moved(
                scene,
                group,
                "apart",
                f"{far} further out",
                step_m,
                lambda one, side, by=step_m: replace(one, x_m=one.x_m + side * by),
            )
            continue
        for kind, sign in (("left", -1.0), ("right", 1.0)):
            yield from _moved(
                scene,
                group,
                kind,
                f"{far} to the {kind} as the audience sees it",
                step_m,
                lambda one, _, by=sign * step_m: replace(one, x_m=one.x_m + by),
            )


def _up(scene: Scene, group: Group) -> Iterator[Move]:
    for step_m in scene.lengths.up_steps_m:
        highest = max(scene.stage.loudspeakers[i].height_m for i in group.members) + step_m
        if highest <= HIGHEST_STAND_M:
            yield from _moved(
                scene,
                group,
                "up",
                f"{scene.lengths.far(step_m)} higher",
                step_m,
                lambda one, _, by=step_m: replace(one, height_m=one.height_m + by),
            )


def _turned(scene: Scene, group: Group) -> Iterator[Move]:
    for turn_deg in TURNS_DEG:
        effort = turn_deg * METRES_PER_TURN
        if len(group.members) > 1:
            for kind, sign in (("out", 1.0), ("in", -1.0)):
                yield from _moved(
                    scene,
                    group,
                    f"turn-{kind}",
                    f"turned {turn_deg:.0f}° {kind}wards",
                    effort,
                    lambda one, side, by=sign * turn_deg: turned(one, side * by),
                )
            continue
        for kind, sign in (("left", -1.0), ("right", 1.0)):
            yield from _moved(
                scene,
                group,
                f"turn-{kind}",
                f"turned {turn_deg:.0f}° to the {kind} as the audience sees it",
                effort,
                lambda one, _, by=sign * turn_deg: turned(one, by),
            )
    listener = scene.stage.listener.position_m
    yield from _moved(
        scene,
        group,
        "face",
        "turned to face the farthest listener",
        1.0,
        lambda one, _: faced(one, listener),
    )


def turned(one: Loudspeaker, by_deg: float) -> Loudspeaker:
    """Return the loudspeaker turned by degrees, from the audience (0) towards +x (90)."""
    return replace(one, aim_deg=(one.aim_deg + by_deg) % 360.0)


def faced(one: Loudspeaker, place: tuple[float, float, float]) -> Loudspeaker:
    """Return the loudspeaker looking at a place."""
    aim_deg, tilt_deg = facing(one.position_m, place)
    return replace(one, aim_deg=aim_deg, tilt_deg=tilt_deg)
