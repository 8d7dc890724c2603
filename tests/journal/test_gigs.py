"""Gigs, venues and what happened: told, listed, and as they stand."""

from __future__ import annotations

import json
import math
import time
from itertools import pairwise

import pytest

from monitor.journal import recollecting
from monitor.journal.asks import (
    DeleteGig,
    DeleteVenue,
    GetRecord,
    GigChange,
    GigJoin,
    GigRings,
    Happening,
    Instant,
    ListGigs,
    ListVenues,
    NameGig,
    NewestGig,
    Recollect,
    VenueChange,
)
from monitor.journal.rows import RingRow
from monitor.link.commands import MAX_PLAN_BYTES
from monitor.uids import new_uid
from tests.journal.evenings import play_evening
from tests.journal.telling import MAY_2031_S, PATIENCE_S, Told
from tests.waiting import awaited


def test_a_gig_from_beginning_to_end(told: Told) -> None:
    told.venue("v", "The Slipway")
    told.begin("g", venue_uid="v", title="The Ferry Lamps")
    told.clock.run(60.0)
    told.rings("g", 1, degree="howl")
    told.rings("g", 2)
    told.rings(None, 3)
    (line,) = told.ask(ListGigs(5))
    assert line == {
        "uid": "g",
        "title": "The Ferry Lamps",
        "venue": {"uid": "v", "name": "The Slipway"},
        "begun": {"utc": "2031-05-17T20:15:00Z", "dated": "believed"},
        "ring_count": 2,
        "howl_count": 1,
        "on": True,
    }
    told.clock.run(60.0)
    told.end("g", by="quiet")
    (line,) = told.ask(ListGigs(5))
    assert (line["on"], line["lasted_s"]) == (False, 120.0)
    # It goes on after all; then it is somewhere else, and then nobody says where.
    told.tell(GigChange("g", goes_on=True))
    assert told.ask(ListGigs(5))[0]["on"] is True
    told.tell(GigChange("g", venue_uid="", title=""))
    (line,) = told.ask(ListGigs(5))
    assert not {"venue", "title", "lasted_s"} & line.keys()


def test_the_newest_come_first_and_pages_go_on_where_the_last_one_ended(told: Told) -> None:
    for number in range(7):
        told.begin(f"g{number}")
        told.clock.run(10.0)
    pages = [[gig["uid"] for gig in told.ask(ListGigs(3))]]
    while len(pages[-1]) == 3:
        pages.append([gig["uid"] for gig in told.ask(ListGigs(3, before=pages[-1][-1]))])
    assert pages == [["g6", "g5", "g4"], ["g3", "g2", "g1"], ["g0"]]
    assert told.ask_badly(ListGigs(3, before="never")) == (
        None,
        "no gig 'never' is kept; begin with the newest again",
    )


def test_how_the_newest_gig_stands(told: Told) -> None:
    assert told.ask(NewestGig()) is None
    told.venue("v", "The Slipway")
    told.begin("g", venue_uid="v")
    told.clock.run(100.0)
    told.rings("g", 1)
    told.happens("g", "song", n=4)
    told.clock.run(50.0)
    told.happens("g", "song", n=5)
    told.clock.run(30.0)
    standing = told.ask(NewestGig())
    assert (standing.uid, standing.venue_name, standing.song) == ("g", "The Slipway", 5)
    assert (standing.begun_age_s, standing.last_age_s, standing.ring_count) == (180.0, 30.0, 1)
    assert standing.last == Instant("boot-1", 250.0)
    assert standing.ended is None
    told.end("g", by="plug")
    assert told.ask(NewestGig()).ended_by == "plug"


def test_the_gig_before_the_one_that_is_on(told: Told) -> None:
    told.begin("a")
    told.clock.run(60.0)
    told.begin("b")
    assert told.ask(NewestGig()).uid == "b"
    standing = told.ask(NewestGig(but="b"))
    assert (standing.uid, standing.ended) == ("a", None)
    # Two are never on, whatever a pulled plug has left without an end.
    assert [(gig["uid"], gig["on"]) for gig in told.ask(ListGigs(5))] == [("b", True), ("a", False)]
    assert [gig["on"] for gig in told.ask(ListGigs(5, before="b"))] == [False]


def test_two_halves_become_one_at_once(told: Told) -> None:
    told.begin("a")
    told.rings("a", 1)
    told.clock.run(60.0)
    told.begin("b")
    for number in range(2, 9):
        told.rings("b", number)
        told.happens("b", "song", n=number)
    assert told.tell(GigJoin("b", into="a")) == ""
    record = told.ask(GetRecord("a"))
    assert [ring["id"] for ring in record["rings"]] == [*range(1, 9)]
    assert [one["n"] for one in record["happenings"]] == [*range(2, 9)]
    assert record["rings"][-1]["at_s"] == 60.0
    assert [gig["uid"] for gig in told.ask(ListGigs(5))] == ["a"]


