"""From a record to what the memory needs, by a record that the journal's own gate lets through."""

from __future__ import annotations

from typing import Any

import pytest

from monitor.journal.record import check_record
from monitor.memory.from_record import memory_of


def record(*happenings: dict[str, Any], **more: Any) -> dict[str, Any]:
    gig = {
        "uid": "a1",
        "venue": {"uid": "b2", "name": "The Anchor"},
        "begun": {"utc": "2031-05-17T20:00:00Z", "dated": "phone", "boot": "x", "uptime_s": 5.0},
        "lasted_s": 9000.0,
        **more,
    }
    ring = {
        "id": 1,
        "session": "s",
        "at_s": 4000.0,
        "lasted_s": 1.5,
        "degree": "howl",
        "way": "set",
        "frequency_hz": 2500.0,
        "band": "2.5k",
        "slider": "2.5k",
        "level_dbfs": -20.0,
        "growth_db_per_s": 30.0,
    }
    sliders = [{"label": label, "centre_hz": hz} for label, hz in (("1k", 1000), ("2k", 2000))]
    return check_record(
        {
            "record": 1,
            "gig": gig,
            "rings": [ring],
            "happenings": list(happenings),
            "equaliser": {"name": "10 bands", "sliders": sliders},
        }
    )


def pulls(at_s: float, **depths_db: float) -> dict[str, Any]:
    hz = {"k1": 1000.0, "k2": 2000.0}
    return {
        "at_s": at_s,
        "kind": "pull",
        "pulls": [
            {"label": label[::-1], "centre_hz": hz[label], "pull_db": db}
            for label, db in depths_db.items()
        ],
    }


def level(at_s: float) -> dict[str, Any]:
    return {"at_s": at_s, "kind": "level", "level_dbfs": -30.0, "peak_dbfs": -20.0}


def test_head_and_rings() -> None:
    found = memory_of(record())
    assert (found.uid, found.venue_uid, found.venue_name) == ("a1", "b2", "The Anchor")
    assert found.utc_s == 1_936_814_400.0  # by date -u -d 2031-05-17T20:00:00Z +%s
    assert (found.dated, found.equaliser, found.is_whole) == ("phone", "10 bands", True)
    assert found.rings[0].frequency_hz == 2500.0
    assert found.rings[0].degree == "howl"


def test_pulls_as_they_stood_in_the_end_and_since_when() -> None:
    found = memory_of(
        record(
            pulls(0.0, k1=3.0),
            pulls(50.0, k1=0.0),
            pulls(80.0, k1=4.0, k2=2.0),
            pulls(90.0, k1=5.0),
        )
    )
    assert [(p.label, p.pull_db, p.first_at_s) for p in found.pulls] == [("1k", 5.0, 80.0)]
    assert found.pulls[0].begun_db == 4.0
    assert found.pulls[0].reach_octaves == pytest.approx(0.5)


def test_the_last_ring_out_counts_and_unknown_gain_stays_unknown() -> None:
    first = {"at_s": 10.0, "kind": "ring_out", "cut_count": 5, "tone_cost_db": 1.5}
    last = {**first, "at_s": 900.0, "cut_count": 7, "gain_won_db": 6.0, "top_fader_db": -4.0}
    found = memory_of(record(first, last)).ring_out
    assert found is not None
    assert (found.gain_won_db, found.top_fader_db) == (6.0, -4.0)
    only = memory_of(record(first)).ring_out
    assert only is not None
    assert only.gain_won_db is None


def test_voice_before_the_fader() -> None:
    taken = {"at_s": 5.0, "kind": "desk_level", "loudest": {"rms_dbfs": -18.5, "peak_dbfs": -8.0}}
    assert memory_of(record(taken)).voice_dbfs == -18.5
    assert memory_of(record()).voice_dbfs is None


def test_time_heard_by_hour_from_a_level_a_minute() -> None:
    found = memory_of(record(*[level(60.0 * n) for n in range(1, 31)], level(3660.0)))
    assert found.hours_heard_s == pytest.approx((1800.0, 60.0))
    # Nobody said which way: nothing of it is known to be the set.
    assert found.hours_set_s == ()


def test_a_level_of_a_thinned_gig_stands_for_ten_minutes() -> None:
    found = memory_of(record(level(600.0), level(1200.0), thinned=1))
    assert found.hours_heard_s == pytest.approx((1200.0,))


def test_without_levels_the_whole_gig_less_what_was_deaf() -> None:
    deaf = {"at_s": 3000.0, "kind": "deaf", "reason": "unplugged"}
    hears = {"at_s": 4200.0, "kind": "hears"}
    found = memory_of(record(deaf, hears))
    assert found.hours_heard_s == pytest.approx((3000.0, 3000.0, 1800.0))


def test_only_the_way_of_the_set_counts_for_the_hours() -> None:
    ways = [
        {"at_s": at_s, "kind": "way", "way": way}
        for at_s, way in ((0.0, "soundcheck"), (1800.0, "set"), (5400.0, "soundcheck"))
    ]
    found = memory_of(record(*ways))
    assert found.hours_set_s == pytest.approx((1800.0, 1800.0))
    assert sum(found.hours_heard_s) == pytest.approx(9000.0)


def test_song_blocks_end_at_the_next() -> None:
    marks = [{"at_s": at_s, "kind": "song", "n": n} for at_s, n in ((600.0, 1), (1500.0, 2))]
    found = memory_of(record(*marks))
    assert [(s.n, s.at_s, s.heard_s) for s in found.songs] == [
        (1, 600.0, 900.0),
        (2, 1500.0, 7500.0),
    ]


def test_rings_that_have_gone_are_no_silence() -> None:
    assert not memory_of(record(rings_gone=3)).is_whole


def test_little_is_known_of_a_bare_gig() -> None:
    bare = {"uid": "a1", "begun": {"dated": "believed", "boot": "x", "uptime_s": 5.0}}
    found = memory_of(check_record({"record": 1, "gig": bare, "rings": [], "happenings": []}))
    assert (found.venue_uid, found.utc_s, found.hours_heard_s) == (None, None, ())
    assert found.heard_s == 7200.0
