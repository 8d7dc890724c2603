"""The adviser's thread: it loses nothing silently, survives itself and keeps what it can."""

from __future__ import annotations

import json
import os
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor.adviser import adviser as adviser_module
from monitor.adviser.adviser import Adviser
from monitor.adviser.counsel import Counsel
from monitor.clock import Now
from monitor.kept_file import KeptFile
from monitor.news import News
from tests.core.played_stage import EQUALISER
from tests.waiting import awaited


def kept_at(path: Path) -> KeptFile:
    return KeptFile(path, key="advice", what="the ring-out")


def make(kept: dict[str, Any] | None) -> Counsel:
    return Counsel(EQUALISER, margin_db=3.0, kept=kept)


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[..., Adviser]]:
    opened: list[Adviser] = []

    def begin(
        maker: Callable[[dict[str, Any] | None], Counsel] = make, path: Path | None = None
    ) -> Adviser:
        kept = kept_at(path or tmp_path / "advice.json")
        opened.append(Adviser(maker, kept, boot_id="boot-1"))
        return opened[-1]

    yield begin
    for one in opened:
        one.close(10.0)


def ask(adviser: Adviser, **command: Any) -> dict[str, Any]:
    answers: list[dict[str, Any]] = []
    adviser.ask(command, lambda answer: answers.append(dict(answer)))
    awaited(lambda: bool(answers))
    return answers[0]


def test_commands_are_answered_and_shown(start: Callable[..., Adviser]) -> None:
    adviser = start()
    assert ask(adviser, **{"class": "ring_out", "do": "open"}) == {"class": "done"}
    assert adviser.result.fields["ring_out"]["phase"] == "ready"
    refused = ask(adviser, **{"class": "ring_out", "do": "undo"})
    assert refused["class"] == "error"
    assert "makes no sense now" in refused["message"]
    assert adviser.health() == "ok"


class Stuck(Counsel):
    """Takes its time over everything."""

    gate = threading.Event()
    is_busy = threading.Event()

    def hear(self, news: News) -> None:
        self.is_busy.set()
        self.gate.wait(30.0)


def test_who_hands_over_never_waits_and_losses_are_counted(start: Callable[..., Adviser]) -> None:
    Stuck.gate.clear()
    adviser = start(lambda kept: Stuck(EQUALISER, margin_db=3.0, kept=kept))
    adviser.hear(News(0.0))
    assert Stuck.is_busy.wait(30.0)
    began = time.monotonic()
    for number in range(adviser_module.MOST_WAITING + 20):
        adviser.hear(News(1.0 + number))
    with pytest.raises(ValueError, match="the advice is behind"):
        adviser.ask({"class": "ring_out", "do": "open"}, lambda _: None)
    assert time.monotonic() - began < 10.0  # whoever waited for it would wait for the gate
    assert adviser.lost_count == 20
    assert "hand-overs to the advice were lost" in adviser.health()
    Stuck.gate.set()


def test_what_only_goes_on_is_not_written_with_every_hand_over(
    start: Callable[..., Adviser], monkeypatch: pytest.MonkeyPatch
) -> None:
    written: list[float] = []
    write = KeptFile.write
    monkeypatch.setattr(
        KeptFile,
        "write",
        lambda kept, *what: (written.append(what[1].uptime_s), write(kept, *what)),
    )
    adviser = start()
    for number in range(50):
        adviser.hear(News(float(number)))
    ask(adviser, **{"class": "pull", "slider": 21, "cut_db": -4.0})
    # The first of all, every five seconds, and the command.
    assert 2 <= len(written) <= 2 + (written[-1] - written[0]) / adviser_module.KEEP_EVERY_S


class Broken(Counsel):
    """Fails over one moment."""

    def hear(self, news: News) -> None:
        if news.at_s == 13.0:
            raise ZeroDivisionError("thirteen")
        super().hear(news)


