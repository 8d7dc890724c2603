"""Full and read-only disks: nothing waits, it is said, and writing resumes."""

from __future__ import annotations

import queue
import sqlite3
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor.journal import keeping, store
from monitor.journal.asks import (
    DeleteGig,
    GetRecord,
    GigChange,
    Happening,
    ListGigs,
    ListVenues,
    MergeRecords,
    VenueChange,
)
from monitor.journal.waiting import LOST, Waiting
from tests.disks import CannotMount, WornCard, fill, turn
from tests.journal.evenings import play_evening
from tests.journal.telling import PATIENCE_S, Told
from tests.waiting import awaited


@pytest.fixture
def card(tmp_path: Path) -> Iterator[WornCard]:
    try:
        with WornCard(tmp_path) as card:
            yield card
    except CannotMount as error:
        pytest.skip(str(error))


def test_a_full_disk_keeps_everything_in_sight_and_writes_it_later(disk: Path) -> None:
    told = Told(disk / "j.sqlite3")
    told.begin("g")
    filler = fill(disk)
    problems: queue.Queue[str] = queue.Queue()
    at = told.clock.at()
    for number in range(120):
        note = {"text": f"{number} " + "x" * 400}
        told.journal.tell(Happening("g", "note", at.boot_id, at.uptime_s, note), problems.put)
    told.journal.tell(GigChange("g", title="said while it was full"), problems.put)
    told.rings("g", 1)
    awaited(lambda: "cannot be written" in told.journal.health(), PATIENCE_S)
    assert "entries wait in memory" in told.journal.health()
    assert "(database or disk is full): make room; listening goes on" in told.journal.health()
    # Whoever wanted to know was told that it is not on the disk, ...
    assert "cannot be written" in problems.get(timeout=PATIENCE_S)
    # ... what waits is in the answers all the same, with the reason beside them, ...
    record, problem = told.ask_badly(GetRecord("g"))
    assert len(record["happenings"]) == 120
    assert (record["gig"]["title"], len(record["rings"])) == ("said while it was full", 1)
    assert "cannot be written" in problem
    # ... and nothing is deleted or taken in that could not be finished.
    assert told.ask_badly(DeleteGig("g"))[0] is None
    assert told.ask_badly(MergeRecords([record]))[0] is None
    filler.unlink()
    awaited(lambda: told.journal.health() == "ok", PATIENCE_S)
    told.close()
    again = Told(disk / "j.sqlite3")
    assert again.ask(GetRecord("g")) == record
    # Everybody was told once.
    assert problems.qsize() == 120
    again.close()


def test_a_read_only_disk_can_still_be_read(disk: Path) -> None:
    told = Told(disk / "j.sqlite3")
    play_evening(told, "g", rings=5, hours=0.1, seed=1)
    told.close()
    turn(disk, "ro")
    told = Told(disk / "j.sqlite3")
    told.journal.tell(VenueChange("w", "Ropewalk"))
    awaited(lambda: "cannot be" in told.journal.health(), PATIENCE_S)
    gigs, problem = told.ask_badly(ListGigs(5))
    assert [gig["uid"] for gig in gigs] == ["g"]
    assert "a card that turned read-only by itself is worn out; listening goes on" in problem
    result, problem = told.ask_badly(DeleteGig("g"))
    assert result is None
    assert "cannot be" in problem
    turn(disk, "rw")
    awaited(lambda: told.journal.health() == "ok", PATIENCE_S)
    assert [venue["name"] for venue in told.ask(ListVenues())] == ["The Slipway 1", "Ropewalk"]
    told.close()


