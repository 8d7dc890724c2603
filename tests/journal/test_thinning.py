"""The file stays small: levels are thinned, the oldest rings go, and no gig does."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

import pytest

from monitor.journal import thinning
from monitor.journal.asks import DeleteGig, GetRecord, Happening, ListGigs
from monitor.memory.from_record import memory_of
from tests.journal.evenings import play_evening
from tests.journal.telling import Told

MINUTES = 40


def thinned(path: Path, keep_gigs: int = 2, keep_rings: int = 10_000) -> None:
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("BEGIN")
    thinning.thin(connection, keep_rings=keep_rings, keep_gigs=keep_gigs)
    connection.execute("COMMIT")
    connection.close()


def _levels(record: dict[str, Any]) -> list[dict[str, Any]]:
    return [h for h in record["happenings"] if h["kind"] == "level"]


def test_old_gigs_keep_one_level_in_ten_and_later_only_its_height(told: Told) -> None:
    for number in range(12):
        play_evening(told, f"g{number}", rings=3, hours=MINUTES / 60, seed=number)
    before = [told.ask(GetRecord(f"g{number}")) for number in range(12)]
    for _ in range(2):  # a second time changes nothing more
        thinned(told.path)
    after = [told.ask(GetRecord(f"g{number}")) for number in range(12)]
    levels = [_levels(record) for record in after]
    assert [len(found) for found in levels] == [4] * 10 + [MINUTES] * 2
    assert ["third_octave_dbfs" in found[0] for found in levels] == [False] * 2 + [True] * 10
    assert levels[0][0]["level_dbfs"] == _levels(before[0])[9]["level_dbfs"]
    for old, new in zip(before, after, strict=True):
        assert new["rings"] == old["rings"]
        assert [h for h in new["happenings"] if h["kind"] != "level"] == [
            h for h in old["happenings"] if h["kind"] != "level"
        ]
        # How long there was sound is still known to the minute or ten.
        assert memory_of(new).heard_s == pytest.approx(memory_of(old).heard_s, abs=60.0)


def test_the_oldest_rings_go_and_their_gigs_keep_how_many_there_were(told: Told) -> None:
    for number in range(4):
        told.begin(f"g{number}")
        for ring in range(50):
            told.rings(
                f"g{number}", ring, session=f"s{number}", degree=("ringing", "howl")[ring % 2]
            )
        told.end(f"g{number}")
    counts = [(gig["ring_count"], gig["howl_count"]) for gig in told.ask(ListGigs(9))]
    assert counts == [(50, 25)] * 4
    for _ in range(2):
        thinned(told.path, keep_rings=120)
        assert [(gig["ring_count"], gig["howl_count"]) for gig in told.ask(ListGigs(9))] == counts
    assert [len(told.ask(GetRecord(f"g{n}"))["rings"]) for n in range(4)] == [0, 20, 50, 50]
    assert told.ask(GetRecord("g1"))["gig"]["rings_gone"] == 30


def test_what_belongs_to_no_gig_any_more_goes(told: Told) -> None:
    told.begin("g")
    told.ask(DeleteGig("g"))
    told.happens("g", "note", text="too late")
    told.ask(ListGigs(1))
    thinned(told.path)
    connection = sqlite3.connect(told.path)
    assert connection.execute("SELECT count(*) FROM happenings").fetchone() == (0,)
    connection.close()


def test_a_boot_stays_known_for_as_long_as_anything_is_dated_by_it(told: Told) -> None:
    def booted(boot_id: str) -> None:
        told.ask(ListGigs(1))  # what was told before is written
        told.clock.restart(boot_id, utc_s=told.clock.now.utc_s + 3600.0)

    def boots_left() -> list[str]:
        thinned(told.path)
        connection = sqlite3.connect(told.path)
        found = connection.execute("SELECT boot_id FROM boots ORDER BY seq").fetchall()
        connection.close()
        return [boot_id for (boot_id,) in found]

    told.begin("g")
    booted("rang")
    told.rings(None, 1)
    booted("happened")
    told.happens("g", "note", text="the singer is late")
    booted("ended")
    told.end("g")
    booted("newest")
    told.begin("another")
    assert boots_left() == ["boot-1", "rang", "happened", "ended", "newest"]
    told.ask(DeleteGig("g"))
    assert boots_left() == ["rang", "newest"]


def test_something_that_goes_on_telling_does_not_fill_the_card(
    told: Told, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(thinning, "MOST_CONTENT_CHARS", 20_000)
    told.begin("g")
    at = told.clock.at()
    for number in range(1000):
        note = {"text": f"{number:04} " + "x" * 40}
        told.journal.tell(Happening("g", "note", at.boot_id, at.uptime_s, note))
    told.ask(ListGigs(1))
    thinned(told.path)
    kept = [h["text"][:4] for h in told.ask(GetRecord("g"))["happenings"]]
    assert 250 < len(kept) < 350  # nine tenths of 20000 characters, 56 each
    assert kept[-1] == "0999"
    assert kept == sorted(kept)


def test_the_journal_thins_by_itself(tmp_path: Path) -> None:
    told = Told(tmp_path / "j", keep_gigs=1)
    play_evening(told, "g0", rings=3, hours=MINUTES / 60, seed=0)
    play_evening(told, "g1", rings=3, hours=MINUTES / 60, seed=1)
    told.close()
    told = Told(tmp_path / "j", told.clock, keep_gigs=1)
    told.begin("g2")
    record = told.ask(GetRecord("g1"))
    assert sum(h["kind"] == "level" for h in record["happenings"]) == 4
    told.close()
