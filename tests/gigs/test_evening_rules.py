"""When gigs begin and end: the rules, by example and against whatever may come."""

from __future__ import annotations

from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.gigs.evening_rules import (
    ANOTHER_VENUE_S,
    BEGINS,
    PACKING_S,
    Begun,
    Doing,
    Ended,
    Evening,
    resumed,
)

QUIET_S = 90 * 60.0


def evening() -> Evening:
    return Evening(quiet_ends_s=QUIET_S)


@pytest.mark.parametrize("what", BEGINS)
def test_the_first_doing_begins_a_gig(what: Doing) -> None:
    one = evening()
    assert one.did(what, 100.0) == [Begun(100.0)]
    assert one.did(what, 200.0) == []
    assert (one.begun_s, one.last_s) == (100.0, 200.0)


@pytest.mark.parametrize("what", sorted(set(get_args(Doing)) - set(BEGINS)))
def test_other_doings_only_keep_it_going(what: Doing) -> None:
    one = evening()
    assert one.did(what, 100.0) == []
    one.did("ring", 200.0)
    one.did(what, 200.0 + QUIET_S)
    assert one.passed(200.0 + 2 * QUIET_S) == ()


def test_quiet_ends_it_at_the_last_doing_and_not_at_the_end_of_the_waiting() -> None:
    one = evening()
    one.did("ring", 100.0)
    one.did("sound", 400.0)
    assert one.passed(400.0 + QUIET_S) == ()
    assert one.passed(400.1 + QUIET_S) == (Ended(400.0, "quiet"),)
    assert one.passed(1e9) == ()


def test_what_comes_after_a_long_quiet_is_another_gig() -> None:
    one = evening()
    one.did("ring", 100.0)
    assert one.did("ring", 101.0 + QUIET_S) == [Ended(100.0, "quiet"), Begun(101.0 + QUIET_S)]


def test_after_the_button_packing_up_begins_nothing_but_a_person_does() -> None:
    one = evening()
    one.did("ring", 0.0)
    assert one.end(1000.0) == [Ended(1000.0, "button")]
    assert one.did("ring", 1001.0) == []
    assert one.did("sound", 999.0 + PACKING_S) == []
    assert one.did("venue", 1100.0) == [Begun(1100.0)]
    one.end(2000.0)
    assert one.did("sound", 2000.0 + PACKING_S) == [Begun(2000.0 + PACKING_S)]


def test_how_long_it_stays_over_is_told() -> None:
    one = evening()
    one.did("ring", 0.0)
    assert one.stays_over_for_s(1.0) == 0.0
    one.end(1000.0)
    assert one.stays_over_for_s(1060.0) == PACKING_S - 60.0
    assert one.stays_over_for_s(1000.0 + PACKING_S) == 0.0
    one.begin(1100.0)
    assert one.stays_over_for_s(1100.0) == 0.0


def test_the_button_begins_another() -> None:
    one = evening()
    assert one.begin(10.0) == [Begun(10.0)]
    assert one.begin(20.0) == [Ended(20.0, "new"), Begun(20.0)]


def test_another_venue_is_a_slip_at_first_and_another_gig_later() -> None:
    one = evening()
    assert one.chose_venue(0.0, is_another=False) == [Begun(0.0)]
    for at_s in range(0, int(ANOTHER_VENUE_S), 3600):
        one.did("sound", float(at_s))
    assert one.chose_venue(ANOTHER_VENUE_S, is_another=True) == []
    later_s = ANOTHER_VENUE_S + 1.0
    assert one.chose_venue(later_s, is_another=False) == []
    assert one.chose_venue(later_s, is_another=True) == [Ended(later_s, "new"), Begun(later_s)]


def test_a_ring_is_told_with_its_beginning_and_never_begins_before_the_last_gig_s_end() -> None:
    one = evening()
    one.did("ring", 100.0)
    one.end(200.0)
    assert one.did("ring", 199.0) == []
    one.begin(300.0)
    one.end(400.0)
    one.did("venue", 390.0)
    assert one.begun_s == 400.0


@pytest.mark.parametrize(
    ("age_s", "same_boot", "goes_on", "by", "in_doubt"),
    [
        (10.0, True, True, "quiet", False),
        (QUIET_S, False, True, "quiet", False),
        (QUIET_S + 1.0, True, False, "quiet", False),
        (QUIET_S + 1.0, False, False, "plug", False),
        (-50.0, True, True, "quiet", False),
        (None, False, False, "plug", True),
    ],
)
def test_a_gig_after_a_restart(
    age_s: float | None, same_boot: bool, goes_on: bool, by: str, in_doubt: bool
) -> None:
    found = resumed(age_s, same_boot=same_boot, quiet_ends_s=QUIET_S)
    assert found.goes_on is goes_on
    assert found.in_doubt is in_doubt
    if not goes_on:
        assert found.by == by


STEPS = st.lists(
    st.tuples(
        st.sampled_from([*get_args(Doing), "begin", "end", "another", "wait"]),
        st.floats(0.0, 4 * 3600.0),
    ),
    max_size=60,
)


@given(STEPS)
def test_gigs_never_overlap_and_none_is_lost(steps: list[tuple[str, float]]) -> None:
    one, now_s, turns = evening(), 0.0, []
    for what, wait_s in steps:
        now_s += wait_s
        before = one.on
        if what == "begin":
            turns += one.begin(now_s)
        elif what == "end":
            turns += one.end(now_s)
        elif what == "another":
            turns += one.chose_venue(now_s, is_another=before)
        elif what == "wait":
            turns += one.passed(now_s)
        else:
            turns += one.did(what, now_s)  # type: ignore[arg-type]
        if what in ("begin", "another", "venue", "soundcheck", "ring_out"):
            assert one.on, "a person did something and no gig is on"
        assert one.begun_s is None or one.begun_s <= now_s
    # Begun and ended take turns, in time, and the last one's state is what is shown.
    kinds = [type(turn) for turn in turns]
    assert kinds == [Begun, Ended] * (len(kinds) // 2) + [Begun] * (len(kinds) % 2)
    assert [turn.at_s for turn in turns] == sorted(turn.at_s for turn in turns)
    assert one.on == (len(kinds) % 2 == 1)


@given(STEPS, st.integers(0, 60))
def test_a_restart_in_the_middle_changes_nothing(steps: list[tuple[str, float]], cut: int) -> None:
    doings = [(what, wait_s) for what, wait_s in steps if what in BEGINS]

    def play(restart_after: int | None) -> list[object]:
        one, now_s, turns = evening(), 0.0, []
        for i, (what, wait_s) in enumerate(doings):
            now_s += wait_s
            turns += one.did(what, now_s)  # type: ignore[arg-type]
            if i == restart_after and one.begun_s is not None and one.last_s is not None:
                # As after a start: the journal's standing gig, judged by its age.
                begun_s, last_s = one.begun_s, one.last_s
                one = evening()
                assert resumed(now_s - last_s, same_boot=True, quiet_ends_s=QUIET_S).goes_on
                one.goes_on(begun_s, last_s)
        return turns

    assert play(cut) == play(None)
