"""Gigs as the clerk keeps them, with the real journal and a clock moved by hand."""

from __future__ import annotations

import itertools
import json
import queue
import sqlite3
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from monitor.gig_clerk import answers as gig_answers
from monitor.gig_clerk import clerk as gig_clerk
from monitor.gig_clerk import recollecting as gig_recollecting
from monitor.gig_clerk import restoring as gig_restoring
from monitor.journal import answers, recollecting
from monitor.journal.asks import NewestGig
from monitor.journal.rows import RingRow
from monitor.memory.from_record import memory_of
from tests.core.stand_ins import PLAN
from tests.gigs.played import ON_THE_DAY_UTC_S, Evening, snapshot
from tests.waiting import awaited

HOUR_S = 3600.0


@pytest.fixture
def begin(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., Evening]]:
    monkeypatch.setattr(gig_clerk, "LOOK_S", 0.01)
    opened: list[Evening] = []

    def one(**more: Any) -> Evening:
        opened.append(Evening(tmp_path, **more))
        return opened[-1]

    yield one
    for evening in opened:
        evening.close()


def kinds(record: dict[str, Any]) -> list[str]:
    return [happening["kind"] for happening in record["happenings"]]


def test_a_ring_begins_a_gig_and_tells_how_all_stands(begin: Callable[..., Evening]) -> None:
    box = begin()
    box.see(standing=[{"slider": 1, "cut_db": -3.0}])
    assert box.gig() == {"on": False, "ring_count": 0}
    box.ring()
    box.pass_s(30.0)
    gig = box.gig()
    assert (gig["on"], gig["ring_count"], gig["begun_age_s"]) == (True, 1, 31.0)
    record = box.record(gig["uid"])
    assert record["gig"]["box"] == "left"
    assert kinds(record) == ["equaliser", "way", "pull"]
    assert record["equaliser"]["name"] == "two"
    (ring,) = record["rings"]
    assert (ring["at_s"], ring["lasted_s"], ring["degree"]) == (0.0, 1.0, "howl")


def test_a_gig_goes_on_in_the_file_that_takes_a_damaged_one_s_place(
    begin: Callable[..., Evening],
) -> None:
    """What is answered with "done" after the damage is not lost for want of the gig it is of."""
    box = begin()
    box.done(do="venue", name="The Ferry Inn")
    box.done(do="rename", name="First night")
    box.see(way="soundcheck")
    box.ring()
    uid = box.gig()["uid"]
    for path in box.path.parent.glob(f"{box.path.name}*"):
        with path.open("r+b") as file:
            file.write(b"\xa5" * 65536)
    box.ask({"class": "gig", "do": "note", "text": "said while it was damaged"})
    awaited(lambda: "damaged-1" in box.journal.health(), 20.0)
    box.see()
    box.ring()
    box.done(do="note", text="said after it")
    assert box.done(do="song")["song"] == 1
    (gig,) = box.gigs()
    assert (gig["uid"], gig["title"], gig["venue"]["name"]) == (uid, "First night", "The Ferry Inn")
    record = box.record(uid)
    assert {"equaliser", "way", "note", "song"} <= {*kinds(record)}
    notes = [h["text"] for h in record["happenings"] if h["kind"] == "note"]
    assert notes == ["said while it was damaged", "said after it"]
    assert record["rings"][-1]["id"] == 2
    box.restart()
    assert box.gig()["uid"] == uid


