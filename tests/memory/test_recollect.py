"""All together: what goes over the link on arriving and after."""

from __future__ import annotations

import json
import math
import subprocess
import sys
import time
from dataclasses import replace
from typing import Any

from monitor.memory.gig_memory import RingOutMemory
from monitor.memory.recollect import MOST_GIGS, MOST_RANG, recollect
from tests.bench.memory_histories import SCORING, made_history
from tests.memory.made import gig, pull, ring


def test_nothing_kept_says_so() -> None:
    assert recollect([], venue=None).fields() == {
        "gig_count": 0,
        "venue_count": 0,
        "bands": [],
        "when": {"hours": [], "songs": [], "words": []},
        "words": ["nothing is kept yet"],
        "enough": False,
    }


def test_a_venue_never_played_is_absent() -> None:
    fields = recollect([gig("anchor", [250.0])], venue="barn").fields()
    assert "venue" not in fields


def test_on_arriving_at_a_known_venue() -> None:
    cut = [pull("250", 251.2, 6.0)]
    here = [gig("anchor", [250.0, 3000.0], cut), gig("anchor", [255.0], cut)]
    fields = recollect([*here, gig("barn")], venue="anchor").fields()["venue"]
    assert (fields["name"], fields["gig_count"]) == ("The anchor", 2)
    assert [rang["words"] for rang in fields["rang"]] == [
        "252 Hz on 2 of 2 evenings, 2 howls",
        "3 kHz on 1 of 2 evenings, 1 howl",
    ]
    assert [(c["label"], c["pull_db"]) for c in fields["begin_with"]] == [("250", 6.0)]
    assert fields["words"] == ["on most of 2 evenings here rang 252 Hz"]
    assert "gain" not in fields


def test_one_evening_shows_what_rang_and_advises_no_cut() -> None:
    fields = recollect([gig("anchor", [250.0], [pull("250", 251.2, 6.0)])], venue="anchor").fields()
    assert fields["venue"]["begin_with"] == []
    assert fields["venue"]["words"] == ["one evening is too few to say which pulls to begin with"]
    assert not fields["enough"]


def test_another_equaliser_is_said() -> None:
    gigs = [gig("anchor", [250.0], equaliser="10 bands"), *[gig("anchor", [250.0])] * 2]
    words = recollect(gigs, venue="anchor", equaliser="31 bands").fields()["venue"]["words"]
    assert words[-1] == "1 evening had another equaliser: its pulls do not count"
    gigs = [gig("anchor", [250.0], equaliser="10 bands") for _ in range(3)]
    words = recollect(gigs, venue="anchor", equaliser="31 bands").fields()["venue"]["words"]
    assert "3 evenings had another equaliser: their pulls do not count" in words
    assert not any("one evening is too few" in line for line in words), "there is none at all"


def test_the_date_of_a_clock_nobody_set_is_not_told() -> None:
    believed = recollect([gig("anchor", dated="believed")], venue="anchor").fields()["venue"]
    assert "last_utc" not in believed
    set_by_phone = gig("anchor", utc_s=1_936_814_400.0, dated="phone")
    known = recollect([set_by_phone], venue="anchor").fields()["venue"]
    assert known["last_utc"] == "2031-05-17T20:00:00Z"


def test_an_equaliser_of_the_same_name_with_other_sliders_is_another() -> None:
    # Five bands, until the person typed the labels that are printed on theirs.
    pulled = [pull("330", 330.0, 4.0)]
    as_supposed, typed = (("330", 330.0), ("1k", 1000.0)), (("400", 398.11), ("1k", 1000.0))
    gigs = [
        gig("anchor", [330.0], pulled, equaliser="2 bands", sliders=as_supposed) for _ in range(2)
    ]
    there = recollect(gigs, venue="anchor", equaliser="2 bands", sliders=as_supposed).fields()
    assert [cut["label"] for cut in there["venue"]["begin_with"]] == ["330"]
    here = recollect(gigs, venue="anchor", equaliser="2 bands", sliders=typed).fields()["venue"]
    assert here["begin_with"] == []
    assert here["words"][-1] == "2 evenings had another equaliser: their pulls do not count"
    assert here["last"]["other_equaliser"] == "2 bands at other places"
    # Where nothing is kept of them, the name is all that is known.
    bare = [gig("anchor", [330.0], pulled, equaliser="2 bands") for _ in range(2)]
    said = recollect(bare, venue="anchor", equaliser="2 bands", sliders=typed).fields()["venue"]
    assert [cut["label"] for cut in said["begin_with"]] == ["330"]


def test_the_last_gig_here_is_named_with_its_date_and_another_equaliser() -> None:
    before_s, last_s = 1_936_209_600.0, 1_936_814_400.0
    gigs = [gig("anchor", [250.0], utc_s=utc_s) for utc_s in (before_s, last_s)] + [gig("barn")]
    here = recollect(gigs, venue="anchor", equaliser="31 bands").fields()["venue"]
    assert here["last"] == {"gig": gigs[1].uid, "utc": "2031-05-17T20:00:00Z"}
    other = recollect(gigs, venue="anchor", equaliser="10 bands").fields()["venue"]["last"]
    assert other["other_equaliser"] == "31 bands"
    undated = recollect([gig("anchor", [250.0], dated="believed")], venue="anchor")
    assert set(undated.fields()["venue"]["last"]) == {"gig"}


