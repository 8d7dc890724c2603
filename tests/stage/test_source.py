"""The stage as a microphone: paced like one, handled like a desk, silent about the answer."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import closing

import numpy as np
import pytest

from monitor.advice.choice import EqualiserChoice, graphic
from monitor.advice.equaliser import Equaliser
from monitor.advice.sliders import LOW_CUT, LOW_CUT_DB
from monitor.stage import source
from monitor.stage.loop import FADER_MAX_DB, StageLoop
from monitor.stage.scenario import DEFAULT_ROOM
from monitor.stage.seat import seat_of
from monitor.stage.source import BLOCK_SAMPLES, LATE_S, QUEUED_BLOCKS, StageMicrophone
from monitor.stage.telling import stage_fields
from tests.waiting import awaited


def small_stage() -> StageMicrophone:
    two = Equaliser("two bands", graphic([("low", 250.0), ("500", 500.0)]))
    return StageMicrophone(loop=StageLoop(room=DEFAULT_ROOM, programme="talk", equaliser=two))


@pytest.fixture
def stage() -> Iterator[StageMicrophone]:
    made = small_stage()
    yield made
    made.close()


@pytest.fixture(scope="module")
def shared_stage() -> Iterator[StageMicrophone]:
    """One for all commands that must change nothing."""
    made = small_stage()
    yield made
    made.close()


@pytest.fixture
def _unhurried(monkeypatch: pytest.MonkeyPatch) -> None:
    """However long the machine stands still, the stage makes up for it and has no gap."""
    monkeypatch.setattr(source, "LATE_S", 60.0)


@pytest.mark.realtime
@pytest.mark.usefixtures("_unhurried")
def test_blocks_come_in_real_time(stage: StageMicrophone) -> None:
    first = stage.read(10.0)
    assert first is not None
    assert first.gap
    start_mono_s, samples, captured = time.monotonic(), 0, [first.captured_mono_s]
    while samples < 48000:
        block = stage.read(10.0)
        assert block is not None
        assert not block.gap
        assert block.samples.dtype == np.float32
        assert len(block.samples) == BLOCK_SAMPLES
        samples += len(block.samples)
        captured.append(block.captured_mono_s)
    took_s = time.monotonic() - start_mono_s
    assert 0.8 < took_s < 2.5  # never faster than sound; slower only on a very busy machine
    assert np.diff(captured) == pytest.approx(BLOCK_SAMPLES / 48000, abs=1e-6)


def test_nothing_comes_within_no_time_and_after_the_end(stage: StageMicrophone) -> None:
    assert stage.status().state == "hearing"
    assert "simulated" in stage.status().detail
    stage.close()
    stage.close()
    while stage.read(0.0) is not None:
        pass
    assert stage.read(0.01) is None
    assert stage.status().state == "lost"


@pytest.mark.usefixtures("_unhurried")
def test_a_reader_that_sleeps_loses_blocks_and_is_told(stage: StageMicrophone) -> None:
    awaited(lambda: stage.status().dropped_block_count > 0, 30.0)
    gaps = 0
    for _ in range(QUEUED_BLOCKS + 5):
        block = stage.read(10.0)
        assert block is not None
        gaps += block.gap
    assert gaps == 2  # the very first, and the one after the loss


def test_a_stage_that_stalls_goes_on_with_a_gap_that_is_counted(
    stage: StageMicrophone, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = stage.read(10.0)
    assert first is not None
    before = stage.status().overrun_count
    works = StageLoop.process
    held: list[int] = []

    def holds_once(loop: StageLoop, n_samples: int) -> np.ndarray:
        if not held:
            held.append(n_samples)
            time.sleep(LATE_S + 0.5)
        return works(loop, n_samples)

    monkeypatch.setattr(StageLoop, "process", holds_once)
    awaited(lambda: stage.status().overrun_count > before, 10.0)
    for _ in range(2 * QUEUED_BLOCKS):
        block = stage.read(10.0)
        assert block is not None
        if block.gap:
            break
    assert block.gap
    assert stage.status().dropped_block_count == 0


def test_the_handles(stage: StageMicrophone) -> None:
    state = stage.control({"fader_db": 2.0})
    assert state["fader_db"] == 2.0
    state = stage.control({"slider": 1, "cut_db": -6})
    assert state["sliders"] == [{"label": "low", "cut_db": 0.0}, {"label": "500", "cut_db": -6.0}]
    assert state["room"] == DEFAULT_ROOM.name
    assert state["fader_min_db"] < state["fader_db"] < state["fader_max_db"]
    assert state["cut_max_db"] == 12.0


def test_how_far_and_in_which_steps_its_sliders_go_is_told() -> None:
    choice = EqualiserChoice("strip", deepest_db=10.0, step_db=0.5)
    loop = StageLoop(room=DEFAULT_ROOM, equaliser=Equaliser.from_choice(choice))
    told = stage_fields(seat_of(loop), tried={}, moving=None, has_sound=False, advice="")
    assert (told["cut_max_db"], told["step_db"]) == (10.0, 0.5)
    # A low cut is on or off, and on is what its switch stands for.
    own = {one["label"]: one["cut_max_db"] for one in told["sliders"] if "cut_max_db" in one}
    assert own == {LOW_CUT: LOW_CUT_DB}


@pytest.mark.parametrize(
    ("command", "message"),
    [
        ({}, "not nothing"),
        ({"room": "Nowhere Hall"}, 'no room "Nowhere Hall" on the practice stage; there are "Cell'),
        ({"placement": "upside down"}, 'no placement "upside down" in Cellar .*; there are "too'),
        ({"room": "Tin Chapel", "placement": "well forward"}, "not placement, room"),
        ({"volume": 3}, "not volume"),
        ({"fader_db": 3, "slider": 1}, "either"),
        ({"fader_db": "loud"}, "must be a number"),
        ({"fader_db": True}, "must be a number"),
        ({"fader_db": float("nan")}, "must be a number"),
        ({"fader_db": 90}, "between"),
        ({"slider": 1}, "not slider"),
        ({"slider": 7, "cut_db": -3}, "not there"),
        ({"slider": -1, "cut_db": -3}, "not there"),
        ({"slider": 1.5, "cut_db": -3}, "whole number"),
        ({"slider": 1, "cut_db": 3}, "between"),
    ],
)
def test_bad_commands_are_refused(
    shared_stage: StageMicrophone, command: dict[str, object], message: str
) -> None:
    before = shared_stage.state()
    with pytest.raises(ValueError, match=message):
        shared_stage.control(command)
    assert shared_stage.state()["sliders"] == before["sliders"]
    assert shared_stage.state()["fader_db"] == before["fader_db"]


@pytest.mark.realtime
def test_the_advice_follows_and_never_tells_the_answer(stage: StageMicrophone) -> None:
    said = [stage.state()["advice"]]
    assert "Push the fader up" in said[0]
    stage.read(1.0)
    stage.control({"fader_db": FADER_MAX_DB})
    deadline = time.monotonic() + 30.0
    while "It rings" not in said[-1] and time.monotonic() < deadline:
        stage.read(0.1)
        said.append(stage.state()["advice"])
    assert "It rings" in said[-1]
    stage.control({"fader_db": -20.0})
    said.append(stage.state()["advice"])
    assert "rings:" not in said[-1]
    critical = stage.critical()[0]
    assert not any(str(round(critical.frequency_hz)) in text for text in said)
    assert "critical" not in stage.state()


def test_the_person_s_own_filters_are_on_the_stage_and_stay_where_they_are_put() -> None:
    with closing(StageMicrophone(equaliser=Equaliser.from_settings("parametric"))) as stage:
        stage.control({"slider": 1, "cut_db": -6.0, "centre_hz": 544.0, "q": 4.0})
        one = stage.state()["sliders"][1]
        assert (one["label"], one["cut_db"]) == ("filter 2", -6.0)
        assert (one["centre_hz"], one["q"]) == (544.0, 4.0)
        stage.control({"slider": 1, "cut_db": -3.0})
        assert stage.state()["sliders"][1]["centre_hz"] == 544.0
        with pytest.raises(ValueError, match="must be a number"):
            stage.control({"slider": 1, "cut_db": -3.0, "q": "wide"})
        with pytest.raises(ValueError, match="needs either"):
            stage.control({"slider": 1, "centre_hz": 500.0})