def test_what_happens_is_kept_in_its_order(begin: Callable[..., Evening]) -> None:
    box = begin()
    box.done(do="venue", name="The Ferry Inn")
    for pause_s, changes in (
        (1.0, {"way": "soundcheck"}),
        (1.0, {"standing": [{"slider": 0, "cut_db": -6.0}]}),
        (2.0, {}),
        (1.0, {"state": "deaf", "deaf_reason": "unplugged"}),
        (1.0, {"state": "quiet"}),
        (1.0, {"soundcheck": {"ticks": ["cables"], "plan_revision": 3}}),
        (20.0, {}),
        (1.0, {"ring_out": {"phase": "ready"}}),
        (1.0, {"ring_out": {"phase": "done", "cut_count": 0, "tone_cost_db": 0.0, "why": "x"}}),
    ):
        box.pass_s(pause_s)
        box.see(**changes)
    assert box.done(do="song")["song"] == 1
    assert box.done(do="song")["song"] == 2
    box.done(do="note", text="the left wedge hums")
    uid = box.gig()["uid"]
    awaited(lambda: "plan" in kinds(box.record(uid)), 10.0)
    record = box.record(uid)
    assert kinds(record)[:7] == ["equaliser", "way", "way", "pull", "deaf", "hears", "check"]
    assert sorted(kinds(record)[7:]) == ["note", "plan", "ring_out", "song", "song"]
    by_kind = {h["kind"]: h for h in record["happenings"]}
    assert by_kind["pull"]["pulls"] == [{"label": "1k", "centre_hz": 1000.0, "pull_db": 6.0}]
    assert by_kind["pull"]["curve"] == {"hz": [100.0, 1000.0], "db": [0.0, -6.0]}
    assert by_kind["plan"]["stage"] == PLAN
    assert by_kind["note"]["text"] == "the left wedge hums"
    assert by_kind["ring_out"]["why"] == "x"
    assert record["gig"]["venue"]["name"] == "The Ferry Inn"
    assert box.gig()["song"] == 2


def test_levels_are_kept_a_minute_while_there_is_sound(begin: Callable[..., Evening]) -> None:
    box = begin()
    for _ in range(62):
        box.pass_s(1.0)
        box.see()
    assert not box.gig()["on"]
    for _ in range(125):
        box.pass_s(1.0)
        box.see(level_dbfs=-20.0, peak_dbfs=-8.0)
    assert box.gig()["on"], "two minutes of sound are a gig"
    for _ in range(13):
        for _ in range(60):
            box.pass_s(1.0)
            box.see(level_dbfs=-60.0, peak_dbfs=-50.0)
    levels = [h for h in box.record(box.gig()["uid"])["happenings"] if h["kind"] == "level"]
    assert [level["loud"] for level in levels[:2]] == [True, True]
    assert levels[0]["level_dbfs"] == pytest.approx(-20.0, abs=0.3)
    # A level stands for the minute before it: the memory has as much sound as there was.
    assert [level["loud"] for level in levels].index(False) == 2
    memory = memory_of(box.record(box.gig()["uid"]))
    assert memory.heard_s == pytest.approx(levels[-1]["at_s"], abs=1.0)
    assert levels[-1]["at_s"] == pytest.approx(60.0 * len(levels), abs=60.0)
    # Ten minutes of quiet after the last sound are kept, the rest of the night is not.
    assert 9 <= sum(not level["loud"] for level in levels) <= 11


def test_quiet_ends_it_and_the_next_is_another(begin: Callable[..., Evening]) -> None:
    box = begin()
    box.ring()
    first = box.gig()["uid"]
    box.pass_s(91 * 60.0)
    box.see()
    awaited(lambda: not box.gig()["on"], 10.0)
    gig = box.record(first)["gig"]
    assert (gig["ended_by"], gig["lasted_s"]) == ("quiet", 1.0)
    box.ring()
    assert box.gig()["uid"] != first
    assert [line["on"] for line in box.gigs()] == [True, False]


@pytest.mark.parametrize(
    "command", [{"do": "end"}, {"do": "song"}, {"do": "note", "text": "x"}, {"do": "clear_venue"}]
)
def test_what_was_meant_for_a_gig_that_is_over_does_nothing_to_the_next(
    begin: Callable[..., Evening], command: dict[str, Any]
) -> None:
    """It was on the way while the gig ended by itself and another began."""
    box = begin()
    box.ring()
    first = box.gig()["uid"]
    box.pass_s(91 * 60.0)
    second = box.done(do="venue", name="Lamp Room")["gig"]
    before = box.gig(), box.record(second)
    refused = box.ask({"class": "gig", **command, "gig": first})
    assert refused["message"] == "that gig is over and another is on; look before you do it again"
    assert (box.gig(), box.record(second)) == before
    box.done(**command, gig=second)
    assert (box.gig(), box.record(second)) != before


