"""The soundcheck's thread: answers when it is on the disk, survives restarts and bad files."""

from __future__ import annotations

import json
import os
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor import clock
from monitor.kept_file import KeptFile
from monitor.level.measuring import Measuring, Source
from monitor.soundcheck import clerk as clerk_module
from monitor.soundcheck.clerk import MOST_WAITING, SoundcheckClerk
from monitor.soundcheck.steps import ITEMS
from tests.core.stand_ins import PLAN
from tests.core.test_measuring import PATIENCE_S, fake
from tests.waiting import awaited


class Evening:
    """Starts clerks on one file, as a watcher does again and again."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "soundcheck.json"
        self.phase: str | None = None
        self.opened: list[SoundcheckClerk] = []

    def start(self, how: str = "never read") -> SoundcheckClerk:
        sources = {
            "line": Source("the line", fake(how)),
            "box": Source("the microphone", why="there is no microphone; plug one in"),
        }
        kept = KeptFile(self.path, key="soundcheck", what="the soundcheck")
        clerk = SoundcheckClerk(
            kept,
            Measuring(sources),  # type: ignore[arg-type]
            ring_out=lambda: self.phase,
        )
        clerk.wait_until_begun(10.0)
        self.opened.append(clerk)
        return clerk


@pytest.fixture
def evening(tmp_path: Path) -> Iterator[Evening]:
    one = Evening(tmp_path)
    yield one
    for clerk in one.opened:
        clerk.close(PATIENCE_S)


def ask(clerk: SoundcheckClerk, name: str = "soundcheck", **command: Any) -> dict[str, Any]:
    answers: list[dict[str, Any]] = []
    clerk.ask({"class": name, **command}, lambda answer: answers.append(dict(answer)))
    awaited(lambda: bool(answers), PATIENCE_S)
    return answers[0]


def state_of(clerk: SoundcheckClerk, step: str) -> str:
    (found,) = [one for one in clerk.fields()["steps"] if one["id"] == step]
    return str(found["state"])


def test_what_is_answered_is_on_the_disk(evening: Evening) -> None:
    clerk = evening.start()
    assert ask(clerk, do="tick", item=ITEMS[1]) == {"class": "done"}
    assert ask(clerk, "plan", stage=PLAN) == {"class": "done", "revision": 1}
    # No goodbye: a pulled plug.
    again = evening.start()
    assert again.fields()["ticks"] == [ITEMS[1]]
    assert ask(again, "plan_get") == {"class": "plan", "revision": 1, "stage": PLAN}
    assert again.fields()["begun_age_s"] >= 0.0
    assert clerk.health() == again.health() == "ok"


def test_refusals_are_one_line_and_change_nothing(evening: Evening) -> None:
    clerk = evening.start()
    refused = ask(clerk, "plan", stage={"room": "large"})
    assert refused["class"] == "error"
    assert "\n" not in refused["message"]
    assert "nothing was measured yet" in ask(clerk, do="take_level")["message"]
    assert ask(clerk, do="measure", source="box")["message"] == (
        "there is no microphone; plug one in"
    )
    assert clerk.fields().get("begun_age_s") is None
    assert not evening.path.exists()


def test_measuring_is_shown_taken_and_stopped(evening: Evening) -> None:
    clerk = evening.start()
    assert ask(clerk, do="measure", source="line") == {"class": "done"}
    assert "stop that first" in ask(clerk, do="measure", source="line")["message"]
    awaited(lambda: "seconds" in clerk.fields().get("measuring", {}), PATIENCE_S)
    assert clerk.fields()["measuring"]["kind"] == "line"
    assert "no voice was heard yet" in ask(clerk, do="take_level")["message"]
    assert ask(clerk, do="measure_stop") == {"class": "done"}
    assert "measuring" not in clerk.fields()
    assert ask(clerk, do="measure_stop") == {"class": "done"}


def test_measuring_ends_with_the_last_step_that_wants_it(evening: Evening) -> None:
    """It may not run on into the ring-out, nor say there that it ended by itself."""
    clerk = evening.start("sung")
    for do in ({"do": "take_low_cut"}, {"do": "skip", "step": "low_cut"}):
        assert ask(clerk, do="measure", source="line") == {"class": "done"}
        awaited(lambda: "loudest" in clerk.fields().get("measuring", {}), PATIENCE_S)
        assert ask(clerk, do="take_level") == {"class": "done"}
        assert "measuring" in clerk.fields(), "the low cut is still to come"
        assert ask(clerk, do="skip", step="place") == {"class": "done"}
        assert "measuring" in clerk.fields(), "that step wants none"
        assert ask(clerk, **do) == {"class": "done"}
        assert "measuring" not in clerk.fields()
        assert "why" not in clerk.fields()
        assert ask(clerk, do="clear") == {"class": "done"}


def test_of_two_who_ask_at_once_one_measures_and_the_other_is_told(evening: Evening) -> None:
    clerk = evening.start()
    answers: list[dict[str, Any]] = []
    command = {"class": "soundcheck", "do": "measure", "source": "line"}
    gate = threading.Barrier(2)

    def one() -> None:
        gate.wait(PATIENCE_S)
        clerk.ask(command, lambda answer: answers.append(dict(answer)))

    both = [threading.Thread(target=one) for _ in range(2)]
    for each in both:
        each.start()
    for each in both:
        each.join()
    awaited(lambda: len(answers) == 2, PATIENCE_S)
    assert sorted(answer["class"] for answer in answers) == ["done", "error"]


def test_a_measurement_that_dies_says_why(evening: Evening) -> None:
    clerk = evening.start("die")
    assert ask(clerk, do="measure", source="line") == {"class": "done"}
    awaited(lambda: clerk.fields().get("why") == "plug it in", PATIENCE_S)
    assert "measuring" not in clerk.fields()


def test_a_restart_in_the_middle_ends_the_measurement_and_keeps_the_rest(
    evening: Evening,
) -> None:
    clerk = evening.start()
    ask(clerk, do="plan_done")
    ask(clerk, do="measure", source="line")
    awaited(lambda: "seconds" in clerk.fields().get("measuring", {}), PATIENCE_S)
    clerk.close(PATIENCE_S)
    again = evening.start()
    assert state_of(again, "place") == "done"
    assert "measuring" not in again.fields()


def test_the_ring_out_s_end_is_seen_and_kept(evening: Evening) -> None:
    clerk = evening.start()
    evening.phase = "back_off"
    awaited(lambda: "come down" in clerk.fields()["steps"][3]["words"])
    evening.phase = "done"
    awaited(lambda: state_of(clerk, "ring_out") == "done")
    evening.phase = None
    clerk.close(PATIENCE_S)
    assert state_of(evening.start(), "ring_out") == "done"


def test_a_full_disk_is_said_and_a_plan_is_not_half_saved(
    evening: Evening, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    clerk = evening.start()
    ask(clerk, "plan", stage=PLAN)
    monkeypatch.setattr(os, "fsync", full)
    answer = ask(clerk, do="tick", item=ITEMS[0])
    assert answer["class"] == "done"
    assert "No space left" in answer["problem"]
    assert clerk.fields()["ticks"] == [ITEMS[0]], "the evening goes on"
    other = {**PLAN, "room": {"width": 9.0, "depth": 9.0, "height": 3.0}}
    refused = ask(clerk, "plan", stage=other)
    assert refused["class"] == "error"
    assert refused["message"].startswith("the plan is not saved: ")
    assert ask(clerk, "plan_get")["stage"] == PLAN
    assert "No space left" in clerk.fields()["health"]
    monkeypatch.undo()
    assert ask(clerk, "plan", stage=other) == {"class": "done", "revision": 2}
    assert clerk.health() == "ok"


def changed(path: Path, **changes: Any) -> None:
    content = json.loads(path.read_text())
    content["soundcheck"] |= changes
    path.write_text(json.dumps(content))


def test_a_plan_of_an_older_version_is_put_aside_and_the_evening_goes_on(
    evening: Evening,
) -> None:
    clerk = evening.start()
    ask(clerk, "plan", stage=PLAN)
    ask(clerk, do="plan_done")
    clerk.close(PATIENCE_S)
    changed(evening.path, plan={"walls": 4})
    again = evening.start()
    assert state_of(again, "place") == "done"
    assert "stage" not in {k: v for k, v in ask(again, "plan_get").items() if v is not None}
    assert "kept as soundcheck.json.aside" in again.health()
    assert json.loads((evening.path.parent / "soundcheck.json.aside").read_text())["soundcheck"][
        "plan"
    ] == {"walls": 4}


@pytest.mark.parametrize("content", ["", "{}", "null", "\x00", '{"version": 9}', "NaN"])
def test_a_damaged_file_is_put_aside(evening: Evening, content: str) -> None:
    evening.path.write_text(content)
    clerk = evening.start()
    assert "kept as soundcheck.json.aside" in clerk.health()
    assert ask(clerk, do="begin") == {"class": "done"}
    assert (evening.path.parent / "soundcheck.json.aside").read_text() == content


def test_of_another_evening_only_the_plan_comes_back(
    evening: Evening, monkeypatch: pytest.MonkeyPatch
) -> None:
    clerk = evening.start()
    ask(clerk, "plan", stage=PLAN)
    ask(clerk, do="tick", item=ITEMS[0])
    clerk.close(PATIENCE_S)
    uptime_s = clock.uptime_s
    monkeypatch.setattr(clerk_module.clock, "uptime_s", lambda: uptime_s() + 13 * 3600.0)
    again = evening.start()
    assert again.fields()["ticks"] == []
    assert again.fields()["plan_revision"] == 1
    assert again.health() == "ok"


def test_after_a_boot_without_a_date_it_comes_back_in_doubt(
    evening: Evening, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(clerk_module.clock, "is_trusted", lambda: False)
    clerk = evening.start()
    ask(clerk, do="tick", item=ITEMS[0])
    clerk.close(PATIENCE_S)
    monkeypatch.setattr(clerk_module.clock, "boot_id", lambda: "another")
    again = evening.start()
    assert again.fields()["ticks"] == [ITEMS[0]]
    assert "another evening" in again.fields()["doubt"]
    ask(again, do="clear")
    assert again.fields().get("doubt") is None
    assert again.fields()["ticks"] == []


def test_who_asks_never_waits(evening: Evening, monkeypatch: pytest.MonkeyPatch) -> None:
    go_on = threading.Event()
    clerk = evening.start()
    monkeypatch.setattr(os, "fsync", lambda _: go_on.wait(30.0))
    answers: list[dict[str, Any]] = []
    command = {"class": "soundcheck", "do": "begin"}

    def flood() -> None:
        for number in range(2 * MOST_WAITING):
            step = {"do": "tick", "item": ITEMS[number % len(ITEMS)]}
            clerk.ask({**command, **step}, lambda answer: answers.append(dict(answer)))

    began = time.monotonic()
    with pytest.raises(ValueError, match="the soundcheck is behind"):
        flood()
    clerk.fields()
    assert time.monotonic() - began < 10.0  # whoever waited for the card would wait for its end
    go_on.set()
    monkeypatch.undo()
    awaited(lambda: len(answers) >= MOST_WAITING, PATIENCE_S)


def broken(*_: object, **__: object) -> None:
    raise ZeroDivisionError("oh")


def test_a_bug_behind_one_command_is_told_and_the_next_one_answered(
    evening: Evening, monkeypatch: pytest.MonkeyPatch
) -> None:
    clerk = evening.start()
    monkeypatch.setattr(clerk_module.Soundcheck, "command", broken)
    assert "the soundcheck failed on it" in ask(clerk, do="begin")["message"]
    monkeypatch.undo()
    assert ask(clerk, do="begin") == {"class": "done"}


def test_what_could_not_be_shown_once_is_well_again(
    evening: Evening, monkeypatch: pytest.MonkeyPatch
) -> None:
    clerk = evening.start()
    monkeypatch.setattr(clerk_module.Soundcheck, "fields", broken)
    awaited(lambda: "cannot be shown" in clerk.health(), PATIENCE_S)
    monkeypatch.undo()
    awaited(lambda: clerk.health() == "ok", PATIENCE_S)


def test_an_answer_that_nobody_takes_does_not_end_the_soundcheck(evening: Evening) -> None:
    def gone(_answer: object) -> None:
        raise BrokenPipeError(32, "Broken pipe")

    clerk = evening.start()
    clerk.ask({"class": "plan_get"}, gone)
    awaited(lambda: "an answer could not be given: BrokenPipeError" in clerk.health())
    assert ask(clerk, "plan_get")["class"] == "plan"
    awaited(lambda: clerk.health() == "ok")