def test_a_failure_is_logged_and_it_goes_on_from_where_it_was(
    start: Callable[..., Adviser], caplog: pytest.LogCaptureFixture
) -> None:
    adviser = start(lambda kept: Broken(EQUALISER, margin_db=3.0, kept=kept))
    ask(adviser, **{"class": "pull", "slider": 21, "cut_db": -4.0})
    ask(adviser, **{"class": "ring_out", "do": "open"})
    ask(adviser, **{"class": "ring_out", "do": "begin"})
    adviser.hear(News(13.0))
    awaited(lambda: adviser.result.fields.get("ring_out", {}).get("phase") == "paused")
    assert "thirteen" in caplog.text
    assert adviser.result.fields["standing"][0]["slider"] == 21
    # Failing again at once is blamed on what was kept: from nothing then.
    adviser.hear(News(13.0))
    awaited(lambda: "ring_out" not in adviser.result.fields)
    assert ask(adviser, **{"class": "ring_out", "do": "open"}) == {"class": "done"}


def test_what_fails_at_every_hand_over_is_said_and_not_logged_every_time(
    start: Callable[..., Adviser], caplog: pytest.LogCaptureFixture
) -> None:
    """They come ten times a second."""
    adviser = start(lambda kept: Broken(EQUALISER, margin_db=3.0, kept=kept))
    for _ in range(20):
        adviser.hear(News(13.0))
    awaited(lambda: adviser.health() != "ok")
    assert adviser.health() == (
        "the advice failed (ZeroDivisionError('thirteen')); switch the box off and on if this stays"
    )
    assert ask(adviser, **{"class": "ring_out", "do": "open"}) == {"class": "done"}
    awaited(lambda: adviser.health() == "ok")
    assert caplog.text.count("Traceback") == 1


def test_without_advice_commands_are_answered_with_why(start: Callable[..., Adviser]) -> None:
    def never(_: object) -> Counsel:
        raise ZeroDivisionError("no luck")

    adviser = start(never)
    answer = ask(adviser, **{"class": "ring_out", "do": "open"})
    assert answer["class"] == "error"
    assert answer["message"].startswith("there is no advice: ZeroDivisionError")
    assert adviser.health() == answer["message"]


def test_a_command_that_cannot_be_shown_is_answered(
    start: Callable[..., Adviser], monkeypatch: pytest.MonkeyPatch
) -> None:
    adviser = start()
    ask(adviser, **{"class": "ring_out", "do": "open"})
    monkeypatch.setattr(adviser, "_publish", never_again(adviser._publish))
    answer = ask(adviser, **{"class": "ring_out", "do": "begin"})
    assert answer["message"].startswith("the advice failed on it: ZeroDivisionError")
    assert ask(adviser, **{"class": "ring_out", "do": "stop"}) == {"class": "done"}


def never_again(publish: Callable[[Counsel], None]) -> Callable[[Counsel], None]:
    """Fails once."""
    failures = [ZeroDivisionError("once")]

    def fails(counsel: Counsel) -> None:
        if failures:
            raise failures.pop()
        publish(counsel)

    return fails


def test_a_restart_brings_it_back_paused(start: Callable[..., Adviser]) -> None:
    adviser = start()
    ask(adviser, **{"class": "pull", "slider": 21, "cut_db": -4.0})
    ask(adviser, **{"class": "ring_out", "do": "open"})
    ask(adviser, **{"class": "ring_out", "do": "begin"})
    # No goodbye: a pulled plug.  What was answered is on the disk.
    back = start()
    awaited(lambda: "ring_out" in back.result.fields)
    assert back.result.fields["ring_out"]["phase"] == "paused"
    assert back.result.fields["standing"][0]["cut_db"] == -4.0
    assert ask(back, **{"class": "ring_out", "do": "go_on"}) == {"class": "done"}


@pytest.mark.parametrize("content", ["", "{}", "[]", "null", '{"version": 9}', "\x00\xff"])
def test_a_damaged_file_is_said_and_begun_anew(
    start: Callable[..., Adviser], tmp_path: Path, content: str
) -> None:
    (tmp_path / "advice.json").write_text(content, encoding="utf-8")
    adviser = start()
    awaited(lambda: adviser.health() != "ok")
    assert "kept as advice.json.aside, the ring-out begun anew" in adviser.health()
    assert ask(adviser, **{"class": "ring_out", "do": "open"}) == {"class": "done"}
    assert (tmp_path / "advice.json.aside").read_text(encoding="utf-8") == content
    assert json.loads((tmp_path / "advice.json").read_text())["advice"]["ring_out"]


