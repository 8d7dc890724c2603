"""What a gig came to, in words and figures: counted here from the record itself."""

from __future__ import annotations

from collections import Counter

import pytest

from monitor.report.summary import summary_fields
from tests.report.made_gig import bare, record


def test_rings_and_sliders_are_those_of_the_record_and_the_worst_stands_first() -> None:
    made = record(40)
    fields = summary_fields(made)
    rings = Counter(ring["slider"] for ring in made["rings"])
    howls = Counter(ring["slider"] for ring in made["rings"] if ring["degree"] == "howl")
    assert fields["gig"] == made["gig"]
    assert fields["rings"] == f"40 rings, {howls.total()} of them howls"
    assert {one["label"]: one["ring_count"] for one in fields["sliders"]} == rings
    assert {one["label"]: one["howl_count"] for one in fields["sliders"]} == {
        label: howls[label] for label in rings
    }
    order = [(one["howl_count"], one["ring_count"]) for one in fields["sliders"]]
    assert order == sorted(order, reverse=True)
    longest_s = max(r["lasted_s"] for r in made["rings"] if r["slider"] == "2.5k")
    (slider,) = (one for one in fields["sliders"] if one["label"] == "2.5k")
    assert slider["longest_s"] == pytest.approx(longest_s, abs=0.05)


def test_what_was_done_is_told_in_the_report_s_words() -> None:
    made = record()
    made["happenings"].append({"at_s": 9000.0, "kind": "note", "text": "wedge\u202e too near"})
    fields = summary_fields(made)
    assert fields["pulled"] == "1.25k -3 dB, 2.5k -6 dB, 3.15k -3 dB"
    assert fields["ring_out"] == (
        "6.5 dB won (fader up to -4 dB), 3 sliders pulled, costs 0.4 dB of tone on average"
    )
    assert fields["song_count"] == sum(one["kind"] == "song" for one in made["happenings"])
    # U+202E turns what follows it round (Unicode Standard Annex 9).
    assert fields["notes"] == ["wedge too near"]


def test_what_there_was_nothing_of_is_left_out_and_what_is_gone_is_counted() -> None:
    assert summary_fields(bare()) == {"gig": bare()["gig"], "rings": "Nothing rang", "sliders": []}
    gone = summary_fields(bare(rings_gone=5, howls_gone=1))
    assert gone["rings"] == "5 rings, 1 of them a howl"


@pytest.mark.parametrize("wrong", [{}, {"gig": 3, "rings": "x", "happenings": [7]}])
def test_a_record_that_is_none_comes_to_nothing(wrong: dict[str, object]) -> None:
    assert summary_fields(wrong)["rings"] == "Nothing rang"
