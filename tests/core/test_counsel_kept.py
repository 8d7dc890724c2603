"""What a counsel keeps over a restart: it comes back whole, and nothing odd in it breaks it."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from typing import Any

import pytest

from monitor.advice.growth import Slope
from monitor.adviser.counsel import Counsel
from monitor.news import News, RingSaid
from tests.core.test_counsel import close, counsel, grow

ODD: tuple[Any, ...] = (None, "x", True, -1, 1e30, 10**400, float("nan"), [], {})
USED_EVERY = 3
"""To go on with one takes 0.1 s; all of them were gone on with once, and none broke."""


def rung_out() -> Counsel:
    """A counsel in the middle of a ring-out, with a learnt loop time and a standing slider."""
    mind = counsel()
    mind.command({"class": "pull", "slider": 3, "cut_db": -2.0}, 0.5)
    mind.command({"class": "ring_out", "do": "open"}, 1.0)
    mind.command({"class": "ring_out", "do": "begin"}, 1.0)
    mind.command({"class": "ring_out", "do": "fader", "fader_db": -10.0}, 1.5)
    at_s = grow(mind)
    mind.command({"class": "ring_out", "do": "pulled"}, at_s + 1.0)
    close(mind, at_s + 1.5)
    return mind


def places(content: Any, way: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place in a JSON value, the whole not counted."""
    if isinstance(content, dict | list):
        keys = content if isinstance(content, dict) else range(len(content))
        for key in keys:
            yield (*way, key)
            yield from places(content[key], (*way, key))


def changed(content: Any, way: tuple[Any, ...], value: Any) -> Any:
    found = copy.deepcopy(content)
    here = found
    for key in way[:-1]:
        here = here[key]
    here[way[-1]] = value
    return found


def used(mind: Counsel) -> str:
    """Go on with it as a person would; return what it then keeps."""
    at_s = 500.0
    for do in ("go_on", "fader", "pulled", "undo", "stop"):
        state = mind.result.ring_out
        if state is not None and do in state.may:
            values = {"fader_db": -8.0} if do == "fader" else {}
            mind.command({"class": "ring_out", "do": do, **values}, at_s)
        for number, hz in ((1, 2480.0), (2, 700.0)):
            at_s += 1.0
            said = RingSaid("howl", 10 * int(at_s) + number, hz, -30.0, at_s)
            mind.hear(News(at_s, (said,), ()))
    return json.dumps([mind.kept, mind.result.fields], allow_nan=False)


def test_what_was_learnt_of_the_room_s_loop_times_comes_back() -> None:
    mind = rung_out()
    mind._times.learn(frequency_hz=2480.0, before=_slope(10.0), after=_slope(-10.0), moved_db=-2.0)
    back = counsel(kept=json.loads(json.dumps(mind.kept)))
    for hz in (2480.0, 700.0):
        assert back._times.at(hz) == pytest.approx(mind._times.at(hz))
        assert back._times.at(hz) != pytest.approx(counsel()._times.at(hz))


def test_a_file_from_before_loop_times_were_kept_is_still_good() -> None:
    kept = json.loads(json.dumps(rung_out().kept))
    del kept["loop_times"]
    assert counsel(kept=kept).result.fields["ring_out"]["phase"] == "paused"


def test_a_step_that_was_meant_for_another_ring_out_is_refused_and_changes_nothing() -> None:
    """From a page that still shows the one before, or a phone whose tap came through late."""
    mind = rung_out()
    shown = mind.result.fields["ring_out"]["uid"]
    mind.command({"class": "ring_out", "do": "stop", "ring_out": shown}, 400.0)
    mind.command({"class": "ring_out", "do": "turned_down", "ring_out": shown}, 401.0)
    assert mind.result.fields["ring_out"]["phase"] == "done"
    mind.command({"class": "ring_out", "do": "open", "ring_out": shown}, 402.0)
    now = mind.result.fields["ring_out"]
    assert now["uid"] != shown
    for do in ("begin", "stop", "close", "open"):
        with pytest.raises(ValueError, match="that ring-out is over and another is on"):
            mind.command({"class": "ring_out", "do": do, "ring_out": shown}, 403.0)
    assert mind.result.fields["ring_out"] == now
    # A slider that is told before it begins makes no other of it, nor does a restart.
    mind.command({"class": "pull", "slider": 5, "cut_db": -1.0}, 404.0)
    back = counsel(kept=json.loads(json.dumps(mind.kept)))
    back.command({"class": "ring_out", "do": "begin", "ring_out": now["uid"]}, 405.0)
    assert back.result.fields["ring_out"]["phase"] == "raise"
    back.command({"class": "ring_out", "do": "pause"}, 406.0)  # whoever names none means this one


def test_what_was_said_of_sliders_after_a_ring_out_comes_back() -> None:
    mind = rung_out()
    for do in ("stop", "turned_down"):
        mind.command({"class": "ring_out", "do": do}, 400.0)
    mind.command({"class": "pull", "slider": 5, "cut_db": -1.0}, 401.0)
    back = counsel(kept=json.loads(json.dumps(mind.kept)))
    back.hear(News(500.0))
    assert back.result.fields["standing"] == mind.result.fields["standing"]


def test_a_file_from_before_ring_outs_had_a_uid_is_still_good() -> None:
    kept = json.loads(json.dumps(rung_out().kept))
    del kept["uid"]
    mind = counsel(kept=kept)
    uid = mind.result.fields["ring_out"]["uid"]
    assert uid
    mind.command({"class": "ring_out", "do": "go_on", "ring_out": uid}, 400.0)
    assert mind.result.fields["ring_out"]["phase"] == "raise"


def test_whatever_stands_in_one_place_it_is_refused_in_one_line_or_does_no_harm() -> None:
    kept = json.loads(json.dumps(rung_out().kept))
    kept["loop_times"] = [[2480.0, -3.0, 0.4]]
    kept["asked"] = {"2.5k": 2}
    used(counsel(kept=kept))
    lines, taken = [], 0
    for way in places(kept):
        for odd in ODD:
            try:
                mind = counsel(kept=changed(kept, way, odd))
            except ValueError as error:
                lines.append(str(error))
                continue
            taken += 1
            if taken % USED_EVERY == 0:
                used(mind)
    # Most places hold figures in which most of these make no sense.
    assert len(lines) > taken > 0
    assert all("\n" not in line and len(line) < 300 for line in lines)


@pytest.mark.parametrize(
    "rows", [5, [[1]], [["x", 1.0, 1.0]], [[1000.0, float("nan"), 1.0]], [[1000.0, -3.0, 0.0]]]
)
def test_loop_times_that_are_none_are_refused_and_nothing_is_learnt(rows: Any) -> None:
    mind = counsel()
    before = mind._times.at(1000.0)
    with pytest.raises(ValueError, match="answer|spread"):
        mind._times.restore(rows)
    assert mind._times.at(1000.0) == before


def _slope(db_per_s: float) -> Slope:
    return Slope(db_per_s, 1.0, 0.0, 1.0)
