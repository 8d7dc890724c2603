"""What is kept of what two snapshots differ in."""

from __future__ import annotations

from typing import Any

import pytest

from monitor.gigs.noticing import (
    PLAN_SETTLES_S,
    PULL_SETTLES_S,
    TICKS_SETTLE_S,
    Noticed,
    Noticing,
    stands,
)

EQUALISER = {
    "name": "two",
    "deepest_db": 12.0,
    "sliders": [{"label": "1k", "centre_hz": 1000.0}, {"label": "2k", "centre_hz": 2000.0}],
}


def snapshot(**changes: Any) -> dict[str, Any]:
    return {
        "state": "quiet",
        "way": "set",
        "equaliser": EQUALISER,
        "standing": [],
        "soundcheck": {"ticks": [], "plan_revision": 0},
        **changes,
    }


def look(noticing: Noticing, *shots: tuple[float, dict[str, Any]]) -> list[Noticed]:
    return [one for now_s, shot in shots for one in noticing.look(shot, now_s)]


def test_the_first_look_only_begins() -> None:
    full = snapshot(
        state="deaf", standing=[{"slider": 0, "cut_db": -3.0}], ring_out={"phase": "done"}
    )
    assert look(Noticing(), (0.0, full), (60.0, full)) == []


def test_a_pull_counts_once_it_has_settled_and_all_that_stand_are_told() -> None:
    noticing = Noticing()
    one = {"slider": 1, "cut_db": -3.0}
    steps = [snapshot(standing=[{"slider": 1, "cut_db": db}]) for db in (-1.0, -2.0)]
    both = snapshot(standing=[one, {"slider": 0, "cut_db": -6.0, "centre_hz": 990.0, "q": 4.0}])
    found = look(
        noticing,
        (0.0, snapshot()),
        (0.5, steps[0]),
        (1.0, steps[1]),
        (1.4, snapshot(standing=[one])),
        (1.4 + PULL_SETTLES_S, snapshot(standing=[one])),
        (5.0, both),
        (5.0 + PULL_SETTLES_S, both),
    )
    assert [n.kind for n in found] == ["pull", "pull"]
    assert found[0].content["pulls"] == [{"label": "2k", "centre_hz": 2000.0, "pull_db": 3.0}]
    assert found[1].content["pulls"][1] == {
        "label": "1k",
        "centre_hz": 990.0,
        "pull_db": 6.0,
        "q": 4.0,
    }
    assert found[0].does == "pull"


def test_what_goes_back_before_it_has_settled_is_nothing() -> None:
    pulled = snapshot(standing=[{"slider": 1, "cut_db": -3.0}])
    shots = (0.0, snapshot()), (0.5, pulled), (1.0, snapshot()), (9.0, snapshot())
    assert look(Noticing(), *shots) == []


def test_way_and_deafness() -> None:
    deaf = snapshot(way="soundcheck", state="deaf", deaf_reason="unplugged")
    found = look(
        Noticing(), (0.0, snapshot()), (1.0, deaf), (2.0, deaf), (3.0, snapshot(way="soundcheck"))
    )
    assert [(n.kind, n.content, n.does) for n in found] == [
        ("way", {"way": "soundcheck"}, "way"),
        ("deaf", {"reason": "unplugged"}, None),
        ("hears", {}, None),
    ]


def test_a_ring_out_is_a_doing_and_kept_at_its_end() -> None:
    def phase(name: str, **more: Any) -> dict[str, Any]:
        return snapshot(ring_out={"phase": name, **more})

    done = phase(
        "done",
        say="Done",
        gain_won_db=4.0,
        cut_count=1,
        tone_cost_db=0.4,
        pulls=[{"label": "2k", "pull_db": 3.0, "q": None}],
        rings=[{"frequency_hz": 2010.0, "fate": "gone"}],
        why="enough",
        may=["begin"],
    )
    found = look(
        Noticing(), (0.0, snapshot()), (1.0, phase("ready")), (2.0, phase("raise")), (3.0, done),
        (4.0, done),
    )  # fmt: skip
    assert [n.kind for n in found] == ["", "", "ring_out"]
    assert {n.does for n in found} == {"ring_out"}
    assert found[-1].content == {
        "gain_won_db": 4.0,
        "cut_count": 1,
        "tone_cost_db": 0.4,
        "pulls": [{"label": "2k", "pull_db": 3.0}],
        "rings": [{"frequency_hz": 2010.0, "fate": "gone"}],
        "why": "enough",
    }