def test_nothing_is_put_into_a_gig_that_is_gone(told: Told) -> None:
    told.begin("b")
    told.rings("b", 1)
    assert "no gig 'a' is kept" in told.tell(GigJoin("b", into="a"))
    assert len(told.ask(GetRecord("b"))["rings"]) == 1


def test_a_title_for_a_gig_that_is_over(told: Told) -> None:
    told.begin("a")
    told.end("a")
    assert told.ask(NameGig("a", "Regatta")) == {"gig": "a"}
    assert told.ask(ListGigs(1))[0]["title"] == "Regatta"
    result, problem = told.ask_badly(NameGig("b", "Regatta"))
    assert (result, "no gig 'b' is kept" in problem) == (None, True)


def test_the_rings_of_a_gig_are_its_own_oldest_first(told: Told) -> None:
    told.begin("g")
    for number in range(5):
        told.rings("g" if number % 2 == 0 else "another", number)
        told.clock.run(5.0)
    rows: list[RingRow] = told.ask(GigRings("g"))
    assert [row.id for row in rows] == [0, 2, 4]
    assert [row.id for row in told.ask(GigRings("g", limit=2))] == [2, 4]


def test_a_ring_does_not_lose_its_gig_when_it_ends(told: Told) -> None:
    told.begin("g")
    told.rings("g", 1, end_uptime_s=None)
    told.ask(ListGigs(1))
    told.rings(None, 1)
    told.rings("g", 2, end_uptime_s=None)
    told.rings(None, 2)  # before the first of them was written
    record = told.ask(GetRecord("g"))
    assert [(ring["id"], ring["lasted_s"]) for ring in record["rings"]] == [(1, 2.0), (2, 2.0)]


def test_venues_the_last_played_first(told: Told) -> None:
    for uid, name in (("a", "The Slipway"), ("b", "Ropewalk"), ("c", "Never played")):
        told.venue(uid, name)
    for uid, venue in (("1", "a"), ("2", "b"), ("3", "a")):
        told.begin(uid, venue_uid=venue)
        told.clock.run(86_400.0)
    venues = told.ask(ListVenues())
    assert [(v["name"], v["gig_count"]) for v in venues] == [
        ("The Slipway", 2), ("Ropewalk", 1), ("Never played", 0),
    ]  # fmt: skip
    assert (venues[0]["last_utc"], venues[0]["dated"]) == ("2031-05-19T20:15:00Z", "believed")
    assert "last_utc" not in venues[2]
    told.tell(VenueChange("a", "The old Slipway"))
    assert told.ask(ListGigs(1))[0]["venue"]["name"] == "The old Slipway"


def test_deleted_is_gone_from_the_disk_too(told: Told) -> None:
    told.begin("g", title="Nobody may ever read this")
    told.begin("h")
    told.rings("g", 1)
    told.happens("g", "note", text="nor this")
    told.rings("h", 2)
    assert told.ask(DeleteGig("g")) == {"rings": 1}
    assert [gig["uid"] for gig in told.ask(ListGigs(5))] == ["h"]
    result, problem = told.ask_badly(GetRecord("g"))
    assert (result, problem[:17]) == (None, "no gig 'g' is kep")
    assert told.ask_badly(DeleteGig("g"))[0] is None
    on_disk = b"".join(p.read_bytes() for p in told.path.parent.glob("journal.sqlite3*"))
    assert b"ever read" not in on_disk
    assert b"nor this" not in on_disk
    assert told.journal.health() == "ok"


def test_a_venue_that_is_deleted_leaves_its_gigs(told: Told) -> None:
    told.venue("v", "The Slipway")
    told.begin("g", venue_uid="v")
    assert told.ask(DeleteVenue("v")) == {"gigs": 1}
    assert "venue" not in told.ask(ListGigs(1))[0]
    assert told.ask(ListVenues()) == []
    assert told.ask_badly(DeleteVenue("v"))[1].startswith("no venue 'v' is kept")


@pytest.mark.parametrize(
    ("kind", "content", "why"),
    [
        ("shout", {}, "a happening 'shout'; known: way, pull"),
        ("note", {"text": math.nan}, "is no JSON"),
        ("note", {"text": "\ud800"}, "is no JSON"),
        ("note", {"text": {1, 2}}, "is no JSON"),
        ("note", {"kind": "x"}, "with its own 'kind'"),
        ("note", {"text": "x" * 40_000}, "at most 36864"),
    ],
)
def test_a_happening_that_could_never_be_written_is_refused(
    kind: str, content: dict[str, object], why: str
) -> None:
    with pytest.raises(ValueError, match=why):
        Happening("g", kind, "b", 1.0, content)  # type: ignore[arg-type]


def test_what_cannot_be_kept_does_not_hold_up_the_rest(told: Told) -> None:
    told.rings("g", 1, level_dbfs=math.nan)  # SQLite makes it NULL, and that is not allowed
    told.journal.put("no ring at all")  # type: ignore[arg-type]
    problem = told.tell(GigChange("g", begun=Instant("boot-1", None)))  # type: ignore[arg-type]
    assert problem.startswith("the journal cannot keep this GigChange")
    told.rings("g", 2)
    rows: list[int] = []
    told.journal.read(5, lambda found, _: rows.extend(row.id for row in found))
    told.ask(ListGigs(1))
    assert rows == [2]
    assert told.journal.health() == "3 entries were lost"


