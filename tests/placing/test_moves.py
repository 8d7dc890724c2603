"""The moves that are tried: where they lead, and that left and right are whose they say."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import pytest

from monitor.placing.lengths import Lengths
from monitor.placing.loop import Reckoner
from monitor.placing.mains_moves import mains_moves
from monitor.placing.microphone_moves import microphone_moves
from monitor.placing.moves import Move, Scene, scene_of
from monitor.placing.spots import loudspeaker_fits, microphone_fits
from monitor.placing.stage import Listener, Loudspeaker, Microphone, Room, Stage
from monitor.placing.wedge_moves import FURTHEST_ROUND_DEG, off_axis_deg, wedge_moves

LEAD = Microphone("lead", 4.0, 2.5, 1.5, "cardioid", 180.0, 0.0, 0.05, True)
STAGE = Stage(
    Room(8.0, 12.0, 3.5, 0.5),
    (LEAD,),
    (
        Loudspeaker("left", "mains", 1.5, 3.5, 1.8, 0.0, 0.0, (90.0, 60.0)),
        Loudspeaker("right", "mains", 6.5, 3.5, 1.8, 0.0, 0.0, (90.0, 60.0)),
        Loudspeaker("wedge", "wedge", 4.9, 3.4, 0.3, 220.0, 40.0, (90.0, 60.0)),
    ),
    Listener(4.0, 11.0, 1.5),
    1.5,
)


def scene(stage: Stage = STAGE) -> Scene:
    reckoner = Reckoner(stage.room)
    return scene_of(stage, reckoner, reckoner.loop(stage))


def moves(maker: Callable[[Scene], object], part: str, stage: Stage = STAGE) -> list[Move]:
    found = [one for one in maker(scene(stage)) if part in one.family]  # type: ignore[attr-defined]
    assert found, f"no move of {part}"
    return found


@pytest.mark.parametrize(("side", "sign"), [("left", 1.0), ("right", -1.0)])
def test_a_singer_turns_to_the_singer_s_own_side(side: str, sign: float) -> None:
    # Facing the audience, a performer's left is the audience's right (trade: stage left), and x
    # grows to the audience's right.
    for move in moves(microphone_moves, f"turn-{side}"):
        looks_x = -move.stage.microphones[0].aim[0]
        assert looks_x * sign > 0.0
        assert f"singer's {side}" in move.words


@pytest.mark.parametrize(("side", "sign"), [("left", 1.0), ("right", -1.0)])
def test_a_wedge_goes_to_the_side_it_says(side: str, sign: float) -> None:
    omni = replace(STAGE, microphones=(replace(LEAD, pattern="omni"),))
    said = [
        m for m in moves(wedge_moves, "round", omni) if f"to the {side} of the singer" in m.words
    ]
    assert said
    assert all((move.stage.loudspeakers[2].x_m - LEAD.x_m) * sign > 0.0 for move in said)


@pytest.mark.parametrize(("side", "sign"), [("left", -1.0), ("right", 1.0)])
def test_single_mains_go_to_the_audience_s_side(side: str, sign: float) -> None:
    one = replace(STAGE, loudspeakers=(replace(STAGE.loudspeakers[0], x_m=3.0, y_m=5.0),))
    for move in moves(mains_moves, f"mains-{side}", one):
        assert (move.stage.loudspeakers[0].x_m - 3.0) * sign > 0.0
        assert f"to the {side} as the audience sees it" in move.words
    for move in moves(mains_moves, f"turn-{side}", one):
        assert move.stage.loudspeakers[0].aim[0] * sign > 0.0


def test_mirrored_mains_go_and_turn_apart() -> None:
    for move in moves(mains_moves, "apart"):
        left, right = move.stage.loudspeakers[:2]
        assert left.x_m < 1.5
        assert right.x_m > 6.5
    for move in moves(mains_moves, "turn-out"):
        left, right = move.stage.loudspeakers[:2]
        assert left.aim[0] < 0.0 < right.aim[0]


def test_unlike_mains_move_together_and_each_alone() -> None:
    one = replace(STAGE.loudspeakers[0], y_m=3.9)
    stage = replace(STAGE, loudspeakers=(one, *STAGE.loudspeakers[1:]))
    families = {move.family for move in mains_moves(scene(stage))}
    assert {"mains-forward", "mains-1-forward", "mains-2-forward"} <= families
    assert "mains-1-forward" not in {move.family for move in mains_moves(scene())}


def test_a_wedge_stays_before_the_singer_and_looks_up_at_the_ears() -> None:
    for move in wedge_moves(scene()):
        wedge, ears = move.stage.loudspeakers[2], LEAD.ears_at_m
        away = math.atan2(wedge.x_m - ears[0], wedge.y_m - ears[1])
        assert abs(math.degrees(away)) <= FURTHEST_ROUND_DEG + 0.1
        line = [(b - a) for a, b in zip(wedge.position_m, ears, strict=True)]
        far = math.dist(wedge.position_m, ears)
        towards = sum(a * b for a, b in zip(line, wedge.aim, strict=True)) / far
        assert towards == pytest.approx(1.0, abs=1e-6)


def test_off_axis_angles() -> None:
    behind = replace(STAGE.loudspeakers[2], x_m=4.0, y_m=4.5, height_m=1.5)
    beside = replace(STAGE.loudspeakers[2], x_m=6.0, y_m=2.5, height_m=1.5)
    assert off_axis_deg(LEAD, behind) == pytest.approx(180.0)
    assert off_axis_deg(LEAD, beside) == pytest.approx(90.0)


def test_a_singer_who_moves_takes_the_wedge_along() -> None:
    for move in moves(microphone_moves, "microphone-1-back"):
        back = LEAD.y_m - move.stage.microphones[0].y_m
        assert back > 0.0
        assert STAGE.loudspeakers[2].y_m - move.stage.loudspeakers[2].y_m == pytest.approx(back)
        assert move.words.startswith("singer, microphone and wedge")


@pytest.mark.parametrize(
    ("moved", "fits"),
    [
        ({"y_m": 4.4}, True),
        ({"y_m": 6.0}, False),  # among the audience
        ({"y_m": 11.9}, False),  # in the wall, past the listener
        ({"y_m": 9.5}, False),  # in the listener's face
        ({"x_m": 0.1}, False),  # in the wall
        ({"x_m": 4.0, "y_m": 2.3}, False),  # in the singer
        ({"x_m": 4.2, "y_m": 4.4}, False),  # hides the singer
        ({"x_m": 6.5}, False),  # in the other loudspeaker
        ({"height_m": 3.4}, False),  # in the ceiling
    ],
)
def test_where_mains_may_stand(moved: dict[str, float], fits: bool) -> None:
    new = replace(STAGE.loudspeakers[0], **moved)  # type: ignore[arg-type]
    assert loudspeaker_fits(STAGE, 0, new) is fits


@pytest.mark.parametrize(
    ("moved", "fits"),
    [
        ({"y_m": 1.5}, True),
        ({"y_m": 0.1}, False),
        ({"x_m": 1.5, "y_m": 3.4}, False),  # in the mains
        ({"y_m": 10.0}, False),  # among the listeners
    ],
)
def test_where_a_singer_may_stand(moved: dict[str, float], fits: bool) -> None:
    assert microphone_fits(STAGE, 0, replace(LEAD, **moved)) is fits  # type: ignore[arg-type]


def test_what_is_already_so_is_no_bar() -> None:
    # A loudspeaker that stands by the wall may be raised there.
    stage = replace(
        STAGE, loudspeakers=(replace(STAGE.loudspeakers[0], x_m=0.1), *STAGE.loudspeakers[1:])
    )
    assert loudspeaker_fits(stage, 0, replace(stage.loudspeakers[0], height_m=2.1))
    assert not loudspeaker_fits(stage, 0, replace(stage.loudspeakers[0], x_m=0.05))


def test_weak_things_are_not_tried() -> None:
    # The strongest wedge far under the mains cannot bring half a decibel.
    far = Loudspeaker("far wedge", "wedge", 4.4, 2.9, 0.3, 200.0, 60.0, (90.0, 60.0))
    behind = Loudspeaker("behind", "mains", 4.0, 0.4, 1.6, 0.0, 0.0, (90.0, 60.0))
    dry = replace(STAGE, room=replace(STAGE.room, t60_s=0.15), loudspeakers=(behind, far))
    assert scene(dry).wedges == ()
    assert scene().wedges == (2,)


def test_words_for_lengths() -> None:
    metres, feet = Lengths("metres"), Lengths("feet")
    assert metres.far(0.5) == "0.5 m"
    assert metres.far(3.0) == "3 m"
    assert feet.far(0.9144) == "3 ft"
    assert metres.near(0.04) == "4 cm"
    assert feet.near(0.0381) == "1.5 in"
    assert [feet.far(step) for step in feet.floor_steps_m] == ["2 ft", "3 ft", "6 ft", "10 ft"]
