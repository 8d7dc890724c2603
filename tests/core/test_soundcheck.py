"""The soundcheck itself: steps, ticks, what is taken, and what comes back after a restart."""

from __future__ import annotations

import json
from typing import Any

import pytest

from monitor.level.measuring import Kind, Measured
from monitor.placing.stage_file import StageError
from monitor.soundcheck.steps import DOUBT, ITEMS, Soundcheck
from tests.core.stand_ins import PLAN

HEARD: dict[str, Any] = {
    "seconds": 20.0,
    "loudest": {"peak_dbfs": -14.2, "rms_dbfs": -25.0, "of": "sung"},
    "spectrum": {"centre_hz": [100.0], "voice_dbfs": [-40.0]},
    "low_cut": {"ready": True, "choice_label": "100", "choice_hz": 100.0},
}


def measured(kind: Kind = "line", age_s: float = 0.5, **changes: Any) -> Measured:
    return Measured(kind, age_s, {**HEARD, **changes})


def do(soundcheck: Soundcheck, what: str, now_s: float = 100.0, **more: Any) -> None:
    heard = more.pop("measured", None)
    soundcheck.command({"class": "soundcheck", "do": what, **more}, now_s, heard)


def states(soundcheck: Soundcheck, phase: str | None = None) -> list[str]:
    return [step["state"] for step in soundcheck.fields(200.0, phase)["steps"]]


def test_an_evening_in_order() -> None:
    one = Soundcheck()
    assert states(one) == ["now", "to_do", "to_do", "to_do"]
    assert one.fields(100.0, None)["begun_age_s"] is None
    do(one, "begin", 100.0)
    do(one, "begin", 150.0)
    assert one.fields(160.0, None)["begun_age_s"] == 60.0
    do(one, "plan_done")
    assert states(one) == ["done", "now", "to_do", "to_do"]
    do(one, "take_level", 180.0, measured=measured())
    level = one.fields(190.0, None)["level"]
    assert level["age_s"] == 10.5
    assert level["loudest"]["peak_dbfs"] == -14.2
    assert not {"spectrum", "low_cut"} & level.keys()
    do(one, "skip", step="low_cut")
    assert states(one) == ["done", "done", "left_out", "now"]
    assert not one.see_ring_out("raise", 0.0)
    assert one.see_ring_out("done", 0.0)
    assert not one.see_ring_out("done", 0.0)
    assert states(one) == ["done", "done", "left_out", "done"]
    do(one, "again", step="level")
    assert states(one)[1] == "now"
    assert "level" not in one.fields(200.0, None)


def test_what_is_done_is_not_left_out_by_a_phone_that_is_behind() -> None:
    one = Soundcheck()
    do(one, "take_level", measured=measured())
    do(one, "plan_done")
    before = json.dumps(one.kept)
    for step, title in (("place", "Place"), ("level", "Level")):
        with pytest.raises(ValueError, match=f"{title} is done already; to leave it out, do it"):
            do(one, "skip", step=step)
    assert json.dumps(one.kept) == before
    # Taken up again it can be left out, and then nothing stands as kept beside it.
    do(one, "again", step="level")
    do(one, "skip", step="level")
    assert states(one)[1] == "left_out"
    assert "level" not in one.fields(200.0, None)
    do(one, "skip", step="level")


def test_the_words_of_each_step() -> None:
    one = Soundcheck()
    do(one, "take_level", measured=measured())
    do(one, "take_low_cut", measured=measured())
    do(one, "skip", step="place")
    words = [step["words"] for step in one.fields(200.0, "raise")["steps"]]
    assert words == [
        "left out tonight",
        "taken: the loudest, sung, peaks at -14 dBFS",
        "taken: low cut at 100",
        "under way: raise the fader slowly",
    ]
    for state in (Soundcheck(), one):
        for step in state.fields(0.0, None)["steps"]:
            assert step["words"]
            assert "\n" not in step["words"]


@pytest.mark.parametrize(
    ("what", "heard", "expected"),
    [
        ("take_level", None, "nothing was measured yet; measure the desk's line first"),
        ("take_low_cut", None, "nothing was measured yet"),
        ("take_level", measured("box"), "the box's own microphone says nothing of the desk's"),
        ("take_low_cut", measured("box"), "says nothing of the desk's channel"),
        ("take_level", measured(loudest=None), "no voice was heard yet; sing your loudest line"),
        ("take_low_cut", measured(low_cut=None), "not enough voice was heard yet; .*, more"),
        (
            "take_low_cut",
            measured(low_cut={"ready": False, "seconds_left": 31.6}),
            "not enough voice was heard yet; sing or speak on, 32 s of it still",
        ),
    ],
)
def test_what_cannot_be_taken(what: str, heard: Measured | None, expected: str) -> None:
    one = Soundcheck()
    before = json.dumps(one.kept)
    with pytest.raises(ValueError, match=expected):
        do(one, what, measured=heard)
    assert json.dumps(one.kept) == before


def test_ticks_are_items_of_the_list_in_its_order() -> None:
    one = Soundcheck()
    for item in (ITEMS[4], ITEMS[0], ITEMS[4]):
        do(one, "tick", item=item)
    assert one.fields(0.0, None)["ticks"] == [ITEMS[0], ITEMS[4]]
    do(one, "untick", item=ITEMS[0])
    do(one, "untick", item=ITEMS[1])
    assert one.fields(0.0, None)["ticks"] == [ITEMS[4]]
    with pytest.raises(ValueError, match="no item 'dance' in the checklist; load the page again"):
        do(one, "tick", item="dance")