def test_after_the_button_it_says_how_long_sound_begins_none(
    begin: Callable[..., Evening],
) -> None:
    box = begin()
    box.ring()
    box.done(do="end")
    box.pass_s(60.0)
    assert box.gig() == {"on": False, "ring_count": 0, "stays_over_for_s": 840.0}
    box.done(do="begin")
    assert box.gig()["on"] is True
    assert "stays_over_for_s" not in box.gig()


def test_a_ring_that_is_open_at_the_end_stays_with_its_gig(begin: Callable[..., Evening]) -> None:
    box = begin()
    row = box.ring(closes_after_s=None)
    uid = box.gig()["uid"]
    box.done(do="end")
    box.clerk.ring(
        type(row)(**{**{n: getattr(row, n) for n in row.__slots__}, "end_uptime_s": 9e9})
    )
    box.do_all()
    assert [r["id"] for r in box.record(uid)["rings"]] == [row.id]
    assert not box.gig()["on"]
    # Packing up: the next ring belongs to none.
    box.ring()
    assert not box.gig()["on"]
    assert len(box.gigs()) == 1


def test_venues_by_name_by_uid_and_put_right(begin: Callable[..., Evening]) -> None:
    box = begin()
    first = box.done(do="venue", name="  The Ferry Inn ")
    assert box.gig()["venue"] == {"uid": first["venue"], "name": "The Ferry Inn"}
    again = box.done(do="venue", name="the ferry inn")
    assert (again["venue"], again["gig"]) == (first["venue"], first["gig"])
    other = box.done(do="venue", name="Lamp Room")
    assert other["gig"] == first["gig"], "a slip is put right in the same gig"
    back = box.done(do="venue", venue=first["venue"])
    assert back["venue"] == first["venue"]
    box.done(do="rename", venue=first["venue"], name="Ferry Inn")
    assert box.gig()["venue"]["name"] == "Ferry Inn"
    taken = box.ask({"class": "gig", "do": "rename", "venue": first["venue"], "name": "LAMP room"})
    assert "another venue is called 'LAMP room' already" in taken["message"]
    box.done(do="clear_venue")
    assert "venue" not in box.gig()
    names = {v["name"]: v["gig_count"] for v in box.ask({"class": "venues"})["venues"]}
    assert names == {"Ferry Inn": 0, "Lamp Room": 0}
    box.done(do="delete", venue=other["venue"])
    assert [v["name"] for v in box.ask({"class": "venues"})["venues"]] == ["Ferry Inn"]


def test_another_venue_late_is_another_gig(begin: Callable[..., Evening]) -> None:
    box = begin()
    first = box.done(do="venue", name="The Ferry Inn")
    for _ in range(4):
        box.pass_s(HOUR_S)
        box.ring()
    second = box.done(do="venue", name="Lamp Room")
    assert second["gig"] != first["gig"]
    assert box.record(first["gig"])["gig"]["ended_by"] == "new"


@pytest.mark.parametrize(
    ("command", "expected"),
    [
        ({"do": "end"}, "no gig is on; begin one first"),
        ({"do": "song"}, "no gig is on"),
        ({"do": "note", "text": "x"}, "no gig is on"),
        ({"do": "clear_venue"}, "no gig is on"),
        ({"do": "rename", "name": "x"}, "no gig is on"),
        ({"do": "venue", "venue": "f" * 16}, "no venue 'ffffffffffffffff' is known; load the list"),
        ({"do": "rename", "venue": "f" * 16, "name": "x"}, "no venue 'ffffffffffffffff' is known"),
        ({"do": "delete", "venue": "f" * 16}, "no venue 'ffffffffffffffff' is known"),
        ({"do": "delete", "gig": "f" * 16}, "no gig 'ffffffffffffffff' is kept"),
    ],
)
def test_what_makes_no_sense_changes_nothing(
    begin: Callable[..., Evening], command: dict[str, Any], expected: str
) -> None:
    box = begin()
    answer = box.ask({"class": "gig", **command})
    assert answer["class"] == "error"
    assert expected in answer["message"]
    assert "\n" not in answer["message"]
    assert box.gigs() == []
    assert box.ask({"class": "venues"})["venues"] == []


