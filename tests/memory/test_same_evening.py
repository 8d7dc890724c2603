"""Two gigs of one evening are one evening's evidence."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.memory.gig_memory import GigMemory, RingOutMemory, SongMemory
from monitor.memory.recollect import recollect
from monitor.memory.same_evening import EVENING_S, evenings_of
from tests.memory.made import gig, pull, ring


def halves(apart_s: float = 3 * 3600.0, **more: object) -> list[GigMemory]:
    """A soundcheck with its pull and ring-out, and the set after it."""
    first = gig("anchor", [250.0], [pull("250", 251.2, 6.0)], ring_out=RingOutMemory(5.0, -3.0))
    later = gig("anchor", [250.0], [pull("250", 251.2, 7.0, first_at_s=0.0)])
    return [first, replace(later, **{"utc_s": (first.utc_s or 0.0) + apart_s, **more})]  # type: ignore[arg-type]


def test_soundcheck_and_set_are_one_evening() -> None:
    (one,) = evenings_of(halves())
    assert [r.at_s for r in one.rings] == [600.0, 600.0 + 3 * 3600.0]
    assert (one.pulls[0].pull_db, one.pulls[0].first_at_s) == (7.0, 700.0)
    assert one.ring_out == RingOutMemory(5.0, -3.0)
    assert one.hours_heard_s == (3600.0, 3600.0, 0.0, 3600.0, 3600.0)


def test_a_gig_without_a_date_between_two_halves_does_not_part_them() -> None:
    first, later = halves()
    unsure = gig("anchor", [4000.0], dated="believed")
    one, other = evenings_of([first, unsure, later])
    assert len(one.rings) == 2
    assert other == unsure


@pytest.mark.parametrize("half", [0, 1])
def test_an_evening_of_which_half_has_lost_rings_is_not_whole(half: int) -> None:
    both = halves()
    both[half] = replace(both[half], is_whole=False)
    (one,) = evenings_of(both)
    assert not one.is_whole


def test_one_evening_in_two_gigs_advises_no_cut_and_counts_once() -> None:
    fields = recollect(halves(), venue="anchor").fields()
    assert fields["gig_count"] == fields["venue"]["gig_count"] == 2
    assert fields["venue"]["begin_with"] == []
    assert [rang["words"] for rang in fields["venue"]["rang"]] == [
        "250 Hz on the one evening, 2 howls"
    ]
    assert recollect([*halves(), *halves()], venue="anchor").fields()["venue"]["begin_with"]


@pytest.mark.parametrize(
    ("apart_s", "more"),
    [
        (EVENING_S, {}),
        (-60.0, {}),
        (60.0, {"venue_uid": "barn"}),
        (60.0, {"venue_uid": None}),
        (60.0, {"dated": "believed"}),
        (60.0, {"utc_s": None}),
    ],
)
def test_what_may_be_another_evening_stays_one(apart_s: float, more: dict[str, object]) -> None:
    assert len(evenings_of(halves(apart_s, **more))) == 2


def test_two_boxes_at_one_evening_hear_no_more_than_its_hours() -> None:
    first, later = halves(600.0)
    songs = (SongMemory(1, 60.0, 200.0),)
    (one,) = evenings_of([replace(first, songs=songs), replace(later, pulls=(), songs=songs)])
    assert one.hours_heard_s == (3600.0, 3600.0)
    assert one.pulls == first.pulls, "the other box was told of none"
    assert [song.at_s for song in one.songs] == [60.0, 660.0]


def test_the_equaliser_goes_with_the_pulls() -> None:
    # The second box still had the one that it came with, and none of its sliders was pulled.
    first, later = halves(600.0, equaliser="31 bands", sliders=(("250", 251.2),), pulls=())
    first = replace(first, equaliser="10 bands", sliders=(("250", 251.2), ("500", 501.2)))
    (one,) = evenings_of([first, later])
    assert (one.pulls, one.equaliser, one.sliders) == (first.pulls, "10 bands", first.sliders)
    (one,) = evenings_of([first, replace(later, pulls=first.pulls)])
    assert (one.equaliser, one.sliders) == ("31 bands", later.sliders)


def test_a_chain_is_measured_from_its_beginning() -> None:
    """An afternoon, an evening and a night: the third is not drawn in by the second."""
    start_s = 1.9e9
    gigs = [gig("anchor", utc_s=start_s + n * 4 * 3600.0, rings=(ring(250.0),)) for n in range(3)]
    assert [len(one.rings) for one in evenings_of(gigs)] == [2, 1]