def test_whatever_the_file_does_the_advice_begins(
    start: Callable[..., Adviser], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise OverflowError("int too large to convert to float")

    (tmp_path / "advice.json").write_text("{}")
    monkeypatch.setattr(KeptFile, "read", fail)
    adviser = start()
    awaited(lambda: "OverflowError" in adviser.health())
    assert ask(adviser, **{"class": "ring_out", "do": "open"}) == {"class": "done"}


def test_a_file_of_another_equaliser_is_not_used(
    start: Callable[..., Adviser], tmp_path: Path
) -> None:
    kept = kept_at(tmp_path / "advice.json")
    now = Now("boot-1", adviser_module.clock.uptime_s(), time.time(), clock_trusted=False)
    kept.write({**make(None).kept, "sliders": ["100", "1k"]}, now)
    adviser = start()
    # Why is said before it has begun anew, and the file put aside after that.
    assert adviser.wait_until_begun(10.0).fields["standing"] == []
    assert "another equaliser" in adviser.health()
    assert (tmp_path / "advice.json.aside").exists()


def test_a_full_disk_is_said_and_stops_nothing(
    start: Callable[..., Adviser], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    adviser = start()
    monkeypatch.setattr(os, "fsync", full)
    assert ask(adviser, **{"class": "ring_out", "do": "open"}) == {"class": "done"}
    awaited(lambda: "No space left" in adviser.health())
    assert "make room in" in adviser.health()
    assert ask(adviser, **{"class": "ring_out", "do": "begin"}) == {"class": "done"}
    monkeypatch.undo()
    ask(adviser, **{"class": "ring_out", "do": "pause"})
    awaited(lambda: adviser.health() == "ok")


def another_boot(tmp_path: Path, *, trusted: bool, days: float = 0.0) -> None:
    """Make what was kept look as if it were of another boot of the machine."""
    path = tmp_path / "advice.json"
    content = json.loads(path.read_text())
    content["written"] |= {"boot_id": "boot-0", "clock_trusted": trusted}
    content["written"]["utc_s"] -= days * 86400.0
    path.write_text(json.dumps(content))


def test_a_ring_out_comes_back_in_doubt_where_no_clock_can_tell(
    start: Callable[..., Adviser], tmp_path: Path
) -> None:
    adviser = start()
    ask(adviser, **{"class": "ring_out", "do": "open"})
    ask(adviser, **{"class": "ring_out", "do": "begin"})
    adviser.close(10.0)
    another_boot(tmp_path, trusted=False)
    back = start()
    shown = back.wait_until_begun(10.0).fields["ring_out"]
    assert shown["phase"] == "paused"
    assert "another evening" in shown["doubt"]
    assert shown["detail"] == shown["doubt"]
    # Who goes on has answered the question.
    assert ask(back, **{"class": "ring_out", "do": "go_on"}) == {"class": "done"}
    assert "doubt" not in back.result.fields["ring_out"]


def test_what_stands_without_a_ring_out_is_not_worth_the_doubt(
    start: Callable[..., Adviser], tmp_path: Path
) -> None:
    adviser = start()
    ask(adviser, **{"class": "pull", "slider": 21, "cut_db": -4.0})
    adviser.close(10.0)
    another_boot(tmp_path, trusted=False)
    assert start().wait_until_begun(10.0).fields["standing"] == []


def test_what_is_surely_of_another_evening_does_not_come_back(
    start: Callable[..., Adviser], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(adviser_module.clock, "is_trusted", lambda: True)
    adviser = start()
    ask(adviser, **{"class": "ring_out", "do": "open"})
    adviser.close(10.0)
    another_boot(tmp_path, trusted=True)
    assert "ring_out" in start().wait_until_begun(10.0).fields
    another_boot(tmp_path, trusted=True, days=1.0)
    assert "ring_out" not in start().wait_until_begun(10.0).fields
