"""A record read: what is usable stays, what is not goes, nothing breaks."""

from __future__ import annotations

import copy
import random
from datetime import UTC
from typing import Any

import pytest

from monitor.report.evening import evening_of
from monitor.report.page import report_html
from monitor.report.pictures import gig_svg
from monitor.report.tables import csv_text
from tests.report.made_gig import RECOLLECTION, bare, pull, record


def test_a_whole_evening_is_read() -> None:
    evening = evening_of(record(24))
    assert (evening.title, evening.venue) == ("The Ferry Lamps", "The Slipway")
    assert len(evening.rings) == 24
    assert evening.is_dated
    assert evening.length_s >= 10800.0
    assert [one.label for one in evening.standing] == ["1.25k", "2.5k", "3.15k"]
    assert len(evening.curve) == 64


def test_the_quiet_after_the_end_is_not_the_gig_s() -> None:
    made = bare()
    levels = [{"at_s": 60.0 * n, "kind": "level", "level_dbfs": -30.0} for n in range(1, 71)]
    made["gig"] |= {"ended": {}, "ended_by": "quiet", "lasted_s": 3600.0}
    made["happenings"] = [*levels, {"at_s": 3900.0, "kind": "deaf", "reason": "unplugged"}]
    evening = evening_of(made)
    assert evening.length_s == 3600.0
    assert len(evening.of_kind("level")) == 60
    assert "plug" not in report_html(made)
    # While it goes on nobody knows that the quiet is its end.
    del made["gig"]["ended"], made["gig"]["ended_by"], made["gig"]["lasted_s"]
    assert evening_of(made).length_s == 4200.0


def pulls(at_s: float, *them: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {"at_s": at_s, "kind": "pull", "pulls": list(them), **more}


def test_moves_are_the_differences_between_two_standings() -> None:
    made = bare()
    made["happenings"] = [
        pulls(0.0, pull("1k", 2.0)),  # stood so before
        pulls(60.0, pull("1k", 4.0), pull("2k", 3.0)),
        pulls(90.0, pull("2k", 1.0)),
    ]
    evening = evening_of(made)
    moves = [(m.at_s, m.label, m.from_db, m.to_db) for m in evening.moves]
    assert moves == [
        (60.0, "1k", 2.0, 4.0),
        (60.0, "2k", 0.0, 3.0),
        (90.0, "1k", 4.0, 0.0),
        (90.0, "2k", 3.0, 1.0),
    ]
    assert [(p.label, p.pull_db) for p in evening.standing] == [("2k", 1.0)]


def test_a_response_of_other_pulls_is_not_taken_for_the_end_s() -> None:
    flat = {"hz": [100.0, 1000.0], "db": [0.0, -4.0]}
    made = bare()
    made["happenings"] = [pulls(9.0, pull("1k", 4.0), curve=flat), pulls(20.0, pull("1k", 4.0))]
    assert evening_of(made).curve == ((100.0, 0.0), (1000.0, -4.0))
    made["happenings"][1]["pulls"] = [pull("1k", 6.0)]
    assert evening_of(made).curve == ()


def test_a_ring_out_that_ends_with_the_same_pulls_keeps_their_response() -> None:
    flat = {"hz": [100.0, 1000.0], "db": [0.0, -4.0]}
    made = bare()
    # The ring-out leaves the centre of a fixed slider out, the pulls round it.
    stood = [{"label": "2.5k", "pull_db": 4.0}]
    made["happenings"] = [
        pulls(9.0, pull("2.5k", 4.0), curve=flat),
        {"at_s": 20.0, "kind": "ring_out", "cut_count": 1, "pulls": stood},
    ]
    assert evening_of(made).curve == ((100.0, 0.0), (1000.0, -4.0))
    stood[0]["centre_hz"] = 2700.0
    assert evening_of(made).curve == ()


@pytest.mark.parametrize(
    "curve",
    [None, 3, {}, {"hz": [1]}, {"hz": [100, 200], "db": ["a", None]}, {"hz": "ab", "db": 1}],
)  # fmt: skip
def test_what_is_no_curve_is_left_out(curve: Any) -> None:
    made = bare()
    made["happenings"] = [pulls(9.0, pull("1k", 4.0), curve=curve)]
    assert evening_of(made).curve == ()


def test_a_pull_without_a_centre_takes_its_label_s() -> None:
    made = bare()
    made["happenings"] = [
        pulls(9.0, {"label": "2.5k", "pull_db": 4.0}, {"label": "high", "pull_db": 2.0})
    ]
    # 2.5k stands for the exact midband (IEC 61260-1): 1000 * 10**0.4.
    centres = {p.label: p.centre_hz for p in evening_of(made).standing}
    assert centres == {"2.5k": pytest.approx(2511.886, abs=0.001), "high": None}


WEIRD = (
    None, True, -1, 0, 1e308, float("nan"), float("inf"), "", "x", "<b>", "\ud800", [], {}, [1],
    {"a": 1},
)  # fmt: skip


def damaged(made: Any, dice: random.Random, depth: int = 0) -> Any:
    """Put something else in a few places of a value."""
    if dice.random() < 0.06:
        return dice.choice(WEIRD)
    if isinstance(made, dict) and depth < 4:
        kept = {k: v for k, v in made.items() if dice.random() > 0.05}
        return {k: damaged(v, dice, depth + 1) for k, v in kept.items()}
    if isinstance(made, list) and depth < 4:
        return [damaged(v, dice, depth + 1) for v in made]
    return made


@pytest.mark.parametrize("seed", range(60))
def test_no_damage_breaks_a_report(seed: int) -> None:
    dice = random.Random(seed)
    made = record(4, 0.3)
    kinds: dict[str, Any] = {one["kind"]: one for one in made["happenings"]}
    made["happenings"] = list(kinds.values())
    hurt, memory = damaged(made, dice), damaged(copy.deepcopy(RECOLLECTION), dice)
    hurt = hurt if isinstance(hurt, dict) else {}
    page = report_html(hurt, memory if isinstance(memory, dict) else None, zone=UTC)
    assert page.startswith("<!doctype html>")
    assert gig_svg(hurt, "curve", zone=UTC).startswith("<svg")
    assert csv_text(hurt, "rings").startswith("gig,")
    assert csv_text(hurt, "happenings").startswith("gig,")
