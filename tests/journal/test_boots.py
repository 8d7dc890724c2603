"""Wrong clocks: the order and the durations are right, and dates once somebody has told them."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.clock import Now, utc_seconds, utc_text
from monitor.journal.asks import ClockWord, GetRecord, Instant, ListGigs, NewestGig
from monitor.journal.boots import Boot, Boots, note_word
from monitor.journal.tables import migrate
from monitor.journal.timeline import Timeline
from monitor.journal.writing import note_now
from tests.journal.telling import MAY_2031_S, PATIENCE_S, HandClock, Told
from tests.waiting import awaited

YEAR_S = 365.25 * 86400.0
HOUR_S = 3600.0


def boot(seq: int, zero_utc_s: float | None, source: str = "network", *, own: bool = True) -> Boot:
    return Boot(seq, f"boot-{seq}", zero_utc_s, source, own)  # type: ignore[arg-type]


@pytest.fixture
def connection() -> sqlite3.Connection:
    connection = sqlite3.connect(":memory:", isolation_level=None)
    migrate(connection)
    return connection


def words(connection: sqlite3.Connection, *told: tuple[str, float]) -> tuple[object, ...]:
    for source, utc_s in told:
        note_word(connection, Instant("b", 50.0), utc_s, source, own=True)
    found = connection.execute("SELECT source, zero_utc_s FROM boots").fetchone()
    connection.close()
    return tuple(found)


@pytest.mark.parametrize(
    ("told", "stands"),
    [
        ([("believed", 60.0), ("believed", 80.0)], ("believed", 30.0)),
        ([("believed", 60.0), ("phone", 9050.0)], ("phone", 9000.0)),
        ([("phone", 9050.0), ("believed", 60.0)], ("phone", 9000.0)),
        ([("phone", 9050.0), ("phone", 9150.0)], ("phone", 9100.0)),
        ([("phone", 9050.0), ("network", 9060.0)], ("network", 9010.0)),
        ([("network", 9060.0), ("phone", 70.0)], ("network", 9010.0)),
        ([("network", 60.0), ("network", 9060.0)], ("network", 9010.0)),
    ],
)
def test_whose_word_stands(
    connection: sqlite3.Connection, told: list[tuple[str, float]], stands: tuple[str, float]
) -> None:
    assert words(connection, *told) == stands


def test_seconds_between_instants() -> None:
    boots = Boots([boot(1, 1000.0), boot(2, 5000.0, "phone"), boot(3, 0.0, "believed")])
    assert boots.between_s(Instant("boot-1", 10.0), Instant("boot-1", 70.0)) == 60.0
    assert boots.between_s(Instant("boot-1", 10.0), Instant("boot-2", 70.0)) == 4060.0
    assert boots.between_s(Instant("boot-2", 10.0), Instant("boot-3", 70.0)) is None
    assert boots.between_s(Instant("boot-1", 10.0), Instant("nowhere", 70.0)) is None
    assert boots.between_s(Instant("boot-3", 10.0), Instant("boot-3", 70.0)) == 60.0


def test_dates_as_text_and_back() -> None:
    assert utc_text(MAY_2031_S) == "2031-05-17T20:15:00Z"
    assert utc_text(MAY_2031_S + 0.4) == "2031-05-17T20:15:00Z"
    assert utc_seconds("2031-05-17T20:15:00Z") == MAY_2031_S
    assert utc_text(None) is None
    assert utc_text(1e15) is None
    assert utc_seconds("17 May") is None


def test_gigs_of_another_box_stand_among_ours_by_date() -> None:
    boots = Boots(
        [
            boot(1, 1000.0),
            boot(2, 90_000.0, "believed"),  # years off: its date must not move anything
            boot(3, 3000.0),
            boot(4, 2000.0, own=False),
            boot(5, None, "believed", own=False),
            boot(6, 9000.0, "believed", own=False),
        ]
    )
    instants = [Instant(f"boot-{n}", 0.0) for n in range(1, 7)]
    names = [instants[i].boot_id[-1] for i in boots.order(instants)]
    # Boot 4 of 2000 s after boot 1 of 1000 s; whether before or after boot 2 nobody knows.
    assert names == ["5", "1", "4", "2", "3", "6"]


@settings(max_examples=200)
@given(
    st.lists(
        st.tuples(
            st.floats(-20 * YEAR_S, 20 * YEAR_S),  # what the clock believes, off the truth
            st.lists(
                st.tuples(
                    st.floats(0.0, 2 * HOUR_S),  # time goes by ...
                    st.floats(-20 * YEAR_S, 20 * YEAR_S),  # ... and the date jumps
                ),
                min_size=1,
                max_size=5,
            ),
            st.sampled_from(["never", "phone", "network"]),
        ),
        min_size=1,
        max_size=6,
    )
)
def test_order_and_durations_are_right_whatever_the_date_does(
    boots: list[tuple[float, list[tuple[float, float]], str]],
) -> None:
    connection = sqlite3.connect(":memory:", isolation_level=None)
    migrate(connection)
    truth_s, true_s, instants = MAY_2031_S, [], []
    for number, (off_s, doings, told_by) in enumerate(boots):
        name, uptime_s = f"boot-{number}", 0.0
        for past_s, jump_s in doings:
            uptime_s, off_s = uptime_s + past_s, off_s + jump_s
            note_now(connection, Now(name, uptime_s, truth_s + uptime_s + off_s, False))
            instants.append(Instant(name, uptime_s))
            true_s.append(truth_s + uptime_s)
        if told_by != "never":  # at the end of the boot: all of it becomes right
            note_word(connection, Instant(name, uptime_s), truth_s + uptime_s, told_by, own=True)
        truth_s += uptime_s + HOUR_S
    known = Boots.read(connection)
    connection.close()
    in_order = [true_s[i] for i in known.order(instants)]
    assert in_order == sorted(true_s)
    for first, first_s in zip(instants, true_s, strict=True):
        for second, second_s in zip(instants, true_s, strict=True):
            between_s = known.between_s(first, second)
            if first.boot_id == second.boot_id:
                assert between_s == pytest.approx(second_s - first_s, abs=1e-3)
            elif "never" in (boots[int(b.boot_id[5:])][2] for b in (first, second)):
                assert between_s is None
            else:
                assert between_s == pytest.approx(second_s - first_s, abs=1e-3)
    line = Timeline(instants[0], instants, known)
    at_s = [line.at_s(instant) for instant in instants]
    assert at_s == sorted(at_s)
    # Never longer than it was: a pause that nobody knows counts as none.
    assert all(got <= true - true_s[0] + 1e-3 for got, true in zip(at_s, true_s, strict=True))
    if all(told_by != "never" for _, _, told_by in boots):
        assert at_s == pytest.approx([true - true_s[0] for true in true_s], abs=1e-3)
        assert not line.in_doubt


def test_a_phone_that_tells_the_time_puts_the_whole_boot_right(told: Told) -> None:
    told.clock.jump(-9 * YEAR_S)
    told.begin("a")
    told.clock.run(HOUR_S)
    row = told.rings("a", 1)
    assert told.ask(ListGigs(1))[0]["begun"]["dated"] == "believed"
    assert told.journal.dated == "believed"
    at = told.clock.at()
    assert told.tell(ClockWord(at.boot_id, at.uptime_s, MAY_2031_S + HOUR_S)) == ""
    assert told.journal.dated == "phone"
    begun = told.ask(ListGigs(1))[0]["begun"]
    assert begun == {"utc": "2031-05-17T20:15:00Z", "dated": "phone"}
    # The history of before, too; and what comes now, with the clock as wrong as ever.
    told.rings("a", 2)
    assert told.ask(ListGigs(1))[0]["begun"] == begun
    read: list[object] = []
    told.journal.read(5, lambda rows, _: read.extend(rows))
    told.ask(ListGigs(1))
    assert [r.utc for r in read] == pytest.approx([MAY_2031_S + HOUR_S] * 2)  # type: ignore[attr-defined]
    assert row.utc < MAY_2031_S - 8 * YEAR_S
    # Later the network is there.
    told.clock.now = Now(at.boot_id, at.uptime_s + 10.0, MAY_2031_S + HOUR_S + 12.0, True)
    told.rings("a", 3)
    assert told.ask(ListGigs(1))[0]["begun"] == {"utc": "2031-05-17T20:15:02Z", "dated": "network"}
    assert told.journal.dated == "network"
    assert told.tell(ClockWord(at.boot_id, at.uptime_s, 0.0)) == ""
    assert told.ask(ListGigs(1))[0]["begun"]["dated"] == "network"
    assert told.journal.dated == "network"


def test_a_date_that_would_run_backwards_moves_nothing_backwards() -> None:
    boots = Boots([boot(1, 5000.0), boot(2, 1000.0, "phone")])
    instants = [Instant("boot-1", 10.0), Instant("boot-1", 70.0), Instant("boot-2", 5.0)]
    line = Timeline(instants[0], instants, boots)
    assert [line.at_s(instant) for instant in instants] == [0.0, 60.0, 65.0]


def test_a_phone_s_word_outlives_the_watcher(tmp_path: Path) -> None:
    first = Told(tmp_path / "j")
    at = first.clock.at()
    first.tell(ClockWord(at.boot_id, at.uptime_s, MAY_2031_S + YEAR_S))
    first.close()
    second = Told(tmp_path / "j", first.clock)
    awaited(lambda: second.journal.dated == "phone", PATIENCE_S)
    second.close()


@pytest.mark.parametrize("years", [-30, 30])
def test_a_clock_that_jumps_by_years_moves_no_duration(told: Told, years: int) -> None:
    told.begin("a")
    told.clock.run(600.0)
    told.rings("a", 1)
    told.clock.jump(years * YEAR_S)
    told.clock.run(600.0)
    told.rings("a", 2)
    told.end("a")
    told.begin("b")
    told.clock.jump(-2 * years * YEAR_S)
    told.end("b")
    record = told.ask(GetRecord("a"))
    assert [ring["at_s"] for ring in record["rings"]] == [600.0, 1200.0]
    assert record["gig"]["lasted_s"] == 1200.0
    assert [gig["uid"] for gig in told.ask(ListGigs(5))] == ["b", "a"]


def test_over_a_restart_with_a_wrong_date_the_order_stands_and_the_pause_is_unknown(
    tmp_path: Path,
) -> None:
    clock = HandClock()
    first = Told(tmp_path / "j", clock)
    first.begin("a")
    clock.run(1000.0)
    first.rings("a", 1)
    first.close()
    clock.restart("boot-2", utc_s=0.0)
    second = Told(tmp_path / "j", clock)
    standing = second.ask(NewestGig())
    assert (standing.uid, standing.last, standing.last_age_s) == (
        "a",
        Instant("boot-1", 1102.0),
        None,
    )
    clock.run(300.0)
    second.rings("a", 2)
    record = second.ask(GetRecord("a"))
    # At least the uptime has gone by since the end of the first ring.
    assert [ring["at_s"] for ring in record["rings"]] == [1000.0, 1002.0 + 305.0]
    assert record["gig"]["in_doubt"] is True
    # Both boots become known: a phone for this one, and the earlier one had been told as well.
    second.tell(ClockWord("boot-1", 0.0, MAY_2031_S))
    second.tell(ClockWord("boot-2", 0.0, MAY_2031_S + 2 * HOUR_S))
    record = second.ask(GetRecord("a"))
    assert record["rings"][1]["at_s"] == 2 * HOUR_S + 305.0 - 100.0
    assert "in_doubt" not in record["gig"]
    assert second.ask(NewestGig()).last_age_s == -2.0  # the ring is put two seconds long
    second.close()


def test_the_network_s_date_is_kept_even_if_nothing_else_happens(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("monitor.journal.store.CLOCK_EVERY_S", 0.05)
    clock = HandClock(Now("boot-1", 100.0, 0.0, False))
    told = Told(tmp_path / "j", clock)
    told.begin("a")
    clock.now = Now("boot-1", 200.0, MAY_2031_S, True)
    awaited(lambda: told.journal.dated == "network", PATIENCE_S)
    assert told.ask(ListGigs(1))[0]["begun"] == {"utc": "2031-05-17T20:13:20Z", "dated": "network"}
    told.close()
