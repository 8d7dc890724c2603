"""The equaliser at the end, and what rang above it."""

from __future__ import annotations

import math
from datetime import UTC

import pytest

from monitor.placing.shapes import Disc, Outline, Words, shapes_of
from monitor.report.curve import curve_picture, pulled_words
from monitor.report.evening import evening_of
from monitor.report.page import report_html
from monitor.report.timeline import timeline_picture
from tests.report.made_gig import bare, pull, record


def test_response_wedges_and_counts_are_drawn() -> None:
    evening = evening_of(record(24))
    shapes = shapes_of(curve_picture(evening, zone=UTC))
    wedges = [s for s in shapes if isinstance(s, Outline) and s.part == "slider"]
    assert len(wedges) == len(evening.standing) == 3
    response = [s for s in shapes if isinstance(s, Outline) and s.width_cm == 3.0]
    assert len(response) == 1
    discs = [s for s in shapes if isinstance(s, Disc) and s.part == "rang"]
    counts = [s.text for s in shapes if isinstance(s, Words) and s.text.isdigit()]
    assert len(discs) == 7
    assert "10" in counts


def test_a_low_cut_is_on_and_has_no_wedge() -> None:
    made = bare(begun={"utc": "2026-11-26T18:00:00Z", "dated": "network"}, lasted_s=3600.0)
    low_cut = {"label": "low cut", "centre_hz": 100.0, "q": 0.71, "pull_db": 12.3}
    made["happenings"] = [
        {"at_s": 9.0, "kind": "pull", "pulls": [low_cut, pull("1k", 3.0)]},
        {"at_s": 1800.0, "kind": "pull", "pulls": [low_cut]},
        {"at_s": 2400.0, "kind": "pull", "pulls": []},
        {"at_s": 3000.0, "kind": "pull", "pulls": [low_cut]},
    ]
    evening = evening_of(made)
    shapes = shapes_of(curve_picture(evening, zone=UTC))
    assert "low cut on" in [s.text for s in shapes if isinstance(s, Words)]
    assert [s for s in shapes if isinstance(s, Outline) and s.part == "slider"] == []
    marks = shapes_of(timeline_picture(evening, zone=UTC))
    assert {"on", "off", "-3", "flat"} <= {s.text for s in marks if isinstance(s, Words)}
    assert pulled_words(evening) == "low cut on"
    html = report_html(made, zone=UTC)
    assert "low cut on" in html
    assert "12.3" not in html, "its depth is for reckoning only"


def test_a_low_cut_does_not_press_the_rest_flat() -> None:
    """A second-order one at 100 Hz takes 10 log10(1 + 5^4) = 28 dB at 20 Hz, and 14.8 dB at 43 Hz,
    the lowest point within the picture."""
    hz = [20.0 * 1000.0 ** (i / 63) for i in range(64)]
    low_cut = {"label": "low cut", "centre_hz": 100.0, "q": 0.71, "pull_db": 12.3}
    made = bare()
    drawn = {"hz": hz, "db": [-10.0 * math.log10(1.0 + (100.0 / f) ** 4) for f in hz]}
    made["happenings"] = [{"at_s": 9.0, "kind": "pull", "pulls": [low_cut], "curve": drawn}]
    picture = curve_picture(evening_of(made), zone=UTC)
    marks = {s.text for s in shapes_of(picture) if isinstance(s, Words)}
    assert "-15" in marks
    assert not {"-18", "-24", "-30"} & marks


def test_a_band_that_howled_is_solid() -> None:
    made = record(24)
    for ring in made["rings"]:
        ring["degree"] = "ringing"
    discs = [s for s in shapes_of(curve_picture(evening_of(made), zone=UTC)) if isinstance(s, Disc)]
    assert discs
    assert all(disc.fill is None for disc in discs)


def test_without_a_response_it_says_so_and_draws_none() -> None:
    made = bare()
    made["happenings"] = [{"at_s": 9.0, "kind": "pull", "pulls": [pull("1k", 15.0)]}]
    picture = curve_picture(evening_of(made), zone=UTC)
    said = [s.text for s in shapes_of(picture) if isinstance(s, Words)]
    assert "the response was not kept" in said
    assert "-15" in said, "the scale reaches as deep as the slider"
    assert not [s for s in shapes_of(picture) if isinstance(s, Outline) and s.width_cm == 3.0]


def test_nothing_pulled_is_said_too() -> None:
    picture = curve_picture(evening_of(bare()), zone=UTC)
    assert picture.title == "equaliser at the end: no slider pulled"


def test_pulls_in_words() -> None:
    assert pulled_words(evening_of(record(3))) == "1.25k -3 dB, 2.5k -6 dB, 3.15k -3 dB"


@pytest.mark.parametrize("hz", [12.0, 99_000.0])
def test_what_rang_far_out_stays_in_the_picture(hz: float) -> None:
    made = record(1)
    made["rings"][0]["frequency_hz"] = hz
    for shape in shapes_of(curve_picture(evening_of(made), zone=UTC)):
        if isinstance(shape, Disc):
            assert 0 < shape.centre[0] < 1000
