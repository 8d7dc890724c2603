"""The advice in a set: the line fits, asks for what helps, and says when no slider does."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from monitor.advice.choice import EqualiserChoice
from monitor.advice.equaliser import Equaliser
from monitor.advice.margin import Excess
from monitor.advice.pulls import Pull, stood
from monitor.advice.set_advice import (
    HIGH_HZ,
    LEVEL_STEP_DB,
    LINE_CHARACTERS,
    LOW_HZ,
    MANY,
    RingNow,
    SetAdvice,
    asked_key,
    set_advice,
)
from monitor.advice.single_pull import single_pull

KINDS = ("31", "15", "10", "9", "7", "5", "parametric", "strip")


def ring(frequency_hz: float, excess_db: float | None = 1.0) -> RingNow:
    if excess_db is None:
        return RingNow(frequency_hz)
    return RingNow(frequency_hz, Excess(excess_db, 0.5 * excess_db, 2.0 * excess_db, "it grows"))


def advice(kind: str, *rings: RingNow, **more: object) -> SetAdvice:
    found = set_advice(Equaliser.from_settings(kind), rings, **more)  # type: ignore[arg-type]
    assert found is not None
    return found


def depth_db(pulls: Sequence[Pull], hz: float) -> float:
    equaliser, pulls_db = stood(Equaliser.from_settings("31"), pulls)
    return -float(equaliser.response_db(pulls_db, np.array([hz]))[0])


def test_on_a_slider_s_own_frequency_it_is_that_slider_by_excess_and_margin() -> None:
    # 1 dB too much and 3 dB of margin: van Waterschoot and Moonen 2011, section II, 2 to 3 dB.
    found = advice("31", ring(2511.9, 1.0))
    assert found.line == "pull 2.5k by 4"
    assert [(pull.label, pull.pull_db) for pull in found.pulls] == [("2.5k", 4.0)]
    assert found.second is None
    assert found.why == "2.51k: it grows"
    # Before it has been heard how it grows, the usual 1.6 dB and the margin.
    usual = advice("31", ring(2511.9, None))
    assert usual.line == "pull 2.5k by 5"
    assert usual.why == "2.51k: how far is not known yet, the usual is told"


def test_nothing_rings_nothing_is_said() -> None:
    assert set_advice(Equaliser.from_settings("31"), ()) is None


@pytest.mark.parametrize("kind", KINDS)
def test_every_line_fits_and_its_pulls_are_what_it_says(kind: str) -> None:
    equaliser = Equaliser.from_settings(kind)
    for hz in np.geomspace(25.0, 18000.0, 61).tolist():
        for excess_db in (None, -2.0, 0.4, 3.0, 9.0):
            found = advice(kind, ring(hz, excess_db))
            # A row of the panel for each slider: "pull 100 by 7", "and 160 by 1".
            rows = found.line.replace(", ", "\nand ").split("\n")
            assert max(map(len, rows)) <= LINE_CHARACTERS
            assert len(rows) == max(1, len(found.pulls)) == max(1, len(found.names))
            assert found.line.startswith("pull ") is bool(found.pulls)
            whole = single_pull(equaliser, hz, 4.0)
            if found.pulls and whole.pulls:
                for pull in found.pulls:
                    assert f"{pull.more_db:g}" in found.line


def test_long_typed_labels_fit_too() -> None:
    labels = ("0000000000000000500", "1000.0 Hz", "2k0000000000000000")
    equaliser = Equaliser.from_choice(EqualiserChoice("typed", labels, step_db=0.5))
    for hz in (500.0, 707.0, 1000.0, 1500.0):
        for excess_db in (1.0, 7.5):  # "by 4", "by 10.5"
            found = set_advice(equaliser, [ring(hz, excess_db)])
            assert found is not None
            assert all(len(part) <= LINE_CHARACTERS for part in found.line.split(", "))


def test_a_ring_halfway_is_shared_by_two_sliders_in_one_line() -> None:
    found = advice("31", ring(math.sqrt(1995.3 * 2511.9), 1.0))
    assert {pull.label for pull in found.pulls} == {"2k", "2.5k"}
    assert all(pull.label in found.line for pull in found.pulls)


def test_a_slider_at_its_end_gives_way_to_the_next_best() -> None:
    standing = (Pull("2.5k", 12.0, 2511.9, 4.3),)
    found = advice("31", ring(2700.0, 0.2), standing=standing)
    assert "2.5k" not in found.line.replace("12.5k", "")
    assert "2.5k is at its end" in found.why
    assert found.line == "pull 3.15k by 9"
    assert found.second is None, "below the line it would stand twice"


def test_what_one_slider_does_not_hold_is_told_of_both_in_one_line() -> None:
    found = advice("31", ring(1402.0, 9.0))
    assert found.line == "pull 1.25k by 12, 1.6k by 12"
    assert found.names == ("1.25k", "1.6k")
    assert found.second is None
    assert depth_db(found.pulls[:1], 1402.0) < 7.0
    assert depth_db(found.pulls, 1402.0) >= 11.9


def test_where_what_rings_has_no_slider_two_are_told_as_a_ring_out_tells_them() -> None:
    # ISO 266, every second third octave: a 15-band equaliser has no 125.
    found = advice("15", ring(125.9, 3.5))
    assert found.line == "pull 100 by 12, 160 by 1"
    # Where no slider holds what rings, the one that gives most is told beside it.
    many = advice("15", ring(125.9, 3.5), ring(500.0), ring(800.0))
    assert many.second is not None
    assert many.second.label == "100"


def test_what_is_in_the_place_of_the_line_does_not_go_with_it() -> None:
    found = advice("31", ring(2511.9), asked={"2.5k": 2})
    assert found.second is not None
    assert not found.second_too


def test_a_pull_that_gives_too_little_is_not_told_as_if_it_were_enough() -> None:
    # Half of what is needed or more: the pull, and what is missing.
    found = advice("5", ring(40.0, 2.0))
    assert found.line == "pull 100 by 12"
    assert found.why.startswith("the sliders give 3.5 of 5.0 dB there; ")
    found = advice("5", ring(1000.0, 2.0), standing=(Pull("1k", 9.0, 1000.0, 1.0),))
    assert found.line == "pull 1k by 3"
    # Less than half: the fader comes first, the pull goes with it.
    found = advice("5", ring(1000.0, 2.0), standing=(Pull("1k", 10.0, 1000.0, 1.0),))
    assert (found.line, found.pulls) == ("turn down 3", ())
    assert found.second is not None
    assert (found.second.label, found.second.more_db) == ("1k", 2.0)
    assert found.second_too
    assert "the sliders give 2.0 of 5.0 dB there" in found.why
    assert "give" not in advice("5", ring(1000.0, 2.0)).why


def test_after_a_pull_only_what_is_missing_is_asked_for() -> None:
    heard = ring(2511.9, 1.0)
    left = [advice("31", replace(heard, gained_db=db)).line for db in (-2.0, 0.0, 1.0, 3.0)]
    assert left == [f"pull 2.5k by {db}" for db in (6, 4, 3, 1)]
    done = advice("31", replace(heard, gained_db=4.0))
    assert (done.line, done.pulls, done.second) == ("enough: wait a moment", (), None)
    assert len(done.line) <= LINE_CHARACTERS
    assert advice("31", replace(ring(2511.9, None), gained_db=4.6)).line == done.line
    # Several at once are still the room's limit.
    many = (replace(heard, gained_db=4.0), ring(500.0), ring(800.0))
    assert advice("31", *many).line == "turn down 3"


def test_filters_that_can_be_put_anywhere_are_counted_by_band() -> None:
    equaliser = Equaliser.from_settings("parametric")
    pulls = [Pull(f"filter {n}", 4.0, 2480.0, 4.0) for n in (1, 2)]
    assert [asked_key(equaliser, pull, 2480.0) for pull in pulls] == ["2.5k", "2.5k"]
    assert asked_key(equaliser, pulls[0], 500.0) == "500"
    assert asked_key(Equaliser.from_settings("10"), Pull("2k", 4.0, 2000.0, 1.4), 2480.0) == "2k"
    assert advice("parametric", ring(500.0), asked={"2.5k": 2, "filter 1": 2}).pulls
    again = advice("parametric", ring(2480.0), asked={"2.5k": 2})
    assert again.line == "step back from wedge"
    assert again.why == "2.48k was asked for 2 times tonight already: another cure"


def test_nothing_left_is_turn_down() -> None:
    equaliser = Equaliser.from_settings("5")
    standing = [Pull(s.label, s.deepest_db, s.centre_hz, s.q) for s in equaliser.sliders]
    found = set_advice(equaliser, [ring(1000.0)], standing=standing)
    assert found is not None
    assert found.line.startswith("turn down")
    assert found.pulls == ()
    assert "no slider is left" in found.why


@pytest.mark.parametrize("count", [1, 2, 3, 5])
def test_many_at_once_are_not_a_slider_s_matter(count: int) -> None:
    # Three at once are the room's limit: common practice, no source.
    found = advice("31", *(ring(1000.0 * 1.3**n) for n in range(count)))
    assert found.line.startswith("turn down") is (count >= MANY)
    assert bool(found.pulls) is (count < MANY)
    assert (found.second is not None) is (count >= MANY)


@pytest.mark.parametrize(("earlier", "pulled"), [(0, True), (1, True), (2, False), (5, False)])
@pytest.mark.parametrize(
    ("hz", "label", "cure"),
    # Low down no step away from the wedge helps: stand and stage carry it.
    [(2511.9, "2.5k", "step back from wedge"), (199.5, "200", "turn down 3")],
)
def test_the_third_time_asks_for_another_cure(
    hz: float, label: str, cure: str, earlier: int, pulled: bool
) -> None:
    found = advice("31", ring(hz), asked={label: earlier, "1k": 9})
    assert bool(found.pulls) is pulled
    assert (found.line == cure) is not pulled
    if not pulled:
        assert found.second is not None
        assert found.second.label == label


@pytest.mark.parametrize(
    ("hz", "step_db", "word"),
    [
        (LOW_HZ - 1.0, 0.0, "stand"),
        (LOW_HZ + 1.0, 0.0, ""),
        (HIGH_HZ - 1.0, 0.0, ""),
        (HIGH_HZ + 1.0, 0.0, "microphone"),
        (1000.0, LEVEL_STEP_DB, "grille"),
        (1000.0, -LEVEL_STEP_DB, "grille"),
        (1000.0, 0.9 * LEVEL_STEP_DB, ""),
        (1000.0, math.nan, ""),
    ],
)
def test_hints_name_a_cause(hz: float, step_db: float, word: str) -> None:
    hint = advice("31", ring(hz), level_step_db=step_db).hint
    assert word in hint
    assert bool(hint) is bool(word)


def test_a_low_cut_that_is_on_already_is_no_hint() -> None:
    flat = advice("strip", ring(200.0))
    assert "low cut" in flat.hint
    on = advice("strip", ring(200.0), standing=(Pull("low cut", 12.3, 100.0, 0.707),))
    assert on.hint == "low: stand, stage or wedge couple; lift the wedge"


def test_what_cannot_be_is_one_line_and_nothing_else() -> None:
    with pytest.raises(ValueError, match="not a positive finite number"):
        advice("31", ring(math.nan))
    with pytest.raises(ValueError, match='there is no slider "3k"'):
        advice("31", ring(1000.0), standing=(Pull("3k", 1.0, 3000.0, 4.3),))