def test_again_waits_for_the_next_ring_out() -> None:
    one = Soundcheck()
    one.see_ring_out("done", 0.0)
    assert states(one)[3] == "done"
    do(one, "again", step="ring_out")
    assert not one.see_ring_out("done", 0.0), "it is still the old one that is done"
    assert states(one)[3] == "to_do"
    one.see_ring_out("ready", 0.0)
    assert one.see_ring_out("done", 0.0)
    # Put away, it stays done.
    one.see_ring_out(None, 0.0)
    assert states(one)[3] == "done"


def test_a_ring_out_that_ends_begins_the_soundcheck() -> None:
    one = Soundcheck()
    one.see_ring_out("raise", 10.0)
    assert one.fields(20.0, "raise")["begun_age_s"] is None
    one.see_ring_out("done", 30.0)
    assert one.fields(50.0, "done")["begun_age_s"] == 20.0


def test_clear_forgets_all_but_the_plan() -> None:
    one = Soundcheck()
    one.keep_plan(PLAN)
    do(one, "plan_done")
    do(one, "tick", item=ITEMS[0])
    do(one, "clear")
    assert states(one) == ["now", "to_do", "to_do", "to_do"]
    shown = one.fields(0.0, None)
    assert (shown["ticks"], shown["begun_age_s"], shown["plan_revision"]) == ([], None, 1)
    assert one.plan == PLAN


def test_a_plan_counts_up_and_a_bad_one_changes_nothing() -> None:
    one = Soundcheck()
    assert (one.plan, one.revision) == (None, 0)
    one.keep_plan(PLAN)
    assert one.revision == 1
    with pytest.raises(StageError, match="microphone is 'loud' where a list"):
        one.keep_plan({**PLAN, "microphone": "loud"})
    assert (one.plan, one.revision) == (PLAN, 1)


def filled() -> Soundcheck:
    one = Soundcheck()
    one.keep_plan(PLAN)
    do(one, "begin", 1000.0)
    do(one, "tick", 1001.0, item=ITEMS[2])
    do(one, "take_low_cut", 1300.0, measured=measured(age_s=0.0))
    one.see_ring_out("raise", 0.0)
    return one


def test_a_restart_brings_all_back() -> None:
    kept = json.loads(json.dumps(filled().kept))
    again = Soundcheck()
    again.restore_plan(kept)
    again.restore_evening(kept, shift_s=-900.0)
    shown = again.fields(500.0, None)
    assert shown["begun_age_s"] == 400.0
    assert shown["low_cut"]["age_s"] == 100.0
    assert shown["low_cut"]["low_cut"]["choice_label"] == "100"
    assert "loudest" not in shown["low_cut"]
    assert shown["ticks"] == [ITEMS[2]]
    assert shown["plan_revision"] == 1
    assert shown["doubt"] is None
    assert again.see_ring_out("done", 0.0), "it ended while nobody looked"
    assert again.kept["plan"] == PLAN


def test_where_no_clock_can_tell_it_is_in_doubt_until_somebody_goes_on() -> None:
    again = Soundcheck()
    again.restore_evening(filled().kept, shift_s=0.0, in_doubt=True)
    assert again.fields(2000.0, None)["doubt"] == DOUBT
    do(again, "measure", source="box")
    do(again, "measure_stop")
    assert again.fields(2000.0, None)["doubt"] == DOUBT, "measuring says nothing of the evening"
    do(again, "tick", item=ITEMS[0])
    assert again.fields(2000.0, None)["doubt"] is None
    empty = Soundcheck()
    empty.restore_evening(Soundcheck().kept, shift_s=0.0, in_doubt=True)
    assert empty.fields(0.0, None)["doubt"] is None


@pytest.mark.parametrize(
    "damage",
    [
        {"evening": None},
        {"evening": {}},
        {"evening": {**filled().kept["evening"], "ends": []}},
        {"evening": {**filled().kept["evening"], "ends": {"level": "perhaps"}}},
        {"evening": {**filled().kept["evening"], "ends": {"dance": "done"}}},
        {"evening": {**filled().kept["evening"], "begun_s": "early"}},
        {"evening": {**filled().kept["evening"], "taken": {"level": 3}}},
        {"evening": {**filled().kept["evening"], "taken": {"level": ["x", {}]}}},
        {"evening": {**filled().kept["evening"], "ticks": 3}},
    ],
)
def test_a_damaged_evening_changes_nothing(damage: dict[str, Any]) -> None:
    one = Soundcheck()
    before = json.dumps(one.kept)
    with pytest.raises(ValueError, match="what was kept of the soundcheck is damaged"):
        one.restore_evening({**filled().kept, **damage}, shift_s=0.0)
    assert json.dumps(one.kept) == before


@pytest.mark.parametrize(
    "damage",
    [
        {"plan": [1]},
        {"plan": {"stage": "of an older version"}},
        {"revision": -1},
        {"revision": "two"},
        {"revision": True},
    ],
)
def test_a_damaged_plan_changes_nothing(damage: dict[str, Any]) -> None:
    one = Soundcheck()
    with pytest.raises(ValueError, match=r"plan|stage"):
        one.restore_plan({**filled().kept, **damage})
    assert (one.plan, one.revision) == (None, 0)