def test_a_gig_is_named_and_deleted_once_it_is_over(begin: Callable[..., Evening]) -> None:
    box = begin()
    uid = box.done(do="begin")["gig"]
    box.done(do="rename", name="The Ferry Lamps")
    assert box.gig()["title"] == "The Ferry Lamps"
    box.ring()
    refused = box.ask({"class": "gig", "do": "delete", "gig": uid})
    assert "this gig is on; end it before you delete it" in refused["message"]
    box.done(do="end")
    box.done(do="rename", gig=uid, name="Ferry Lamps")
    (line,) = box.ask({"class": "gigs"})["gigs"]
    assert (line["title"], line["ring_count"], line["howl_count"]) == ("Ferry Lamps", 1, 1)
    refused = box.ask({"class": "gig", "do": "rename", "gig": "0" * 16, "name": "Nobody's"})
    assert "no gig '0000000000000000' is kept" in refused["message"]
    assert box.done(do="delete", gig=uid)["rings"] == 1
    assert box.ask({"class": "gigs"})["gigs"] == []


def read_in_pieces(box: Evening, uid: str) -> dict[str, Any]:
    text = ""
    for _ in range(100):
        piece = box.ask({"class": "record", "gig": uid, "offset": len(text)})
        assert piece["class"] == "record", piece
        text += piece["text"]
        if len(text) == piece["total"]:
            return dict(json.loads(text))
    raise AssertionError("the record never ends")


def test_a_long_record_in_pieces_is_the_record(begin: Callable[..., Evening]) -> None:
    box = begin()
    box.done(do="venue", name="The Ferry Inn")
    for _ in range(250):
        box.ring()
        box.pass_s(5.0)
    uid = box.gig()["uid"]
    record = read_in_pieces(box, uid)
    assert record == box.record(uid)
    assert len(record["rings"]) == 250
    missing = box.ask({"class": "record", "gig": "f" * 16})
    assert "no gig 'ffffffffffffffff' is kept" in missing["message"]
    beyond = box.ask({"class": "record", "gig": uid, "offset": 10_000_000})
    assert "beyond the record's" in beyond["message"]


def send_in_pieces(box: Evening, content: Any, upload: str = "up") -> dict[str, Any]:
    text = json.dumps(content)
    answer: dict[str, Any] = {}
    for offset in range(0, len(text), 20_000):
        piece = text[offset : offset + 20_000]
        last = offset + 20_000 >= len(text)
        answer = box.ask(
            {"class": "import", "upload": upload, "offset": offset, "text": piece, "last": last}
        )
        if answer["class"] == "error":
            return answer
    return answer


def test_a_record_goes_to_another_box(begin: Callable[..., Evening], tmp_path: Path) -> None:
    box = begin()
    box.done(do="venue", name="The Ferry Inn")
    for _ in range(100):
        box.ring()
    uid = box.gig()["uid"]
    box.done(do="end")
    record = box.record(uid)
    (tmp_path / "other").mkdir()
    other = Evening(tmp_path / "other", boot_id="boot-9")
    try:
        answer = send_in_pieces(other, record)
        assert (answer["class"], answer["gigs"], answer["rings"]) == ("done", 1, 100)
        assert (send_in_pieces(other, [record])["gigs"], other.gigs()[0]["uid"]) == (0, uid)
        # The venue that came with it is known at once.
        awaited(lambda: "The Ferry Inn" in other.clerk._keeping.venues.values(), 10.0)
        refused = send_in_pieces(other, {**record, "rings": [{"id": "x"}]})
        assert refused["class"] == "error"
        assert "\n" not in refused["message"]
    finally:
        other.close()


# --- restarts, plugs and clocks -----------------------------------------------------------------


def test_a_restart_goes_on_with_the_same_gig(begin: Callable[..., Evening]) -> None:
    box = begin()
    box.done(do="venue", name="The Ferry Inn")
    box.done(do="song")
    first = box.ring()
    before = box.gig()
    box.pass_s(60.0)
    box.restart()
    gig = box.gig()
    assert (gig["uid"], gig["venue"], gig["song"], gig["ring_count"]) == (
        before["uid"],
        before["venue"],
        1,
        1,
    )
    assert gig["begun_age_s"] == pytest.approx(before["begun_age_s"] + 60.0)
    assert "in_doubt" not in gig
    ((row, age_s),) = box.past
    assert (row.id, row.session) == (first.id, "first")
    assert age_s == pytest.approx(60.0)
    # How things stood is not told a second time.
    assert kinds(box.record(gig["uid"])).count("equaliser") == 1


