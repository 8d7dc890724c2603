"""The timeline: everything where it belongs, told by shape, in bounds."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest

from monitor.placing.shapes import Disc, Outline, Picture, Words, shapes_of
from monitor.report.evening import evening_of
from monitor.report.marks import drop, radius_of, tail_of
from monitor.report.pictures import gig_png, gig_svg
from monitor.report.scales import Across, Up, bands_for, time_marks
from monitor.report.timeline import timeline_picture
from monitor.report.timeline_parts import MOST_DRAWN, deaf_stretches
from monitor.report.words import EveningClock
from tests.report.made_gig import bare, pull, record, ring, rings


def parts(picture: Picture, name: str) -> list[Any]:
    return [s for s in shapes_of(picture) if name in getattr(s, "part", "").split()]


def said(picture: Picture) -> list[str]:
    return [s.text for s in shapes_of(picture) if isinstance(s, Words)]


def one_ring(**fields: Any) -> dict[str, Any]:
    import random

    return {**ring(1, 60.0, random.Random(1)), **fields}


def test_every_ring_is_drawn_and_howls_are_solid() -> None:
    picture = timeline_picture(evening_of(record(200)), zone=UTC)
    key = 7  # howl, ringing, two levels, three lengths
    assert len(parts(picture, "ring")) == 200 + key
    solid = [s for s in parts(picture, "ring") if s.fill]
    howls = evening_of(record(200)).howl_count
    assert len(solid) == howls + 1
    assert all(s.fill is None for s in parts(picture, "ring") if s not in solid)


def test_louder_is_thicker_and_longer_is_longer() -> None:
    assert radius_of(-60.0) < radius_of(-40.0) < radius_of(-3.0) == pytest.approx(10.2, abs=0.2)
    assert radius_of(None) == radius_of(-90.0)
    assert tail_of(0.5) < tail_of(5.0) < tail_of(60.0) <= tail_of(9000.0)


def test_a_ring_begins_at_its_moment_and_frequency() -> None:
    made = drop((100.0, 50.0), degree="howl", level_dbfs=-20.0, lasted_s=4.0)
    assert isinstance(made, Outline)
    assert min(x for x, _ in made.points) == pytest.approx(100.0, abs=0.4)
    assert max(x for x, _ in made.points) == pytest.approx(
        100.0 + 2 * radius_of(-20.0) + tail_of(4.0)
    )
    assert sum(y for _, y in made.points) / len(made.points) == pytest.approx(50.0)


def test_a_ring_whose_end_is_not_known_has_no_tail() -> None:
    assert isinstance(drop((0, 0), degree="howl", level_dbfs=0.0, lasted_s=None), Disc)
    made = bare()
    made["rings"] = [{k: v for k, v in one_ring().items() if k != "lasted_s"}]
    assert "end not known" in said(timeline_picture(evening_of(made), zone=UTC))


def test_third_octaves_lie_one_row_apart() -> None:
    # Midbands 1000 * 10**(k/10), edges 10**(+-1/20) from them (IEC 61260-1:2014).
    up = Up(top=0.0, row=20.0, bands=bands_for([]))
    assert up.y(1000.0) - up.y(1000.0 * 10**0.1) == pytest.approx(20.0)
    assert up.y(1000.0 * 10**0.05) == pytest.approx(up.y(1000.0) - 10.0)
    assert up.y(5.0) == up.bottom
    assert up.y(50_000.0) == 0.0


def test_bands_reach_as_far_as_what_rang() -> None:
    assert [b.label for b in (bands_for([])[0], bands_for([])[-1])] == ["200", "8k"]
    assert [b.label for b in (bands_for([61.0])[0], bands_for([15_000.0])[-1])] == ["63", "16k"]
    assert bands_for([3.0])[0].label == "20"


def test_time_marks_are_round_by_the_local_clock() -> None:
    begun = datetime(2026, 11, 26, 18, 2, 40, tzinfo=UTC)
    clock = EveningClock(begun, timezone(timedelta(hours=5, minutes=45)))
    marks = time_marks(10_800.0, clock, 13)
    # 18:02:40 UTC is 23:47:40 there; the first quarter is 740 s later.
    assert marks[0] == (740.0, "00:00")
    assert [m for _, m in marks][-1] == "02:45"
    assert len(marks) == 12


def test_without_a_date_marks_count_hours_and_minutes() -> None:
    marks = time_marks(7200.0, EveningClock(None), 13)
    assert [m for _, m in marks][:3] == ["0:00", "0:10", "0:20"]
    long = time_marks(14 * 86400.0, EveningClock(None), 6)
    assert len(long) <= 7


def test_a_moment_beyond_the_end_stays_in_the_picture() -> None:
    across = Across(50.0, 990.0, 600.0)
    assert (across.x(-5.0), across.x(300.0), across.x(1e9)) == (50.0, 520.0, 990.0)


def test_cuts_point_down_and_stand_until_they_are_eased() -> None:
    made = bare(lasted_s=600.0)
    made["happenings"] = [
        {"at_s": 120.0, "kind": "pull", "pulls": [pull("1k", 4.0)]},
        {"at_s": 480.0, "kind": "pull", "pulls": []},
    ]
    picture = timeline_picture(evening_of(made), zone=UTC)
    down, up = (s for s in parts(picture, "pull") if s.points[0][1] < 400.0)
    assert down.points[1][1] < down.points[0][1]
    assert down.fill == "candle"
    assert up.points[1][1] > up.points[0][1]
    assert up.fill == "ground"
    stands = [
        s
        for s in shapes_of(picture)
        if isinstance(s, Outline) and s.stroke == "candle" and len(s.points) == 2
    ]
    first, last = stands[0].points
    assert first[0] == pytest.approx(down.points[0][0])
    assert last[0] == pytest.approx(up.points[0][0])
    assert {"-4", "flat"} <= set(said(picture))


def test_nothing_stands_beyond_the_gig_s_end() -> None:
    made = bare(lasted_s=60.0)
    made["happenings"] = [
        {"at_s": 0.0, "kind": "way", "way": "set"},
        {"at_s": 30.0, "kind": "pull", "pulls": [pull("1k", 4.0)]},
    ]
    picture = timeline_picture(evening_of(made), zone=UTC)
    # The picture shows ten minutes, the gig had one: a tenth of the way across.
    left, right = 58.0, 988.0
    (strip,) = parts(picture, "way")
    assert max(x for x, _ in strip.points) == pytest.approx(left + (right - left) / 10.0)


def test_deaf_stretches_pair_up_and_an_open_one_lasts_to_the_end() -> None:
    made = bare(lasted_s=600.0)
    made["happenings"] = [
        {"at_s": at_s, "kind": kind}
        for at_s, kind in ((10, "hears"), (60, "deaf"), (70, "deaf"), (90, "hears"), (300, "deaf"))
    ]
    evening = evening_of(made)
    assert deaf_stretches(evening) == [(60.0, 90.0), (300.0, 600.0)]
    assert "could not hear" in said(timeline_picture(evening, zone=UTC))


def test_the_key_names_only_what_is_there() -> None:
    words = said(timeline_picture(evening_of(bare()), zone=UTC))
    assert not {"howl", "song", "eased", "could not hear"} & set(words)


@pytest.mark.parametrize("wide", [True, False])
@pytest.mark.parametrize(
    "made",
    [bare(), record(1), record(200), record(2000, dated="believed"), record(40, 11.0)],
    ids=["empty", "one", "many", "very many", "long"],
)
def test_all_of_it_lies_within_the_picture(made: dict[str, Any], wide: bool) -> None:
    picture = timeline_picture(evening_of(made), wide=wide, caption=True, zone=UTC)
    right, bottom = picture.width_cm, picture.height_cm
    for shape in shapes_of(picture):
        if isinstance(shape, Outline):
            assert all(-1 <= x <= right + 1 and -1 <= y <= bottom + 1 for x, y in shape.points)
        elif isinstance(shape, Words):
            assert 0 <= shape.at[0] <= right
            assert 0 <= shape.at[1] <= bottom


def test_of_very_many_rings_the_howls_and_the_longest_are_drawn() -> None:
    made = bare()
    made["rings"] = rings(MOST_DRAWN + 500, 3.0)
    picture = timeline_picture(evening_of(made), zone=UTC)
    drawn = parts(picture, "ring")
    assert len(drawn) == MOST_DRAWN + 7
    howls = sum(one["degree"] == "howl" for one in made["rings"])
    assert sum(bool(s.fill) for s in drawn) == howls + 1


def test_names_cannot_leave_their_place_in_the_file() -> None:
    made = record(3)
    made["gig"]["title"] = '"><script>alert(1)</script>'
    made["gig"]["venue"]["name"] = "</svg>\x00\u202e&"
    tree = ET.fromstring(gig_svg(made, zone=UTC))
    names = {element.tag.rsplit("}")[-1] for element in tree.iter()}
    assert names <= {"svg", "path", "circle", "text", "rect"}


def test_the_png_is_a_png_of_the_size_asked_for() -> None:
    data = gig_png(record(5), zone=UTC)
    # Signature and header of a PNG file (ISO/IEC 15948, 5.2 and 11.2.2).
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    assert int.from_bytes(data[16:20], "big") == 1600


def test_there_is_no_other_picture() -> None:
    with pytest.raises(ValueError, match="there is no picture 'plan'"):
        gig_svg(record(1), "plan")  # type: ignore[arg-type]


@pytest.mark.parametrize(("dated", "unsure"), [("network", False), ("believed", True)])
def test_a_picture_that_stands_alone_says_when_its_date_is_not_sure(
    dated: str, unsure: bool
) -> None:
    words = " ".join(
        said(timeline_picture(evening_of(record(3, dated=dated)), zone=UTC, caption=True))
    )
    assert ("(not sure)" in words) is unsure