def test_a_card_that_fails_under_an_open_journal_keeps_what_it_had(card: WornCard) -> None:
    told = Told(card.place / "j.sqlite3")
    play_evening(told, "g", rings=5, hours=0.1, seed=1)
    kept = told.ask(GetRecord("g"))
    turn(card.place, "abort")
    told.rings("g", 1)
    told.journal.tell(VenueChange("w", "Ropewalk"))
    awaited(lambda: "cannot be" in told.journal.health(), PATIENCE_S)
    assert "listening goes on" in told.journal.health()
    record, problem = told.ask_badly(GetRecord("g"))
    assert len(record["rings"]) == len(kept["rings"]) + 1, "what waits is in the answers"
    assert "cannot be" in problem
    answers: queue.Queue[tuple[list[Any], str]] = queue.Queue()
    told.journal.read(50, lambda rows, problem: answers.put((rows, problem)))
    rows, problem = answers.get(timeout=PATIENCE_S)
    assert len(rows) == len(record["rings"])
    assert "cannot be" in problem
    told.close()
    card.power_cycle()
    again = Told(card.place / "j.sqlite3")
    assert again.ask(GetRecord("g")) == kept
    assert again.journal.health() == "ok"
    again.journal.tell(VenueChange("w", "Ropewalk"))
    assert "Ropewalk" in [venue["name"] for venue in again.ask(ListVenues())]
    again.close()


def test_what_is_least_is_lost_first_and_whoever_asked_is_told() -> None:
    waiting, lost = Waiting(4), []
    waiting.hold(GigChange("g", title="a"), None)
    waiting.hold(Happening("g", "note", "b", 1.0, {"text": "x"}), lambda _: lost.append("note"))
    for number in range(4):
        level = Happening("g", "level", "b", 1.0, {"n": number})
        waiting.hold(level, lambda why, n=number: lost.append((n, why)))  # type: ignore[misc]
    assert lost == [(0, LOST), (1, LOST)]
    for number in range(3):
        waiting.hold(GigChange("g", title=str(number)), None)
    assert lost[2:] == [(2, LOST), (3, LOST), "note"]
    assert [type(change).__name__ for change in waiting.changes()] == ["GigChange"] * 4
    assert waiting.lost_count == 5


def test_closing_does_not_wait_for_a_disk_that_hangs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    go_on = threading.Event()
    monkeypatch.setattr(store.Keeper, "write", lambda _: go_on.wait(PATIENCE_S))
    told = Told(tmp_path / "j")
    try:
        told.journal.tell(VenueChange("v", "x"))
        began_s = time.monotonic()
        told.journal.close(timeout_s=0.3)
        assert time.monotonic() - began_s < PATIENCE_S / 2.0
    finally:
        go_on.set()
        told.close()


class _FailsOnce:
    """A connection on which the first look outside a transaction fails as a bad card does."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self.failed = False

    def __getattr__(self, name: str) -> Any:
        return getattr(self._connection, name)

    def execute(self, statement: str, *values: Any) -> Any:
        looks = statement.startswith("SELECT") and not self._connection.in_transaction
        if looks and not self.failed:
            self.failed = True
            raise sqlite3.OperationalError("disk I/O error")
        return self._connection.execute(statement, *values)


def test_a_card_that_cannot_be_read_for_a_moment_does_not_end_the_journal(
    tmp_path: Path,
) -> None:
    told = Told(tmp_path / "j")
    told.begin("g")
    keeper = told.journal._keeper
    failing = _FailsOnce(keeper._connection)  # type: ignore[arg-type]
    keeper._connection = failing  # type: ignore[assignment]
    # Looked up right after the commit: what was told is on the disk, and that is said.
    assert told.tell(VenueChange("v", "The Slipway")) == ""
    assert failing.failed
    assert told.tell(VenueChange("w", "Ropewalk")) == ""
    awaited(lambda: told.journal.health() == "ok", PATIENCE_S)
    told.close()


def test_a_mistake_of_ours_does_not_end_the_journal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = Told(tmp_path / "j")
    told.begin("g")
    with monkeypatch.context() as patched:
        patched.setattr(keeping, "write_all", lambda *_args, **_more: 1 / 0)
        told.rings("g", 1)
        awaited(lambda: "division by zero" in told.journal.health(), PATIENCE_S)
    awaited(lambda: told.journal.health() == "ok", PATIENCE_S)
    assert len(told.ask(GetRecord("g"))["rings"]) == 1
    told.close()