def test_what_stands_otherwise_after_a_restart_is_told(begin: Callable[..., Evening]) -> None:
    # Another equaliser in the settings, nothing known of its sliders, the microphone in again.
    box = begin()
    box.ring()
    uid = box.gig()["uid"]
    box.see(way="soundcheck", standing=[{"slider": 1, "cut_db": -3.0}])
    box.pass_s(5.0)
    box.see(state="deaf", deaf_reason="The microphone is unplugged")
    box.pass_s(60.0)
    other = {**snapshot()["equaliser"], "name": "three"}
    box.restart(equaliser=other, way="set")
    box.see(state="quiet")
    record = box.record(uid)
    assert record["equaliser"] == other
    told = record["happenings"][-4:]
    assert [one["kind"] for one in told] == ["equaliser", "way", "pull", "hears"]
    assert (told[1]["way"], told[2]["pulls"]) == ("set", [])
    assert told[0]["at_s"] == pytest.approx(66.0, abs=0.1)


def test_a_box_that_cannot_hear_since_the_restart_says_so(begin: Callable[..., Evening]) -> None:
    box = begin()
    box.ring()
    uid = box.gig()["uid"]
    for _ in range(2):
        box.restart(state="deaf", deaf_reason="The microphone is unplugged")
        box.see()
    assert kinds(box.record(uid)) == ["equaliser", "way", "deaf"]


def test_a_restart_long_after_finds_it_over(begin: Callable[..., Evening]) -> None:
    box = begin()
    box.ring()
    uid = box.gig()["uid"]
    box.pass_s(2 * HOUR_S)
    box.restart()
    assert not box.gig()["on"]
    assert box.record(uid)["gig"]["ended_by"] == "quiet"
    assert box.past == []


def test_a_second_phone_puts_the_time_right_and_the_box_says_what_it_has(
    begin: Callable[..., Evening],
) -> None:
    box = begin()
    assert "utc_s" not in box.clerk.fields()
    box.ask({"class": "clock", "utc_s": ON_THE_DAY_UTC_S + 7200.0})
    assert box.clerk.fields()["utc_s"] == pytest.approx(ON_THE_DAY_UTC_S + 7200.0, abs=30.0)
    box.ask({"class": "clock", "utc_s": ON_THE_DAY_UTC_S})
    box.pass_s(600.0)
    assert box.clerk.fields()["dated"] == "phone"
    assert box.clerk.fields()["utc_s"] == pytest.approx(ON_THE_DAY_UTC_S + 600.0, abs=30.0)


@pytest.mark.parametrize("trusted", [True, False])
def test_the_plug_in_the_middle_with_clocks(
    begin: Callable[..., Evening], tmp_path: Path, trusted: bool
) -> None:
    """Dates by the network, or by a phone that told both boots."""
    box = begin(trusted=trusted)
    box.ring()
    if not trusted:
        assert box.ask({"class": "clock", "utc_s": ON_THE_DAY_UTC_S + 7.0})["class"] == "done"
    uid = box.gig()["uid"]
    box.close()
    again = Evening(
        tmp_path, boot_id="boot-2", uptime_s=20.0, session="second", trusted=trusted,
        utc_s=ON_THE_DAY_UTC_S + 600.0 if trusted else 5.0,
    )  # fmt: skip
    try:
        if not trusted:
            assert again.gig() == {"on": False, "ring_count": 0, "in_doubt": True}
            answer = again.ask({"class": "clock", "utc_s": ON_THE_DAY_UTC_S + 600.0})
            assert answer["class"] == "done"
        awaited(lambda: again.gig()["on"], 10.0)
        gig = again.gig()
        assert (gig["on"], gig["uid"], gig["ring_count"]) == (True, uid, 1)
        assert "in_doubt" not in gig
        assert again.clerk.fields()["dated"] == ("network" if trusted else "phone")
        assert gig["begun_age_s"] == pytest.approx(600.0, abs=10.0)
        awaited(lambda: len(again.past) == 1, 10.0)
        assert again.past[0][1] == pytest.approx(600.0, abs=10.0)
        again.ring()
        record = again.record(uid)
        assert [ring["session"] for ring in record["rings"]] == ["first", "second"]
        assert record["rings"][1]["at_s"] == pytest.approx(600.0, abs=10.0)
    finally:
        again.close()


