"""The cuts to begin with: defended by two evenings, never deeper than used, recent ones first."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from monitor.memory.begin_with import LEAST_EVENINGS, begin_with
from monitor.memory.gig_memory import GigMemory, PullMemory
from monitor.memory.recent import in_order, weight, weighted_median
from monitor.memory.verdicts import by_venue, verdicts_of
from tests.memory.made import gig, pull

K1 = 1000.0


def evening(pull_db: float, *, rings: bool = True) -> GigMemory:
    pulls = [pull("1k", K1, pull_db)] if pull_db else []
    return gig("anchor", [K1] if rings else [], pulls)


def test_what_stood_and_rang_on_two_evenings_is_told() -> None:
    cut = begin_with([evening(4.0), evening(6.0)], None)[0]
    assert (cut.label, cut.pull_db) == ("1k", 6.0)
    assert cut.why == "rang here on 2 of 2 evenings, stood at 4 to 6 dB in the end of 2 evenings"


def test_a_low_cut_was_on_and_has_no_depth() -> None:
    on = gig("anchor", [90.0], [PullMemory("low cut", 100.0, 12.3, 0.71)])
    cut = begin_with([on, on], None)[0]
    assert cut.fields()["on"] is True
    assert cut.pull_db == 12.3, "whoever says that it stands so says what is reckoned with"
    assert cut.why == "rang here on 2 of 2 evenings, was on in the end of 2 evenings"
    assert "on" not in begin_with([evening(4.0), evening(6.0)], None)[0].fields()


def test_one_evening_is_not_defended() -> None:
    assert begin_with([evening(6.0)], None) == []
    assert begin_with([evening(6.0), evening(0.0, rings=False)], None) == []


def test_a_cut_for_the_tone_or_only_carried_along_is_nobody_s_ring() -> None:
    assert begin_with([evening(6.0, rings=False)] * 3, None) == []
    assert begin_with([evening(6.0), *[evening(6.0, rings=False)] * 3], None) == []


def test_recent_evenings_without_it_take_it_back() -> None:
    old = [evening(6.0), evening(6.0)]
    assert begin_with([*old, evening(0.0, rings=False)], None)
    assert begin_with([*old, *[evening(0.0, rings=False)] * 3], None) == []


def test_an_evening_that_rang_with_the_slider_flat_does_not_take_it_back() -> None:
    assert begin_with([evening(6.0), evening(6.0), *[evening(0.0)] * 4], None)[0].pull_db == 6.0


def test_recent_depths_count_more() -> None:
    deep_last = begin_with([evening(3.0), evening(3.0), evening(9.0), evening(9.0)], None)
    deep_first = begin_with([evening(9.0), evening(9.0), evening(3.0), evening(3.0)], None)
    assert deep_last[0].pull_db == 9.0
    assert deep_first[0].pull_db == 3.0


def test_another_equaliser_s_sliders_do_not_count() -> None:
    gigs = [evening(6.0), evening(6.0)]
    assert begin_with(gigs, "10 bands") == []
    assert begin_with(gigs, "31 bands")


def test_a_filter_that_stands_elsewhere_is_another_cut_and_told_once() -> None:
    def filters(hz: float, db: float) -> GigMemory:
        return gig("anchor", [hz], [PullMemory("filter 1", hz, db, 4.3, 700.0)])

    found = begin_with(
        [filters(500.0, 3.0), filters(510.0, 3.0), filters(2000.0, 6.0), filters(2010.0, 6.0)],
        None,
    )
    assert [(cut.label, cut.centre_hz, cut.pull_db) for cut in found] == [("filter 1", 2010.0, 6.0)]


def test_it_is_said_when_a_cut_belongs_on_the_channel() -> None:
    gigs = [
        gig(venue, [K1], [pull("1k", K1, 6.0)])
        for venue in ("anchor", "barn", "crown", "dock")
        for _ in range(3)
    ]
    venues = by_venue(gigs)
    cut = begin_with(venues["anchor"], None, verdicts_of(gigs, "anchor"))[0]
    assert cut.why.endswith("it comes along with you, so rather on the channel")
    # What comes along is another frequency's: this slider is for the room.
    elsewhere = verdicts_of([gig(one.venue_uid, [3000.0]) for one in gigs], "anchor")
    assert [verdict.verdict for verdict in elsewhere] == ["rig"]
    (cut,) = begin_with(venues["anchor"], None, elsewhere)
    assert cut.why == "rang here on 3 of 3 evenings, stood at 6 dB in the end of 3 evenings"


def test_of_two_filters_at_one_place_the_deeper_one_is_told_in_whatever_order() -> None:
    two = [pull("1k", K1, 6.0), pull("1.02k", 1020.0, 3.0)]
    for pulls in (two, two[::-1]):
        (cut,) = begin_with([gig("anchor", [K1], pulls)] * 2, None)
        assert (cut.label, cut.pull_db) == ("1k", 6.0)


SLIDERS = (("250", 251.2), ("1k", 1000.0), ("1.25k", 1258.9), ("4k", 3981.1))


@st.composite
def some_evenings(draw: st.DrawFn) -> list[GigMemory]:
    found = []
    for _ in range(draw(st.integers(1, 7))):
        rang_hz = draw(st.lists(st.floats(150.0, 5000.0), max_size=5))
        depths_db = draw(st.lists(st.floats(0.0, 15.0), min_size=4, max_size=4))
        pulls = [
            pull(label, hz, db)
            for (label, hz), db in zip(SLIDERS, depths_db, strict=True)
            if db >= 0.5
        ]
        found.append(gig("anchor", rang_hz, pulls))
    return found


@given(some_evenings())
def test_never_deeper_than_used_nor_from_fewer_evenings(gigs: list[GigMemory]) -> None:
    for cut in begin_with(gigs, None):
        stood = [p for each in gigs for p in each.pulls if p.label == cut.label]
        assert len(stood) >= LEAST_EVENINGS
        assert 0.0 < cut.pull_db <= max(p.pull_db for p in stood)
        assert (cut.pull_db * 2.0).is_integer()


def test_weighted_median_by_hand() -> None:
    assert weighted_median([(1.0, 1.0), (5.0, 1.0), (9.0, 1.0)]) == 5.0
    assert weighted_median([(1.0, 1.0), (9.0, 1.0)]) == 1.0
    assert weighted_median([(1.0, 1.0), (9.0, 3.0)]) == 9.0


def test_an_evening_s_weight_halves_after_two() -> None:
    assert [round(weight(n), 3) for n in (0, 2, 4)] == [1.0, 0.5, 0.25]


def test_order_is_by_dates_that_somebody_set() -> None:
    late, early = gig("anchor", utc_s=2e9), gig("anchor", utc_s=1e9)
    # A box without a battery believes that it is 1970.
    believed = gig("anchor", utc_s=0.0, dated="believed")
    assert in_order([late, believed, early]) == [early, believed, late]
