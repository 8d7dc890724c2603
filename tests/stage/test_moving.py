"""Moving the stage while it plays: built aside, taken between two blocks, said with a gap."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from monitor.advice.choice import graphic
from monitor.advice.equaliser import Equaliser
from monitor.stage.loop import StageLoop
from monitor.stage.mover import Mover
from monitor.stage.scenario import PRACTICE_ROOMS, ROOMS
from monitor.stage.seat import Seat
from monitor.stage.sound import SoundDoor
from monitor.stage.source import BLOCK_SAMPLES, StageMicrophone
from tests.waiting import awaited

CELLAR, HERON = list(PRACTICE_ROOMS.values())[:2]
TWO = Equaliser("two bands", graphic([("low", 250.0), ("500", 500.0)]))


def loop_in(name: str) -> StageLoop:
    return StageLoop(room=ROOMS[name], programme="talk", equaliser=TWO)


@pytest.fixture
def stage(tmp_path: Path) -> Iterator[StageMicrophone]:
    source = StageMicrophone(
        loop=loop_in(CELLAR.name), programme="talk", sound=SoundDoor(tmp_path / "sound.sock")
    )
    yield source
    source.close()


def read_until_moved(stage: StageMicrophone) -> list[Any]:
    """Return the blocks read until the stage stands where it was told to, and five more."""
    blocks, left, until_mono_s = [], 5, time.monotonic() + 30.0
    while left > 0:
        assert time.monotonic() < until_mono_s, "the stage did not move"
        block = stage.read(10.0)
        assert block is not None
        blocks.append(block)
        left -= "moving" not in stage.state() or stage.state()["moving"] is None
    return blocks


@pytest.mark.realtime
def test_a_placement_is_tried_without_a_hole_in_time(stage: StageMicrophone) -> None:
    assert stage.read(10.0) is not None  # the first block begins with a gap of its own
    stage.control({"slider": 1, "cut_db": -6})
    state = stage.control({"placement": "well forward"})
    assert state["moving"] == f"{CELLAR.name}, well forward"
    assert "carried" in state["advice"]
    assert state["placement"] == "too near"
    blocks = read_until_moved(stage)
    for _ in range(200):  # what was queued before the move is read first
        if sum(block.gap for block in blocks) > 0:
            break
        blocks.append(stage.read(10.0))
    assert sum(block.gap for block in blocks) == 1
    captured = np.diff([block.captured_mono_s for block in blocks])
    assert captured == pytest.approx(BLOCK_SAMPLES / 48000, abs=1e-6)
    assert stage.status().dropped_block_count == 0
    state = stage.state()
    assert state["placement"] == "well forward"
    assert state["moving"] is None
    assert [s["cut_db"] for s in state["sliders"]] == [0.0, -6.0]
    limits = {one["name"]: one["limit_db"] for one in state["placements"]}
    assert limits["too near"] == 0.0
    assert limits["well forward"] > 1.0
    assert limits["behind"] is None, "what was not tried is not told"
    # The fader's scale is the room's: at the new limit it stands above the old one.
    stage.control({"fader_db": limits["well forward"] - 1.0})
    assert stage._margin_db > 0.0


@pytest.mark.realtime
def test_another_room_begins_flat_and_as_it_was_found(stage: StageMicrophone) -> None:
    stage.control({"slider": 1, "cut_db": -6})
    stage.control({"fader_db": 3.0})
    stage.control({"room": HERON.name})
    read_until_moved(stage)
    state = stage.state()
    assert (state["room"], state["placement"]) == (HERON.name, "straight ahead")
    assert state["description"] == HERON.description
    assert [s["cut_db"] for s in state["sliders"]] == [0.0, 0.0]
    assert state["fader_db"] < 0.0
    assert state["rooms"] == list(PRACTICE_ROOMS)
    stage.control({"room": CELLAR.name})
    stage.control({"placement": "behind"})  # of the room it is on its way to
    read_until_moved(stage)
    assert (stage.state()["room"], stage.state()["placement"]) == (CELLAR.name, "behind")


@pytest.mark.realtime
def test_whoever_listens_hears_the_stage(stage: StageMicrophone, tmp_path: Path) -> None:
    assert stage.state()["sound"] is True
    with socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET) as ear:
        ear.settimeout(20.0)
        ear.connect(str(tmp_path / "sound.sock"))
        heard = [len(ear.recv(65536)) for _ in range(20)]
    assert heard == [2 * BLOCK_SAMPLES] * 20
    stage.close()
    assert not (tmp_path / "sound.sock").exists()


class Builder:
    """Builds nothing until it is let; notes what was asked for."""

    def __init__(self) -> None:
        self.asked: list[tuple[str, dict[str, Any]]] = []
        self.go = threading.Event()
        self.fails = False

    def __call__(self, room: Any, placement: Any, **how: Any) -> Seat:
        self.asked.append((placement.name, how))
        assert self.go.wait(20.0)
        if self.fails:
            raise ValueError("a wall is in the way")
        return Seat(loop=PRESENT.loop, room=room, placement=placement)


PRESENT = Seat(loop_in(CELLAR.name), CELLAR, CELLAR.placements[0], first_gain_db=-6.3)


def mover(builder: Builder) -> Mover:
    return Mover(
        sample_rate_hz=48000,
        equaliser=TWO,
        programme="talk",
        seed=1,
        present=lambda: PRESENT,
        take=builder,
    )


def test_the_newest_wish_counts() -> None:
    builder = Builder()
    moves = mover(builder)
    moves.move(CELLAR, CELLAR.placements[1])
    awaited(lambda: builder.asked, 10.0)
    moves.move(HERON, HERON.placements[0])
    assert moves.ready() is None
    builder.go.set()
    seats: list[Seat] = []

    def arrived() -> bool:
        seat = moves.ready()
        if seat is not None:
            seats.append(seat)
        return bool(seats)

    awaited(arrived, 10.0)
    assert [name for name, _ in builder.asked] == ["well forward", "straight ahead"]
    assert seats[0].room is HERON
    assert moves.moving_to is None
    # Within the room its scale and the sliders go along; elsewhere both begin anew.
    within, elsewhere = (how for _, how in builder.asked)
    assert (within["first_gain_db"], within["cuts_db"]) == (-6.3, (0.0, 0.0))
    assert (elsewhere["first_gain_db"], elsewhere["cuts_db"]) == (None, None)


def test_what_cannot_be_built_is_said_and_forgotten_with_the_next_wish() -> None:
    builder = Builder()
    builder.fails = True
    builder.go.set()
    moves = mover(builder)
    moves.move(CELLAR, CELLAR.placements[1])
    awaited(lambda: moves.problem, 10.0)
    assert "well forward cannot be built: a wall is in the way" in moves.problem
    assert moves.moving_to is None
    builder.fails = False
    moves.move(CELLAR, CELLAR.placements[1])
    assert moves.problem == ""
    awaited(lambda: moves.ready() is not None, 10.0)
