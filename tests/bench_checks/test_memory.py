"""The goals of the memory's benchmark: neither a talker nor a silent one meets them."""

from __future__ import annotations

from monitor.memory.verdicts import Verdict
from tests.bench.memory import Judged, is_met
from tests.bench.memory_histories import Truth


def places(verdict: Verdict, truth: Truth, count: int, venue_count: int = 5) -> list[Judged]:
    return [Judged(verdict, "rig", truth, 0.5, venue_count, 12, 3)] * count


def test_what_is_called_is_right_and_enough_is_called() -> None:
    assert is_met(places("rig", "rig", 66) + places("unsure", "rig", 34))


def test_silence_meets_no_goal() -> None:
    assert not is_met(places("unsure", "rig", 100))
    assert not is_met([])


def test_silence_beside_it_makes_no_wrong_call_rarer() -> None:
    spoken = places("rig", "rig", 94) + places("rig", "room", 6)
    assert not is_met(spoken)
    assert not is_met(spoken + places("unsure", "nothing", 1000))


def test_whoever_speaks_seldom_of_the_rig_at_five_venues_falls_short() -> None:
    seldom = places("rig", "rig", 59) + places("unsure", "rig", 41)
    assert not is_met(seldom)
    # What is called where more venues are known does not help.
    assert not is_met(seldom + places("rig", "rig", 1000, venue_count=9))
