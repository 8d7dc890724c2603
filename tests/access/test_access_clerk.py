"""Pairing's thread with a real file: what is answered is kept, and nothing secret gets out."""

from __future__ import annotations

import dataclasses
import json
import logging
import queue
import stat
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor import clock
from monitor.access.clerk import MOST_WAITING, AccessClerk
from monitor.access.doorkeeper import Doorkeeper
from monitor.access.phones import digest_of
from monitor.kept_file import KeptFile
from tests.waiting import awaited

CODE = "042817"
YEAR_S = 365 * 24 * 3600.0


class Clerk:
    """A clerk with a file, and a way to wait for its word."""

    def __init__(self, path: Path) -> None:
        self.told: list[str] = []
        self.file = KeptFile(path, key="access", what="who is paired", private=True)
        self.clerk = AccessClerk(
            self.file,
            Doorkeeper("code", make_code=lambda: CODE),
            tell=self.told.append,
        )
        self.clerk.wait_until_begun(10.0)
        self.clerk.hindrance = ""

    def said(self, **command: Any) -> dict[str, Any]:
        answers: queue.Queue[dict[str, Any]] = queue.Queue()
        self.clerk.ask(command, lambda answer: answers.put(dict(answer)))
        return answers.get(timeout=10.0)

    def pair(self, name: str = "ada") -> dict[str, Any]:
        self.said(**{"class": "pair_ask", "from": "192.168.4.7"})
        return self.said(**{"class": "pair", "code": CODE, "name": name, "from": "192.168.4.7"})

    def knows(self, key: str) -> bool:
        return self.said(**{"class": "key_check", "key_digest": digest_of(key)})["class"] == "key"


Begin = Callable[..., Clerk]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "access.json"


@pytest.fixture
def begin(path: Path) -> Iterator[Begin]:
    opened: list[Clerk] = []

    def start(**changes: Any) -> Clerk:
        for clerk in opened:
            clerk.clerk.close()
        opened.append(Clerk(path, **changes))
        return opened[-1]

    yield start
    for clerk in opened:
        clerk.clerk.close()


def test_a_phone_is_paired_and_stays_so_over_a_restart(begin: Begin) -> None:
    clerk = begin()
    assert clerk.clerk.fields() == {"control": "code", "showing": False, "phones": 0, "revision": 1}
    asked = clerk.said(**{"class": "pair_ask", "from": "192.168.4.7"})
    assert (asked["class"], asked["where"]) == ("done", "panel")
    assert clerk.clerk.fields()["showing"]
    assert clerk.clerk.code() == CODE
    paired = clerk.pair()
    assert paired["class"] == "paired"
    assert clerk.clerk.fields() == {"control": "code", "showing": False, "phones": 1, "revision": 2}
    assert clerk.knows(paired["key"])
    again = begin()
    assert again.knows(paired["key"])
    assert [each["name"] for each in again.said(**{"class": "phones"})["phones"]] == ["ada"]


@pytest.mark.parametrize("utc_shift_s", [-30 * YEAR_S, 0.0, 10 * YEAR_S])
def test_neither_a_reboot_nor_a_wrong_clock_unpairs(
    begin: Begin, monkeypatch: pytest.MonkeyPatch, utc_shift_s: float
) -> None:
    key = begin().pair()["key"]
    real = clock.now

    def elsewhere() -> clock.Now:
        now = real()
        return dataclasses.replace(
            now, boot_id="another", uptime_s=3.0, utc_s=now.utc_s + utc_shift_s
        )

    monkeypatch.setattr(clock, "now", elsewhere)
    again = begin()
    assert again.knows(key)
    (phone,) = again.said(**{"class": "phones"})["phones"]
    assert phone.get("paired_ago_s", 0.0) >= 0.0


def test_who_is_slow_to_read_a_code_holds_nobody_up(begin: Begin) -> None:
    """The analysis loop asks for code and fields at every snapshot."""
    clerk = begin()
    may_go_on = threading.Event()
    clerk.clerk._tell = lambda _: may_go_on.wait(10.0)
    clerk.clerk.ask({"class": "pair_ask", "from": "192.168.4.7"}, lambda _: None)
    awaited(lambda: clerk.clerk.code() == CODE)
    assert clerk.clerk.fields()["showing"]
    assert not may_go_on.is_set()
    may_go_on.set()


