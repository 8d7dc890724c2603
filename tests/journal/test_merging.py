"""Merging: the union of what two boxes know of a gig, and nothing of ours is lost by it."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor.journal.asks import (
    DeleteGig,
    GetRecord,
    GigChange,
    ListGigs,
    ListVenues,
    MergeRecords,
    NewestGig,
)
from monitor.journal.record import check_record
from tests.journal.evenings import play_evening
from tests.journal.telling import MAY_2031_S, HandClock, Told
from tests.journal.test_thinning import thinned

Record = dict[str, Any]
DAY_S = 86_400.0


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Told]:
    clock = HandClock()
    clock.restart("their-boot", utc_s=MAY_2031_S - 3 * DAY_S, trusted=True)
    other = Told(tmp_path / "other.sqlite3", clock, box="another lamp")
    yield other
    other.close()


def take(told: Told, record: Record) -> dict[str, int]:
    counts: dict[str, int] = told.ask(MergeRecords([check_record(record)]))
    return counts


def test_their_gig_is_here_with_its_box_and_venue(told: Told, other: Told) -> None:
    play_evening(other, "theirs", rings=9, hours=0.2, seed=3)
    record = other.ask(GetRecord("theirs"))
    told.begin("ours")
    assert take(told, record) == {"gigs": 1, "rings": 9}
    assert told.ask(GetRecord("theirs")) == record
    assert [gig["uid"] for gig in told.ask(ListGigs(5))] == ["ours", "theirs"]
    # It does not become what this box goes on with.
    assert told.ask(NewestGig()).uid == "ours"
    assert record["gig"]["box"] == "another lamp"


def test_the_same_twice_changes_nothing(told: Told, other: Told) -> None:
    play_evening(other, "theirs", rings=9, hours=0.2, seed=3)
    record = other.ask(GetRecord("theirs"))
    take(told, record)
    assert take(told, record) == {"gigs": 0, "rings": 0}
    assert told.ask(GetRecord("theirs")) == record
    # Our own, put back where it came from.
    play_evening(told, "ours", rings=9, hours=0.2, seed=4)
    ours = told.ask(GetRecord("ours"))
    assert take(told, ours) == {"gigs": 0, "rings": 0}
    assert told.ask(GetRecord("ours")) == ours


def test_two_copies_of_one_gig_become_their_union(told: Told, other: Told) -> None:
    play_evening(other, "theirs", rings=9, hours=0.2, seed=3)
    whole = other.ask(GetRecord("theirs"))
    first, second = copy.deepcopy(whole), copy.deepcopy(whole)
    first["rings"], second["rings"] = whole["rings"][:6], whole["rings"][4:]
    first["happenings"] = whole["happenings"][::2]
    second["happenings"] = whole["happenings"][1:]
    del first["gig"]["ended"], first["gig"]["ended_by"], first["gig"]["venue"]
    del first["gig"]["lasted_s"]
    assert take(told, first) == {"gigs": 1, "rings": 6}
    assert "venue" not in told.ask(ListGigs(1))[0]
    assert take(told, second) == {"gigs": 0, "rings": 3}
    merged = told.ask(GetRecord("theirs"))
    by_text = lambda h: (h["at_s"], str(sorted(h.items())))  # noqa: E731
    assert sorted(merged.pop("happenings"), key=by_text) == sorted(
        whole.pop("happenings"), key=by_text
    )
    assert merged == whole


def test_a_ring_that_was_cut_off_here_ends_as_there(told: Told, other: Told) -> None:
    other.begin("theirs")
    other.rings("theirs", 1, end_uptime_s=None)
    early = other.ask(GetRecord("theirs"))
    other.rings("theirs", 1, degree="howl")
    late = other.ask(GetRecord("theirs"))
    take(told, early)
    take(told, late)
    take(told, early)
    (ring,) = told.ask(GetRecord("theirs"))["rings"]
    assert (ring["degree"], ring["lasted_s"]) == ("howl", 2.0)


def test_the_same_name_is_the_same_venue(told: Told, other: Told) -> None:
    told.venue("ours", "The Slipway")
    other.venue("theirs", "the SLIPWAY")
    other.begin("g", venue_uid="theirs")
    take(told, other.ask(GetRecord("g")))
    assert [(v["uid"], v["gig_count"]) for v in told.ask(ListVenues())] == [("ours", 1)]


def test_what_stands_here_stands(told: Told) -> None:
    told.venue("v", "The Slipway")
    told.begin("g", venue_uid="v", title="ours")
    theirs = told.ask(GetRecord("g"))
    theirs["gig"]["title"] = "theirs"
    theirs["gig"]["venue"] = {"uid": "w", "name": "Ropewalk"}
    theirs["gig"]["ended"] = dict(theirs["gig"]["begun"], uptime_s=9e5)
    theirs["gig"]["ended_by"] = "quiet"
    take(told, theirs)
    (line,) = told.ask(ListGigs(5))
    # A file does not end the gig that goes on.
    assert (line["title"], line["venue"]["name"], line["on"]) == ("ours", "The Slipway", True)
    begun = dict(theirs["gig"]["begun"], dated="network", utc="1999-01-01T00:00:00Z")
    theirs["gig"]["begun"] = begun
    take(told, theirs)
    assert told.ask(ListGigs(5))[0]["begun"]["utc"] == "2031-05-17T20:15:00Z"


def test_what_was_deleted_comes_back_from_a_copy(told: Told) -> None:
    play_evening(told, "g", rings=9, hours=0.2, seed=3)
    record = told.ask(GetRecord("g"))
    told.ask(DeleteGig("g"))
    assert take(told, record) == {"gigs": 1, "rings": 9}
    assert told.ask(GetRecord("g")) == record


def test_a_copy_made_while_it_was_on_does_not_go_on_for_ever(told: Told) -> None:
    told.begin("g")
    told.clock.run(60.0)
    told.rings("g", 1)
    record = told.ask(GetRecord("g"))
    told.ask(DeleteGig("g"))
    take(told, record)
    (line,) = told.ask(ListGigs(5))
    assert (line["on"], line["lasted_s"]) == (False, 62.0)


def test_what_was_thinned_is_not_counted_twice(told: Told) -> None:
    told.begin("g")
    for number in range(10):
        told.rings("g", number, degree="howl")
    told.end("g")
    before = told.ask(GetRecord("g"))
    thinned(told.path, keep_rings=4)
    after = told.ask(GetRecord("g"))
    assert (len(after["rings"]), after["gig"]["rings_gone"]) == (4, 6)
    assert take(told, before) == {"gigs": 0, "rings": 0}
    assert told.ask(GetRecord("g")) == after
    (line,) = told.ask(ListGigs(5))
    assert (line["ring_count"], line["howl_count"]) == (10, 10)


def test_all_of_a_merge_or_nothing_and_never_at_the_cost_of_what_is_here(
    tmp_path: Path, other: Told
) -> None:
    small = Told(tmp_path / "small", keep_rings=10)
    small.begin("ours")
    for number in range(5):
        small.rings("ours", number, session="ours")
    play_evening(other, "theirs", rings=9, hours=0.2, seed=3)
    record = other.ask(GetRecord("theirs"))
    result, problem = small.ask_badly(MergeRecords([record]))
    assert result is None
    assert problem.startswith("that would make 14 rings, and the journal keeps 10; delete a gig")
    assert [gig["uid"] for gig in small.ask(ListGigs(5))] == ["ours"]
    assert small.ask(ListVenues()) == []
    assert small.journal.health() == "ok"
    small.close()


def test_their_clock_does_not_move_ours(told: Told, other: Told) -> None:
    told.begin("ours")
    before = told.ask(ListGigs(1))[0]["begun"]
    other.begin("theirs")
    record = other.ask(GetRecord("theirs"))
    record["boots"] = {
        told.clock.now.boot_id: {"dated": "network", "zero_utc": "1999-01-01T00:00:00Z"}
    }
    take(told, record)
    assert told.ask(ListGigs(5))[0]["begun"] == before
    told.tell(GigChange("ours", title="x"))
    assert told.journal.dated == "believed"
