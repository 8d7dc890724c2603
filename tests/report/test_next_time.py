"""What to do next time: every rule with the evening that calls for it and the one that does not."""

from __future__ import annotations

import random
from typing import Any

import pytest

from monitor.report.evening import evening_of
from monitor.report.next_time import MOST_LINES, Advice, next_time
from monitor.report.words import EveningClock
from tests.report.made_gig import RECOLLECTION, VENUE, bare, pull, record, ring

DATED = {"begun": {"utc": "2026-11-26T18:00:00Z", "dated": "network"}}


def gig(**more: Any) -> dict[str, Any]:
    return bare(**{**DATED, "lasted_s": 7200.0, **more})


def ring_at(at_s: float, slider: str, degree: str = "ringing", way: str = "set") -> dict[str, Any]:
    made = ring(int(at_s), at_s, random.Random(1))
    return {**made, "slider": slider, "degree": degree, "way": way}


def lines(made: dict[str, Any], memory: dict[str, Any] | None = None) -> list[Advice]:
    return next_time(evening_of(made), memory, EveningClock(None))


def does(made: dict[str, Any], memory: dict[str, Any] | None = None) -> str:
    return " / ".join(one.do for one in lines(made, memory))


def test_an_evening_without_anything_calls_for_nothing() -> None:
    assert lines(gig(lasted_s=600.0)) == []


def test_what_rings_everywhere_is_cured_at_the_source() -> None:
    made = record(24)
    (cure,) = [one for one in lines(made, RECOLLECTION) if one.do.startswith("Cure")]
    assert cure.do.startswith("Cure 2.5k where it comes from")
    assert cure.why == "2.5k rings at all 3 venues: it comes with microphone or wedge"
    # A slider that stood for something else is no help until then.
    others = [{"label": "250", "centre_hz": 251.2, "pull_db": 3.0, "why": "it held here"}]
    memory = {**RECOLLECTION, "venue": {**RECOLLECTION["venue"], "begin_with": others}}
    done = [one.do for one in lines(made, memory)]
    assert "Begin here with 250 at -3 dB" in done
    assert not any("until then" in do for do in done)
    made["rings"] = [r for r in made["rings"] if r["band"] != "2.5k"]
    assert "Cure" not in does(made, RECOLLECTION), "it did not ring this time"


def test_rooms_and_unsure_bands_are_not_cured_at_the_source() -> None:
    assert not {"Cure 400", "Cure 1.25k"} & {one.do[:10] for one in lines(record(24), RECOLLECTION)}


def test_the_memory_s_cuts_come_before_the_evening_s_own() -> None:
    assert "Begin here with 400 at -2 dB" in does(record(24), RECOLLECTION)
    assert "as they stood" not in does(record(24), RECOLLECTION)
    assert "Begin with the other sliders as they stood: 1.25k -3 dB" in does(record(24))


def test_what_the_memory_s_cuts_say_by_themselves_is_marked() -> None:
    known = {one.do: one.is_known for one in lines(record(24), RECOLLECTION)}
    assert known["Begin here with 400 at -2 dB"]
    assert not any(one.is_known for one in lines(record(24)))
    cure = next(do for do in known if do.startswith("Cure 2.5k"))
    assert known[cure] == ("until then begin here with" in cure)


def test_the_memory_of_another_venue_is_not_taken_for_this_one_s() -> None:
    made = record(24)
    made["gig"]["venue"]["name"] = "The Net Loft"
    assert "Begin here" not in does(made, RECOLLECTION)
    made["gig"]["venue"]["name"] = VENUE.upper()
    assert "Begin here" in does(made, RECOLLECTION)


def test_how_it_went_after_the_last_move_is_counted() -> None:
    made = gig()
    made["happenings"] = [{"at_s": 600.0, "kind": "pull", "pulls": [pull("1k", 4.0)]}]
    made["rings"] = [ring_at(300.0, "1k"), ring_at(400.0, "1k"), ring_at(900.0, "2k")]
    (begin,) = [one for one in lines(made) if one.do.startswith("Begin")]
    assert begin.why == "2 rings until the last of them was moved, 1 in the 110 min after it"


@pytest.mark.parametrize(
    ("pull_db", "said"),
    [(6.0, "Do not look to 1k for more"), (3.0, "Pull 1k deeper in the ring-out")],
)
def test_a_slider_that_rings_on_after_its_pull(pull_db: float, said: str) -> None:
    made = gig()
    made["happenings"] = [{"at_s": 600.0, "kind": "pull", "pulls": [pull("1k", pull_db)]}]
    made["rings"] = [ring_at(t, "1k", "howl") for t in (700.0, 800.0)]
    assert said not in does(made), "twice is no habit"
    made["rings"].append(ring_at(900.0, "1k"))
    (one,) = [one for one in lines(made) if one.do.startswith(said)]
    assert "it still rang 3 times" in one.why
    assert one.why.endswith("; 2 howls")