def test_another_evening_without_a_clock_is_another_gig(
    begin: Callable[..., Evening], tmp_path: Path
) -> None:
    box = begin()
    box.ring()
    first = box.gig()["uid"]
    box.close()
    again = Evening(tmp_path, boot_id="boot-2", uptime_s=20.0, session="second", utc_s=5.0)
    try:
        again.ring()
        gig = again.gig()
        assert gig["in_doubt"] is True
        assert gig["uid"] != first
        assert again.record(first)["gig"]["ended_by"] == "plug"
    finally:
        again.close()


@pytest.mark.parametrize("hours", [0.2, 20.0])
def test_a_phone_says_late_whether_it_was_the_same_evening(
    begin: Callable[..., Evening], tmp_path: Path, hours: float
) -> None:
    box = begin()
    box.done(do="venue", name="The Ferry Inn")
    box.ring()
    box.ask({"class": "clock", "utc_s": ON_THE_DAY_UTC_S})
    first = box.gig()["uid"]
    box.close()
    again = Evening(tmp_path, boot_id="boot-2", uptime_s=20.0, session="second", utc_s=5.0)
    try:
        again.ring()
        again.pass_s(60.0)
        again.ring()
        again.done(do="song")
        since = again.gig()["uid"]
        assert since != first
        again.ask({"class": "clock", "utc_s": ON_THE_DAY_UTC_S + hours * HOUR_S})
        awaited(lambda: "in_doubt" not in again.gig(), 10.0)
        again.done(do="note", gig=since, text="two halves")  # a page that has not heard of it yet
        if hours > 1.5:
            assert again.gig()["uid"] == since
            assert {line["uid"] for line in again.gigs()} == {first, since}
            return
        assert again.gig()["uid"] == first
        assert again.gig()["ring_count"] == 3
        awaited(lambda: len(again.gigs()) == 1, 10.0)
        record = again.record(first)
        assert len(record["rings"]) == 3
        assert {"song", "note"} <= set(kinds(record))
        assert kinds(record).count("equaliser") == 2  # nothing that was told since is missing
        assert record["gig"]["venue"]["name"] == "The Ferry Inn"
        assert "ended" not in record["gig"]
    finally:
        again.close()


