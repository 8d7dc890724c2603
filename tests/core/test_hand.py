"""The button's hand: presses reach the desk, a long press leaves a mark, and nothing raises."""

from __future__ import annotations

import logging
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from firmware.button import NoButton
from monitor import hand
from monitor.advice.equaliser import Equaliser
from monitor.advice.pulls import Pull
from monitor.advice.set_advice import SetAdvice
from monitor.hand import OFF_MARK, Hand
from monitor.news import Advised
from tests.waiting import awaited

THIRTY_ONE = Equaliser.from_settings("31")


class Pushed:
    """A button that the test presses."""

    def __init__(self) -> None:
        self.press: Callable[[], None] = lambda: None
        self.hold: Callable[[], None] = lambda: None

    def open(self, *, on_press: Callable[[], None], on_hold: Callable[[], None]) -> NoButton:
        self.press, self.hold = on_press, on_hold
        return NoButton("ok")


class Desk:
    """Notes what is asked; refuses or answers as told."""

    def __init__(self) -> None:
        self.asked: list[dict[str, Any]] = []
        self.refuses = ""
        self.answers = {"class": "done"}

    def handle(self, command: dict[str, Any], reply: Callable[[Any], object]) -> None:
        if self.refuses:
            raise ValueError(self.refuses)
        self.asked.append(command)
        reply(self.answers)


@pytest.fixture
def pushed() -> Pushed:
    return Pushed()


def make(pushed: Pushed, desk: Desk, folder: Path, advised: Advised | None = None) -> Hand:
    return Hand(
        pushed.open,
        handle=desk.handle,
        advised=lambda: advised or Advised(),
        sliders=THIRTY_ONE.sliders,
        run_folder=folder,
    )


def test_a_press_is_asked_of_the_desk(pushed: Pushed, tmp_path: Path) -> None:
    desk = Desk()
    make(pushed, desk, tmp_path)
    pushed.press()
    assert desk.asked == [{"class": "ring_out", "do": "open"}]
    assert list(tmp_path.iterdir()) == []


def test_two_pulls_are_both_acknowledged(pushed: Pushed, tmp_path: Path) -> None:
    desk = Desk()
    both = (Pull("800", 4.0, 800.0, 4.3), Pull("1k", 2.0, 1000.0, 4.3))
    make(pushed, desk, tmp_path, Advised(SetAdvice("pull 800 by 4", both, None, "", "")))
    pushed.press()
    assert [command["cut_db"] for command in desk.asked] == [-4.0, -2.0]


def test_what_is_refused_is_logged_and_no_more(
    pushed: Pushed, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    desk = Desk()
    make(pushed, desk, tmp_path)
    desk.refuses = "a ring-out is under way"
    pushed.press()
    assert "a ring-out is under way" in caplog.text
    desk.refuses, desk.answers = "", {"class": "error", "message": "not now"}
    pushed.press()
    assert "not now" in caplog.text


def test_a_press_that_fails_does_not_end_the_pins_own_thread(
    pushed: Pushed,
    tmp_path: Path,
    caplog: pytest.LogCaptureFixture,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It calls all buttons, one after the other: with it every later press would be lost."""
    desk = Desk()
    make(pushed, desk, tmp_path)

    def fail(*_: object) -> None:
        raise RuntimeError("ours")

    monkeypatch.setattr(hand, "commands_of_press", fail)
    pushed.press()
    assert "RuntimeError: ours" in caplog.text
    monkeypatch.undo()
    pushed.press()
    assert desk.asked == [{"class": "ring_out", "do": "open"}]


def test_a_long_press_leaves_the_mark_and_says_goodbye(pushed: Pushed, tmp_path: Path) -> None:
    it = make(pushed, Desk(), tmp_path)
    assert not it.is_leaving
    pushed.hold()
    assert (tmp_path / OFF_MARK).exists()
    assert it.is_leaving
    assert it.health() == "ok"
    it.close()


def test_where_nobody_switches_the_box_off_the_mark_is_taken_back_and_it_is_said(
    pushed: Pushed, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(hand, "LEAVING_S", 2.0)
    it = make(pushed, Desk(), tmp_path)
    pushed.hold()
    assert it.is_leaving
    awaited(lambda: not it.is_leaving)  # the panel goes back to its work
    awaited(lambda: "did not shut the box down" in it.health())
    assert not (tmp_path / OFF_MARK).exists()
    monkeypatch.setattr(hand, "LEAVING_S", 30.0)
    pushed.hold()
    assert it.health() == "ok"
    it.close()


def test_an_old_mark_does_not_wait_for_somebody_who_comes_later(
    pushed: Pushed, tmp_path: Path
) -> None:
    (tmp_path / OFF_MARK).touch()
    make(pushed, Desk(), tmp_path)
    assert not (tmp_path / OFF_MARK).exists()


def test_a_mark_that_cannot_be_left_is_no_goodbye(
    pushed: Pushed, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    it = make(pushed, Desk(), tmp_path / "gone")
    pushed.hold()
    assert not it.is_leaving
    assert "cannot be shut down" in caplog.text
    assert "pull the plug" in it.health()


def test_the_units_wait_for_the_mark() -> None:
    units = Path(__file__).parents[2] / "systemd"
    mark = f"/run/howl-lantern/{OFF_MARK}"
    assert f"PathExists={mark}\n" in (units / "howl-lantern-off.path").read_text()
    service = (units / "howl-lantern-off.service").read_text()
    assert service.index(f"rm -f {mark}") < service.index("poweroff")