def test_the_last_gig_is_one_that_says_something() -> None:
    """A venue chosen at home, to see what is known there, is no evening there."""
    played, looked = gig("anchor", [250.0]), gig("anchor", hours_heard_s=(600.0,))
    assert recollect([played, looked], venue="anchor").fields()["venue"]["last"]["gig"] == (
        played.uid
    )
    quiet = gig("anchor", hours_heard_s=(1800.0,))
    last = recollect([played, looked, quiet], venue="anchor").fields()["venue"]["last"]
    assert last["gig"] == quiet.uid
    assert recollect([looked], venue="anchor").fields()["venue"]["last"]["gig"] == looked.uid


def test_an_earlier_half_of_tonight_is_not_last_time() -> None:
    """Soundcheck and set of one evening are two gigs where it was quiet for long between them."""
    week_ago, soundcheck = gig("anchor", [250.0]), gig("anchor", [250.0])
    on = replace(gig("anchor"), utc_s=(soundcheck.utc_s or 0.0) + 3 * 3600.0)
    found = recollect([week_ago, soundcheck], venue="anchor", tonight=on).fields()["venue"]
    assert (found["last"]["gig"], found["gig_count"]) == (week_ago.uid, 2)
    assert "last" not in recollect([soundcheck], venue="anchor", tonight=on).fields()["venue"]
    unsure = replace(on, dated="believed")  # no clock can tell
    found = recollect([week_ago, soundcheck], venue="anchor", tonight=unsure).fields()["venue"]
    assert found["last"]["gig"] == soundcheck.uid


def test_gigs_without_a_venue_are_counted_and_said() -> None:
    fields = recollect([gig(None, [250.0]), gig("anchor")], venue=None).fields()
    assert (fields["gig_count"], fields["venue_count"]) == (2, 1)
    assert fields["words"][-2:] == [
        "1 evening at 1 venue: not enough evenings yet to tell the rig from the room",
        "1 evening without a venue: not used for that",
    ]


def test_sure_things_are_said_the_rig_first_and_of_rooms_the_one_asked_about() -> None:
    gigs = [
        gig(venue, [2500.0, 250.0] if venue == "anchor" else [2500.0])
        for venue in ("anchor", "barn", "crown", "dock", "eagle")
        for _ in range(3)
    ]
    over_all = recollect(gigs, venue=None)
    assert over_all.enough
    assert [line.split(" rang")[0] for line in over_all.words] == ["2.5 kHz", "250 Hz"]
    assert [line.split(" rang")[0] for line in recollect(gigs, venue="barn").words] == ["2.5 kHz"]


def plain(value: Any) -> None:
    if isinstance(value, dict):
        assert all(isinstance(key, str) for key in value)
        for each in value.values():
            plain(each)
    elif isinstance(value, list):
        for each in value:
            plain(each)
    else:
        assert value is not None
        assert not isinstance(value, float) or math.isfinite(value)


def test_fields_hold_no_null_and_no_nan() -> None:
    for seed in range(20):
        gigs = made_history(seed, SCORING).gigs
        plain(recollect(gigs, venue=gigs[-1].venue_uid).fields())


def test_the_short_part_is_short() -> None:
    rung_out = [gig("anchor", [250.0], ring_out=RingOutMemory(6.0, -4.0)) for _ in range(3)]
    many = gig("anchor", [200.0 * 1.3**n for n in range(15)])
    found = recollect([*rung_out, many], venue="anchor")
    short = found.on_arriving()
    assert set(short) == {"gig_count", "venue_count", "venue", "words", "enough"}
    assert len(short["venue"]["rang"]) == MOST_RANG
    assert len(json.dumps(short)) < 4000


def test_years_of_gigs_are_looked_at_in_bounded_time() -> None:
    base = made_history(3, SCORING).gigs
    gigs = [
        replace(base[n % len(base)], uid=f"g{n}", utc_s=1.8e9 + 86400.0 * n)
        for n in range(2 * MOST_GIGS)
    ]
    # One import with a stuck ring in it.
    gigs[-1] = replace(gigs[-1], rings=tuple(ring(500.0 + n, float(n)) for n in range(5000)))
    begun_s = time.process_time()
    found = recollect(gigs, venue=gigs[-1].venue_uid)
    assert found.gig_count == MOST_GIGS
    assert time.process_time() - begun_s < 10.0  # 0.6 s when it was written; a small box is slower


def test_it_needs_no_arithmetic_library() -> None:
    # The page reads none of it, but commands do, and a small box loads numpy for a second.
    statement = (
        "import sys, monitor.memory.recollect, monitor.memory.from_record; print(*sys.modules)"
    )
    run = subprocess.run(
        [sys.executable, "-c", statement], capture_output=True, text=True, check=True, timeout=60
    )
    assert not set(run.stdout.split()) & {"numpy", "scipy", "sqlite3"}