def test_a_slider_that_stood_so_all_along_or_was_put_back_is_not_passed_over() -> None:
    made = gig()
    made["rings"] = [ring_at(t, "1k") for t in (700.0, 800.0, 900.0)]
    made["happenings"] = [{"at_s": 0.0, "kind": "pull", "pulls": [pull("1k", 3.0)]}]
    (one,) = lines(made)
    assert one.do == "Pull 1k deeper in the ring-out"
    assert one.why == "pulled by 3 dB all along it still rang 3 times"
    made["happenings"].append({"at_s": 600.0, "kind": "pull", "pulls": []})
    (one,) = lines(made)
    assert one.do == "Leave 1k pulled"
    assert one.why == "put back to flat 10 min after the beginning, it rang 3 times after that"


def test_a_slider_that_was_never_pulled() -> None:
    made = gig()
    made["rings"] = [ring_at(t, "250") for t in (700.0, 800.0)]
    assert "Listen for 250" not in does(made)
    made["rings"].append(ring_at(900.0, "250"))
    assert "Listen for 250 in the ring-out and pull it there" in does(made)
    made["happenings"] = [{"at_s": 5.0, "kind": "pull", "pulls": [pull("250", 2.0)]}]
    assert "Listen for 250" not in does(made)


def test_howls_without_a_ring_out() -> None:
    made = gig()
    made["rings"] = [ring_at(60.0, "1k")]
    assert "Ring out" not in does(made)
    made["rings"] = [ring_at(60.0, "1k", "howl")]
    assert "Ring out before the set" in does(made)
    made["happenings"] = [{"at_s": 30.0, "kind": "ring_out", "cut_count": 0}]
    assert "Ring out before the set" not in does(made)


def test_howls_in_the_set_after_a_ring_out() -> None:
    made = gig()
    made["happenings"] = [{"at_s": 500.0, "kind": "ring_out", "cut_count": 0}]
    made["rings"] = [ring_at(t, s, "howl") for t, s in ((600.0, "1k"), (700.0, "2k"), (90.0, "4k"))]
    assert "Come down further" not in does(made)
    made["rings"].append(ring_at(800.0, "5k", "howl"))
    assert "Come down further after the ring-out" in does(made)
    for one in made["rings"]:
        one["way"] = "soundcheck"
    assert "Come down further" not in does(made)


def test_howls_at_one_slider_are_its_own_affair() -> None:
    made = gig()
    made["happenings"] = [{"at_s": 500.0, "kind": "ring_out", "cut_count": 0}]
    made["rings"] = [ring_at(t, "1k", "howl") for t in (600.0, 700.0, 800.0)]
    assert does(made) == "Listen for 1k in the ring-out and pull it there"


def test_howls_before_the_only_ring_out() -> None:
    made = gig()
    made["happenings"] = [{"at_s": 5000.0, "kind": "ring_out", "cut_count": 1}]
    made["rings"] = [ring_at(t, "1k", "howl") for t in (600.0, 700.0, 800.0)]
    assert Advice("Ring out before the set", "3 howls came in it before the ring-out") in lines(
        made
    )


def test_what_a_ring_out_provokes_is_no_habit_and_no_howl_of_the_set() -> None:
    made = gig()
    made["rings"] = [ring_at(t, "1k", "howl", "soundcheck") for t in (100.0, 200.0, 300.0)]
    made["happenings"] = [{"at_s": 400.0, "kind": "way", "way": "set"}]
    assert "Ring out before the set" not in does(made), "no howl came in the set"
    made["happenings"].append({"at_s": 390.0, "kind": "ring_out", "cut_count": 1})
    assert does(made) == ""


def test_of_one_slider_there_is_one_line() -> None:
    """What comes along, what rang on, what to begin with: all of 2.5k."""
    made = record(60)
    memory = {**RECOLLECTION, "venue": {**RECOLLECTION["venue"]}}
    memory["venue"]["begin_with"] = [
        {"label": label, "centre_hz": hz, "pull_db": 4.0, "why": "it held here"}
        for label, hz in (("2.5k", 2511.9), ("3.15k", 3162.3), ("8k", 7943.3))
    ]
    found = [one.do for one in lines(made, memory)]
    for label in ("2.5k", "3.15k", "400", "1.25k", "8k"):
        assert sum(label in do.replace("12.5k", "").split() for do in found) <= 1, (label, found)
    (cure,) = [do for do in found if "2.5k" in do.split()]
    assert cure.startswith("Cure 2.5k where it comes from")
    assert cure.endswith("; until then begin here with 2.5k at -4 dB")
    (rang_on,) = [one for one in lines(made, memory) if "3.15k" in one.do.split()]
    assert rang_on.do == "Begin here with 3.15k at -4 dB and pull it deeper in the ring-out"
    assert rang_on.why.endswith("; it held here")
    assert "Begin here with 8k at -4 dB" in found, "of which nothing else is said"


def test_a_quiet_evening_stands_over_what_others_taught() -> None:
    made = gig(venue={"uid": "0badcafe00000001", "name": VENUE})
    assert does(made, RECOLLECTION) == "Put everything where it stood"
    made["happenings"] = [{"at_s": 0.0, "kind": "pull", "pulls": [pull("1k", 4.0)]}]
    assert does(made) == "Put everything where it stood: 1k -4 dB"