def test_a_card_that_comes_late_loses_no_half_of_a_gig(
    begin: Callable[..., Evening], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(gig_restoring, "AGAIN_S", 0.1)
    box = begin(trusted=True)
    box.done(do="venue", name="The Ferry Inn")
    box.ring()
    first = box.gig()["uid"]
    box.close()
    away = tmp_path.with_name("away")
    tmp_path.rename(away)
    tmp_path.write_text("no folder")  # the card is not there
    again = Evening(
        tmp_path, boot_id="boot-2", uptime_s=20.0, session="second",
        utc_s=ON_THE_DAY_UTC_S + 600.0, trusted=True,
    )  # fmt: skip
    try:
        again.ring()
        assert again.gig()["uid"] != first
        tmp_path.unlink()
        away.rename(tmp_path)
        awaited(lambda: again.gig().get("uid") == first, 20.0)
        assert (again.gig()["ring_count"], again.gig()["venue"]["name"]) == (2, "The Ferry Inn")
        again.ring()
        awaited(lambda: again.journal.health() == "ok", 20.0)
        assert [(line["uid"], line["on"]) for line in again.gigs()] == [(first, True)]
        assert len(again.record(first)["rings"]) == 3
        # The venue is known by its name again.
        assert again.done(do="venue", name="the ferry inn")["venue"] == again.gig()["venue"]["uid"]
        assert len(again.ask({"class": "venues"})["venues"]) == 1
    finally:
        again.close()


def test_a_venue_that_could_not_be_deleted_is_still_there(
    begin: Callable[..., Evening], monkeypatch: pytest.MonkeyPatch
) -> None:
    box = begin()
    venue = box.done(do="venue", name="The Ferry Inn")["venue"]
    with monkeypatch.context() as patched:
        patched.setattr(answers, "delete_venue", _refuses)
        refused = box.ask({"class": "gig", "do": "delete", "venue": venue})
    assert refused["message"] == "not now"
    box.see()
    assert box.gig()["venue"]["uid"] == venue
    assert box.done(do="rename", venue=venue, name="The old Ferry Inn")["venue"] == venue
    assert box.gig()["venue"]["name"] == "The old Ferry Inn"
    box.done(do="delete", venue=venue)
    box.see()
    assert "venue" not in box.gig()


def _refuses(*_given: object) -> None:
    raise ValueError("not now")


@pytest.mark.parametrize("jump_s", [-30 * 365 * 86400.0, 30 * 365 * 86400.0])
def test_the_clock_jumps_by_years_and_the_gig_goes_on(
    begin: Callable[..., Evening], jump_s: float
) -> None:
    box = begin()
    box.ring()
    uid = box.gig()["uid"]
    box.utc_s += jump_s
    box.see()
    box.pass_s(60.0)
    box.ring()
    assert box.gig()["uid"] == uid
    assert box.gig()["begun_age_s"] == pytest.approx(62.0)
    assert [ring["at_s"] for ring in box.record(uid)["rings"]] == [0.0, 61.0]


def test_the_plug_at_any_instant_loses_no_gig(tmp_path: Path) -> None:
    """Every ring that was answered for is in some gig, whatever was done before the plug."""
    counter = itertools.count()
    rings = 0
    for boot in range(4):
        box = Evening(tmp_path, boot_id=f"boot-{boot}", session=f"s{boot}", utc_s=float(boot))
        try:
            box.done(do="begin") if boot % 2 else box.ring()
            rings += (boot + 1) % 2
            box.ring()
            rings += 1
            box.done(do="venue", name=f"venue {next(counter)}")
        finally:
            # No word of an end: as with the plug, only what was answered is on the disk.
            box.close()
    last = Evening(tmp_path, boot_id="boot-9", session="s9")
    try:
        gigs = last.gigs()
        assert len(gigs) == 4
        assert sum(gig["ring_count"] for gig in gigs) == rings
        assert all("venue" in gig for gig in gigs)
        assert not any(gig["on"] for gig in gigs), "each was left on and has been ended"
    finally:
        last.close()


class Unseen(Evening):
    """A box that is ended before it has anything to show."""

    def see(self, **changes: Any) -> None:
        pass

    def _is_at_work(self) -> bool:
        return True


def test_a_box_that_is_ended_before_it_shows_anything_waits_for_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(gig_clerk, "SNAPSHOT_WAIT_S", 600.0)
    box = Unseen(tmp_path)
    box.close()
    assert not box.clerk._thread.is_alive()


# --- loads --------------------------------------------------------------------------------------


def test_a_flood_of_commands_is_told_to_wait_and_rings_are_kept(
    begin: Callable[..., Evening], monkeypatch: pytest.MonkeyPatch
) -> None:
    box = begin()
    box.ring()
    uid = box.gig()["uid"]
    answers: list[Any] = []
    refused: list[str] = []
    for _ in range(3000):
        try:
            box.clerk.ask({"class": "gig", "do": "song"}, answers.append)
        except ValueError as error:
            refused.append(str(error))
    assert set(refused) <= {"the gigs are behind; ask again in a few seconds"}
    box.ring()
    box.ring()
    awaited(lambda: len(answers) == 3000 - len(refused), 60.0)
    awaited(lambda: len(box.record(uid)["rings"]) == 3, 20.0)
    assert kinds(box.record(uid)).count("song") == 3000 - len(refused)
    asked: list[Any] = []
    monkeypatch.setattr(gig_answers, "MOST_ASKED", 3)
    flood = partial(_ask_often, box, asked)
    with pytest.raises(ValueError, match="the journal is behind; ask again"):
        flood()
    awaited(lambda: box.clerk._answers._asked_count == 0, 20.0)
    assert box.ask({"class": "gigs"})["gigs"]


def test_a_ring_that_finds_no_room_is_kept_all_the_same(
    begin: Callable[..., Evening], monkeypatch: pytest.MonkeyPatch
) -> None:
    box = begin()
    box.ring()
    uid = box.gig()["uid"]
    monkeypatch.setattr(box.clerk._waiting, "put_nowait", _full)
    row = box.journal_s(NewestGig())
    assert row.uid == uid
    box.clerk.ring(_another(box))
    monkeypatch.undo()
    awaited(lambda: len(box.record(uid)["rings"]) == 2, 10.0)
    assert "1 ring events were kept without their gig's count" in box.clerk.health()


def test_an_answer_that_nobody_takes_does_not_end_the_gigs(
    begin: Callable[..., Evening], caplog: pytest.LogCaptureFixture
) -> None:
    def gone(_answer: object) -> None:
        raise BrokenPipeError(32, "Broken pipe")

    box = begin()
    box.clerk.ask({"class": "gig", "do": "end"}, gone)  # refused, as no gig is on
    box.ring()
    assert box.gig()["ring_count"] == 1
    assert "keeping the gig failed" in caplog.text
    awaited(lambda: box.clerk.health() == "ok", 10.0)


def _ask_often(box: Evening, asked: list[Any]) -> None:
    for _ in range(1000):
        box.clerk.ask({"class": "gigs", "limit": 100}, asked.append)


def _full(_item: object) -> None:
    raise queue.Full


def _another(box: Evening) -> RingRow:
    return RingRow(
        session=box.session, id=99, boot_id=box.boot_id, degree="ringing", way="set",
        frequency_hz=1000.0, band="1k", slider="1k", level_dbfs=-30.0, growth_db_per_s=5.0,
        start_uptime_s=box.uptime_s, end_uptime_s=None, utc=box.utc_s, clock_trusted=False,
    )  # fmt: skip


def test_a_snapshot_that_breaks_the_looking_is_survived(
    begin: Callable[..., Evening], caplog: pytest.LogCaptureFixture
) -> None:
    box = begin()
    broken = snapshot()
    del broken["level_dbfs"]
    box.clerk.see(broken)
    awaited(lambda: "keeping the gig failed" in caplog.text, 10.0)
    box.ring()
    assert box.gig()["ring_count"] == 1
    awaited(lambda: box.clerk.health() == "ok", 10.0)


def test_the_memory_of_a_known_venue_is_there_on_arriving(
    begin: Callable[..., Evening],
) -> None:
    box = begin()
    for _ in range(3):
        box.done(do="begin")
        box.done(do="venue", name="The Ferry Inn")
        for _ in range(3):
            box.ring()
            box.pass_s(600.0)
        box.done(do="end")
        box.pass_s(86400.0)
    assert "memory" not in box.clerk.fields()
    box.done(do="venue", name="The Ferry Inn")
    awaited(lambda: "memory" in box.clerk.fields(), 20.0)
    memory = box.clerk.fields()["memory"]
    assert memory["gig_count"] == 3
    assert memory["venue"]["name"] == "The Ferry Inn"
    tonight = box.clerk.fields()["gig"]["uid"]
    last = memory["venue"]["last"]["gig"]
    assert last == box.ask({"class": "gigs", "limit": 2})["gigs"][1]["uid"] != tonight
    but = box.ask({"class": "recollection", "venue": memory["venue"]["uid"], "but": tonight})
    assert but["venue"] == memory["venue"]
    whole = box.ask({"class": "recollection"})
    assert whole["class"] == "recollection"
    assert whole["gig_count"] == 4
    box.done(do="clear_venue")
    awaited(lambda: "memory" not in box.clerk.fields(), 10.0)


def test_a_memory_that_could_not_be_read_is_asked_again(
    begin: Callable[..., Evening], monkeypatch: pytest.MonkeyPatch
) -> None:
    box = begin()
    box.done(do="begin")
    box.done(do="venue", name="The Ferry Inn")
    box.ring()
    box.done(do="end")
    monkeypatch.setattr(gig_recollecting, "ASK_AGAIN_S", 0.2)
    well, failed = recollecting.recollection, []

    def fails(*given: Any) -> Any:
        if len(failed) < 4:  # more often than the venue is asked about when it is chosen
            failed.append(given)
            raise sqlite3.OperationalError("disk I/O error")
        return well(*given)

    monkeypatch.setattr(recollecting, "recollection", fails)
    box.done(do="venue", name="The Ferry Inn")
    awaited(lambda: "venue" in box.clerk.fields().get("memory", {}), 10.0)