def test_what_a_ring_out_leaves_out_of_its_pulls_is_kept_as_it_stands() -> None:
    # A low cut has no depth and a fixed shelf no place there: the report draws both.
    sliders = [
        {"label": "low cut", "centre_hz": 100.0, "switch": True},
        {"label": "low", "centre_hz": 80.0},
        {"label": "mid", "centre_hz": 500.0},
    ]
    strip = {**EQUALISER, "sliders": sliders}
    pulls = [
        {"label": "low cut", "on": True, "pull_db": None, "centre_hz": None},
        {"label": "low", "pull_db": 3.0, "centre_hz": None},
        {"label": "mid", "pull_db": 4.0, "centre_hz": 2480.0, "q": 0.7},
    ]
    done = snapshot(
        equaliser=strip,
        standing=[{"slider": i, "cut_db": cut_db} for i, cut_db in enumerate((-12.3, -3.0, -4.0))],
        ring_out={"phase": "done", "pulls": pulls},
    )
    (found,) = look(Noticing(), (0.0, snapshot(equaliser=strip)), (1.0, done))
    assert found.content["pulls"] == [
        {"label": "low cut", "on": True, "pull_db": 12.3, "centre_hz": 100.0},
        {"label": "low", "pull_db": 3.0, "centre_hz": 80.0},
        {"label": "mid", "pull_db": 4.0, "centre_hz": 2480.0, "q": 0.7},
    ]


def check(**more: Any) -> dict[str, Any]:
    return snapshot(soundcheck={"ticks": [], "plan_revision": 0, **more})


def test_the_soundcheck_s_figures_are_kept_once_though_their_age_moves() -> None:
    found = look(
        Noticing(),
        (0.0, check()),
        (1.0, check(begun_age_s=0.1)),
        (2.0, check(begun_age_s=1.1, level={"loudest": {"dbfs": -14.0}, "age_s": 0.1})),
        (3.0, check(begun_age_s=2.1, level={"loudest": {"dbfs": -14.0}, "age_s": 1.1})),
        (4.0, check(begun_age_s=3.1, level={"loudest": {"dbfs": -12.0}, "age_s": 0.1})),
        (5.0, check(begun_age_s=4.1, low_cut={"low_cut": {"hz": 100}, "age_s": 2.0})),
    )
    assert [(n.kind, n.does) for n in found] == [
        ("", "soundcheck"),
        ("desk_level", "soundcheck"),
        ("desk_level", "soundcheck"),
        ("low_cut", "soundcheck"),
    ]
    assert found[1].content == {"loudest": {"dbfs": -14.0}}


def test_ticks_and_plan_settle() -> None:
    now = check(ticks=["cables"], plan_revision=3)
    noticing = Noticing()
    assert look(noticing, (0.0, check()), (1.0, now), (1.0 + TICKS_SETTLE_S - 0.1, now)) == []
    (ticks,) = look(noticing, (1.0 + TICKS_SETTLE_S, now))
    assert (ticks.kind, ticks.content) == ("check", {"ticks": ["cables"]})
    (plan,) = look(noticing, (1.0 + PLAN_SETTLES_S, now))
    assert (plan.kind, plan.content) == ("plan", {"revision": 3})


def test_how_things_stand_at_a_gig_s_beginning() -> None:
    assert [n.kind for n in stands(snapshot())] == ["equaliser", "way"]
    full = check(ticks=["cables"], plan_revision=2) | {
        "state": "deaf",
        "standing": [{"slider": 0, "cut_db": -2.0}],
    }
    assert [n.kind for n in stands(full)] == ["equaliser", "way", "pull", "plan", "check", "deaf"]
    assert all(n.does is None for n in stands(full))


@pytest.mark.parametrize("junk", [{}, {"soundcheck": None, "ring_out": 3, "standing": None}])
def test_a_snapshot_that_lacks_things_is_looked_at_all_the_same(junk: dict[str, Any]) -> None:
    noticing = Noticing()
    look(noticing, (0.0, snapshot()), (1.0, junk), (2.0, snapshot()), (30.0, junk))
    assert stands(junk) == []