def test_nothing_is_said_of_rings_that_were_not_heard_or_are_no_longer_kept() -> None:
    pulled = {"at_s": 100.0, "kind": "pull", "pulls": [pull("1k", 4.0)]}
    made = gig(rings_gone=40)
    made["happenings"] = [pulled]
    (begin,) = lines(made)
    assert begin.why == "so they stood in the end; not all of its rings are kept any more"
    made = gig()
    made["happenings"] = [{"at_s": 50.0, "kind": "deaf", "reason": "unplugged"}, pulled]
    assert "Begin" not in does(made), "it heard nothing of them"
    made = gig(lasted_s=500.0)
    made["happenings"] = [pulled]
    assert does(made) == "", "too short to tell"


def test_a_low_cut_is_on_and_has_no_depth() -> None:
    low_cut = {"label": "low cut", "centre_hz": 100.0, "q": 0.71, "pull_db": 12.3}
    made = gig(venue={"uid": "0badcafe00000001", "name": VENUE})
    made["happenings"] = [{"at_s": 100.0, "kind": "pull", "pulls": [low_cut]}]
    made["rings"] = [ring_at(50.0, "100")]
    assert does(made) == "Begin with the sliders as they stood: low cut on"
    memory = {"venue": {**RECOLLECTION["venue"], "begin_with": [{**low_cut, "why": "it was on"}]}}
    assert does(made, memory) == "Begin here with the low cut on"


def test_a_filter_that_can_be_put_anywhere_is_known_by_its_place() -> None:
    """A parametric's ring is told by the frequency to dial in, its pull by the filter's name."""
    made = gig()
    filter_1 = {"label": "filter 1", "centre_hz": 2480.0, "q": 4.0, "pull_db": 4.0}
    made["happenings"] = [{"at_s": 600.0, "kind": "pull", "pulls": [filter_1]}]
    made["equaliser"] = {"name": "parametric", "sliders": [{"label": "filter 1"}]}
    made["rings"] = [
        {**ring_at(at_s, label), "frequency_hz": hz}
        for at_s, label, hz in ((700.0, "2.48k", 2480.0), (800.0, "2.5k", 2500.0),
                                (900.0, "2.43k", 2430.0))
    ]  # fmt: skip
    (one,) = lines(made)
    assert one.do == "Pull 2.5k deeper in the ring-out"
    assert one.why.startswith("pulled by 4 dB it still rang 3 times")


@pytest.mark.parametrize(
    ("label", "name"), [("filter 1", "filter 1 (2.48k, Q 4.1)"), ("mid", "mid (2.48k)")]
)
def test_where_a_filter_stood_is_said_with_its_depth(label: str, name: str) -> None:
    # Its label alone says nothing to a hand.
    pull = {"label": label, "centre_hz": 2480.0, "q": 4.1, "pull_db": 4.0}
    made = gig(venue={"uid": "0badcafe00000001", "name": VENUE})
    made["happenings"] = [{"at_s": 100.0, "kind": "pull", "pulls": [pull]}]
    made["rings"] = [ring_at(50.0, "2.48k")]
    assert does(made) == f"Begin with the sliders as they stood: {name} -4 dB"
    memory = {"venue": {**RECOLLECTION["venue"], "begin_with": [{**pull, "why": "it stood so"}]}}
    assert does(made, memory) == f"Begin here with {name} at -4 dB"


def test_nothing_rang_for_long_enough() -> None:
    assert does(gig(lasted_s=1700.0)) == ""
    assert does(gig(lasted_s=1900.0)) == "Put everything where it stood"
    assert does(gig(lasted_s=1900.0, rings_gone=40)) == "", "they are only no longer kept"


def test_a_box_that_could_not_hear_says_so_first_and_does_not_praise_the_quiet() -> None:
    made = gig(lasted_s=1900.0)
    made["happenings"] = [
        {"at_s": 300.0, "kind": "deaf", "reason": "unplugged"},
        {"at_s": 600.0, "kind": "hears"},
    ]
    (only,) = lines(made)
    assert only.do.startswith("Look at the box's microphone")
    assert only.why == "it could not hear for 5 min: unplugged"


def test_a_date_that_is_not_sure() -> None:
    assert "Open the page once on a paired phone" in does(record(1, dated="believed"))
    assert "Open the page" not in does(record(1, dated="phone"))


def test_there_are_never_more_lines_than_fit() -> None:
    made = record(500, dated="believed")
    del made["equaliser"]  # its sliders' names: these are others
    for n, one in enumerate(made["rings"]):
        one["slider"] = f"s{n % 20}"
    memory = {**RECOLLECTION, "venue": {**RECOLLECTION["venue"]}}
    memory["venue"]["begin_with"] = [
        {"label": f"{hz}", "centre_hz": float(hz), "pull_db": 4.0} for hz in (50, 63, 80, 100)
    ]
    assert len(lines(made, memory)) == MOST_LINES
    assert lines(made, memory)[-1].do.startswith("Open the page once"), "no slider crowds it out"
    assert all(one.why for one in lines(made, memory))