def test_the_file_has_digests_and_is_for_nobody_else(begin: Begin, path: Path) -> None:
    key = begin().pair()["key"]
    text = path.read_text(encoding="utf-8")
    assert digest_of(key) in text
    assert key not in text
    assert CODE not in text
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_a_file_that_others_could_read_is_not_taken_over(begin: Begin, path: Path) -> None:
    beside = path.with_name(path.name + ".new")
    beside.write_text("left over", encoding="utf-8")
    beside.chmod(0o666)
    begin().pair()
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_neither_code_nor_key_is_logged_or_shown(
    begin: Begin, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    clerk = begin()
    answers = [clerk.said(**{"class": "pair_ask", "from": "192.168.4.7"})]
    answers += [clerk.said(**{"class": "pair", "code": "111111", "name": "x", "from": "a"})]
    paired = clerk.pair()
    answers += [clerk.said(**{"class": "phones"}), clerk.clerk.fields()]
    assert "192.168.4.7" in caplog.text
    for secret in (CODE, paired["key"], digest_of(paired["key"])):
        assert secret not in caplog.text
        assert secret not in json.dumps(answers)
    assert "111111" not in caplog.text, "a wrong try is nearly the code"


def test_the_panel_s_code_is_told_once(begin: Begin) -> None:
    clerk = begin()
    for _ in range(3):
        clerk.said(**{"class": "pair_ask", "from": "a"})
    assert clerk.told == [CODE]


def test_neither_a_closed_terminal_nor_a_failed_answer_ends_the_pairing(begin: Begin) -> None:
    clerk = begin()

    def closed(_words: object) -> None:
        raise BrokenPipeError(32, "Broken pipe")

    clerk.clerk._tell = closed
    assert clerk.said(**{"class": "pair_ask", "from": "a"})["showing"]
    awaited(lambda: "telling the code failed: BrokenPipeError" in clerk.clerk.health())
    clerk.clerk.ask({"class": "pair_ask", "from": "a"}, closed)
    awaited(lambda: "answering failed: BrokenPipeError" in clerk.clerk.health())
    paired = clerk.pair()
    assert clerk.knows(paired["key"])
    awaited(lambda: clerk.clerk.health() == "ok")


def test_whoever_stands_in_the_way_is_named(begin: Begin) -> None:
    clerk = begin()
    clerk.clerk.hindrance = "something rings"
    answer = clerk.said(**{"class": "pair_ask", "from": "a"})
    assert answer == {"class": "error", "message": "something rings", "why": "busy"}
    assert clerk.clerk.code() == ""


def test_a_restart_forgives_no_wrong_try(begin: Begin) -> None:
    clerk = begin()
    clerk.said(**{"class": "pair_ask", "from": "a"})
    for _ in range(3):
        clerk.said(**{"class": "pair", "code": "111111", "name": "x", "from": "a"})
    again = begin()
    answer = again.said(**{"class": "pair_ask", "from": "b"})
    assert answer["why"] == "wait"
    assert 0.0 < answer["wait_s"] <= 120.0


def test_a_crowd_at_the_door_holds_up_nobody_who_is_in(
    begin: Begin, monkeypatch: pytest.MonkeyPatch
) -> None:
    clerk = begin()
    key = clerk.pair()["key"]
    writing, stuck = threading.Event(), threading.Event()

    def write(*_: object) -> bool:
        writing.set()
        return stuck.wait(30.0)

    monkeypatch.setattr(clerk.file, "write", write)
    try:
        command = {"class": "pair", "code": "111111", "name": "x", "from": "a"}
        clerk.clerk.ask(command, lambda _: None)
        awaited(lambda: writing.is_set(), 10.0)
        for _ in range(MOST_WAITING):
            clerk.clerk.ask(command, lambda _: None)
        with pytest.raises(ValueError, match="too many are at the door"):
            clerk.clerk.ask(command, lambda _: None)
        began = time.monotonic()
        assert clerk.knows(key)
        assert clerk.said(**{"class": "pair_here"})["code"] == CODE
        assert time.monotonic() - began < 15.0
    finally:
        stuck.set()


def test_what_cannot_be_kept_is_said(begin: Begin, path: Path, tmp_path: Path) -> None:
    clerk = begin()
    beside = path.with_name(path.name + ".new")
    beside.mkdir()  # nothing can be written there, not even by root
    paired = clerk.pair()
    assert paired["class"] == "paired"
    assert "who is paired cannot be kept" in paired["problem"]
    assert clerk.knows(paired["key"])
    assert clerk.clerk.health() != "ok"
    beside.rmdir()
    answer = clerk.said(**{"class": "unpair", "phone": paired["phone"]})
    assert answer == {"class": "done"}
    assert clerk.clerk.health() == "ok"
    assert not begin().knows(paired["key"])


def test_junk_in_the_file_is_put_aside_and_nobody_is_paired(begin: Begin, path: Path) -> None:
    begin().pair()
    whole = json.loads(path.read_text(encoding="utf-8"))
    whole["access"]["phones"][0]["digest"] = "*"
    path.write_text(json.dumps(whole), encoding="utf-8")
    again = begin()
    assert again.clerk.fields()["phones"] == 0
    assert "access.json.aside" in again.clerk.health()
    assert path.with_name("access.json.aside").exists()


def test_unpaired_is_unpaired(begin: Begin) -> None:
    clerk = begin()
    paired = clerk.pair()
    assert clerk.said(**{"class": "unpair", "phone": "ffffffff"}) == {
        "class": "error", "message": "that phone is not paired", "why": "unpaired",
    }  # fmt: skip
    assert clerk.said(**{"class": "unpair", "phone": paired["phone"]}) == {"class": "done"}
    assert clerk.said(**{"class": "unpair", "phone": "all"})["message"] == "no phone is paired"
    assert not clerk.knows(paired["key"])
    assert not begin().knows(paired["key"])