def test_callbacks_that_fail_do_not_end_the_journal(told: Told) -> None:
    def fails(*_: object) -> None:
        raise RuntimeError("the asker's trouble")

    told.journal.tell(VenueChange("v", "The Slipway"), fails)
    told.journal.ask(ListGigs(1), fails)
    told.journal.ask(Recollect(), fails)
    told.journal.read(1, fails)
    assert [venue["name"] for venue in told.ask(ListVenues())] == ["The Slipway"]
    assert told.ask(Recollect()).fields()["gig_count"] == 0
    assert told.ask_badly("what is this")[1].startswith("the journal cannot answer")  # type: ignore[arg-type]


def test_what_the_memory_is_given(told: Told) -> None:
    for number in range(4):
        play_evening(told, f"g{number}", rings=6, hours=0.2, seed=number, venues=2)
    fields = told.ask(Recollect("venue0")).fields()
    assert (fields["gig_count"], fields["venue_count"]) == (4, 2)
    assert fields["venue"]["gig_count"] == 2
    assert "last_utc" not in fields["venue"]  # believed only
    assert told.ask(Recollect("venue0", but="g2")).fields()["venue"]["gig_count"] == 1
    # Said before, and now there is one more.
    told.begin("another", venue_uid="venue0")
    assert told.ask(Recollect("venue0")).fields()["venue"]["gig_count"] == 3
    told.ask(DeleteGig("another"))
    assert told.ask(Recollect("venue0")).fields()["venue"]["gig_count"] == 2


def test_the_memory_hears_of_a_ring_that_became_a_howl(told: Told) -> None:
    told.venue("v", "The Slipway")
    told.begin("g", venue_uid="v")
    told.rings("g", 1, degree="ringing", end_uptime_s=None)
    told.ask(ListGigs(1))
    assert told.ask(Recollect("v")).fields()["venue"]["rang"][0]["howls"] == 0
    told.rings("g", 1, degree="howl")
    told.tell(VenueChange("v", "The old Slipway"))  # what was said before holds no longer
    assert told.ask(Recollect("v")).fields()["venue"]["rang"][0]["howls"] == 1


def test_the_largest_plan_is_kept(told: Told) -> None:
    told.begin("g")
    stage = {"room": "x" * (MAX_PLAN_BYTES - 11)}
    assert len(json.dumps(stage, separators=(",", ":"))) == MAX_PLAN_BYTES
    told.happens("g", "plan", revision=10**9, sentence="x" * 240, stage=stage)
    assert told.ask(GetRecord("g"))["happenings"][0]["stage"] == stage


def test_whoever_asks_the_memory_for_ever_has_half_a_processor(
    told: Told, monkeypatch: pytest.MonkeyPatch
) -> None:
    began_s = []

    def slow(*_given: object) -> str:
        began_s.append(time.monotonic())
        time.sleep(0.2)
        return "all I know"

    monkeypatch.setattr(recollecting, "recollection", slow)
    for venue in "abc":
        told.ask(Recollect(venue))
        told.ask(Recollect(venue))  # what was just said costs nothing
    assert len(began_s) == 3
    assert all(b - a >= 0.4 for a, b in pairwise(began_s))


def test_few_writes_while_little_happens(told: Told) -> None:
    # The watcher's quiet minute is one level.  As many as come within a third of a second are
    # one transaction, and nothing is written when nothing is told.
    told.begin("g")
    before = _commits(told)
    for _ in range(50):
        told.happens("g", "level", level_dbfs=-30.0, peak_dbfs=-20.0, loud=False)
    awaited(lambda: len(told.ask(GetRecord("g"))["happenings"]) == 50, PATIENCE_S)
    assert 1 <= _commits(told) - before <= 10
    quiet = _commits(told)
    told.ask(ListGigs(1))
    told.ask(Recollect())
    assert _commits(told) == quiet


def _commits(told: Told) -> int:
    """The write-ahead log's frames that end a transaction: the second word of their head is not
    zero (SQLite's documentation, "Database File Format", on the log; from memory)."""
    log = told.path.with_name(told.path.name + "-wal").read_bytes()
    page = int.from_bytes(log[8:12], "big")
    frames = range(32, len(log), page + 24)
    return sum(log[at + 4 : at + 8] != b"\0\0\0\0" for at in frames)


def test_uids_are_sixteen_digits_and_never_the_same() -> None:
    uids = {new_uid() for _ in range(1000)}
    assert len(uids) == 1000
    assert all(len(uid) == 16 and int(uid, 16) >= 0 for uid in uids)


def test_the_date_the_tests_stand_on() -> None:
    from datetime import UTC, datetime

    assert datetime.fromtimestamp(MAY_2031_S, UTC).isoformat() == "2031-05-17T20:15:00+00:00"
