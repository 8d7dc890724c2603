"""The parts of a ring-out: the ladder of gain, the next pull, when it costs too much, the words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from monitor.advice import harm
from monitor.advice.choice import EqualiserChoice
from monitor.advice.cut_plan import CutPlan, plan
from monitor.advice.equaliser import Equaliser
from monitor.advice.margin import USUAL_EXCESS_DB, Excess
from monitor.advice.moves import moves
from monitor.advice.pulls import Pull, Reached, standing_response_db
from monitor.advice.ring_out_course import TONE_PULLS, Course, Step
from monitor.advice.ring_out_next import next_step, pull_margin_db
from monitor.advice.ring_out_plan import next_pull, tone_cost_db
from monitor.advice.ring_out_rings import OFF_DB, KnownRing, RingLadder, excess_db, raised_db
from monitor.advice.ring_out_words import (
    done_line,
    look_line,
    pull_detail,
    pull_line,
    put_back_line,
)

EQUALISER = Equaliser.from_settings("31")
AT_1K = Pull("1k", 4.0, 1000.0, 4.3, 4.0)


def ladder(*rings: tuple[float, float]) -> RingLadder:
    """A ladder with rings that are gone, each with its frequency and limit."""
    made = RingLadder(EQUALISER)
    made.rings = [KnownRing(hz, limit_db, fate="gone", open=False) for hz, limit_db in rings]
    return made


def test_a_new_ring_s_gain_is_guessed_from_the_time_and_held_by_the_rings_that_are_quiet() -> None:
    for seconds, most_db in ((5.0, raised_db(5.0)), (600.0, 1.5 + OFF_DB)):
        made = ladder((1000.0, 1.5))
        ring = made.rang(2500.0)
        made.raised(seconds, (), ring)
        assert made.gain_db == pytest.approx(most_db)


def test_a_ring_that_came_back_tells_the_gain() -> None:
    # It rang at 0 dB flat; 4 dB deeper it rings half a decibel too high at 4.5 dB.
    made = ladder((1000.0, 0.0))
    ring = made.rang(1000.0)
    ring.excess = Excess(0.5, 0.2, 1.0, "given")
    made.raised(60.0, (AT_1K,), ring)
    assert made.gain_db == pytest.approx(4.5, abs=0.01)


def test_one_that_is_back_at_once_tells_of_the_slider_and_not_of_the_fader() -> None:
    made = ladder((1000.0, 0.0))
    ring = made.rang(1000.0)
    made.raised(1.0, (AT_1K,), ring)
    assert made.gain_db <= 2.0 * raised_db(1.0) + 1e-9


def test_a_ring_that_came_back_tells_what_was_guessed_too_low_before_it() -> None:
    """A hand raises twice as fast as asked for: a decibel at once, and again every two seconds."""
    made = ladder((500.0, 9.0), (1000.0, 0.0))
    made.stands()
    ring = made.rang(2500.0)
    for _ in range(3):  # told again and again, it is one raise
        made.raised(3.0, (), ring)
    assert made.gain_db == pytest.approx(1.0)
    ring.open = False
    made.stands()
    back = made.rang(1000.0)
    back.excess = Excess(0.5, 0.2, 1.0, "given")
    # With 2.5 dB taken out it rings half a decibel too high at 3 dB, where such a hand is by now.
    made.raised(1.0, (replace(AT_1K, pull_db=2.5),), back)
    assert made.gain_db == pytest.approx(3.0, abs=0.01)
    # From there it is known, and what a slider that stands elsewhere would tell is not believed.
    made.stands()
    made.raised(1.0, (replace(AT_1K, pull_db=10.0),), back)
    assert made.gain_db == pytest.approx(4.0, abs=0.01)
    # A mark tells it too.
    made.known(2.0)
    made.stands()
    made.raised(0.0, (replace(AT_1K, pull_db=10.0),), back)
    assert made.gain_db == 2.0


def test_a_fader_goes_up_as_it_is_asked_to() -> None:
    # Half a decibel at once, and again every two seconds: the words of the step *Raise slowly*.
    assert raised_db(0.0) == 0.0
    for seconds, steps in ((1.0, 1), (3.0, 2), (5.0, 3), (19.0, 10)):
        assert raised_db(seconds) == pytest.approx(0.5 * steps)


def test_quiet_rings_keep_what_they_have_whatever_the_ladder_says() -> None:
    # Nothing is heard of it, and a loop with too much gain is heard.
    made = ladder((1000.0, 0.0))
    for gain_db in (3.0, 3.9 + OFF_DB, 4.1 + OFF_DB, 12.0):
        made.gain_db = gain_db
        needs = made.needs((AT_1K,), margin_db=2.0)
        assert needs == [(1000.0, pytest.approx(4.0, abs=0.01))]


def test_what_is_heard_needs_its_excess_and_a_margin_unless_it_has_it_already() -> None:
    for holds_margin, need_db in ((False, 4.0 + 0.5 + 2.0), (True, 4.0 + 0.5)):
        made = ladder((1000.0, 0.0))
        ring = made.rang(1000.0)
        ring.excess, ring.holds_margin = Excess(0.5, 0.2, 1.0, "given"), holds_margin
        made.placed(ring, (AT_1K,))
        # Whatever is pulled meanwhile: it was heard to be half a decibel too high with those 4.
        for pulls in ((AT_1K,), (), (replace(AT_1K, pull_db=7.0),)):
            needs = made.needs(pulls, margin_db=2.0)
            assert needs == [(1000.0, pytest.approx(need_db, abs=0.01))]


def test_without_a_slope_the_usual_excess_is_reckoned_with() -> None:
    assert excess_db(KnownRing(1000.0, 0.0)) == USUAL_EXCESS_DB


@pytest.mark.parametrize(
    ("hz", "same"), [(1000.0, True), (1011.0, True), (1014.0, False), (985.0, False)]
)
def test_a_fifth_of_a_tone_away_is_another_ring(hz: float, same: bool) -> None:
    # A tone is 12.2 % of frequency (equal temperament, 2^(2/12)), a fifth of it about 2.4 %: each
    # side has half of that.
    assert (ladder((1000.0, 0.0)).same(hz) is not None) is same


def test_between_two_rings_it_is_the_nearer_one() -> None:
    both = ladder((1000.0, 0.0), (1020.0, 0.0))
    assert [both.same(hz) for hz in (1009.0, 1011.0)] == both.rings


def test_fewer_sliders_are_moved_where_that_harms_little_more() -> None:
    """Over many rings: never more movements than the least harmful plan, often fewer."""
    fewer = 0
    for n in range(24):
        hz = 300.0 * 1.13**n
        least = plan(EQUALISER, [(hz, 4.0)])
        found = next_pull(EQUALISER, [(hz, 4.0)], (), most_sliders=31).plan
        assert found is not None
        assert len(found.pulls) <= len(least.pulls)
        assert found.harm <= 1.2 * least.harm + 1e-9 or len(found.pulls) == len(least.pulls)
        assert not found.unmet
        fewer += len(found.pulls) < len(least.pulls)
    assert fewer >= 3


def test_at_the_last_slider_those_that_are_down_go_deeper_or_it_ends() -> None:
    down = (Pull("1k", 4.0, 1000.0, 4.3),)
    near = next_pull(EQUALISER, [(1050.0, 6.0)], down, most_sliders=1)
    assert near.plan is not None
    assert [pull.label for pull in near.plan.pulls] == ["1k"]
    far = next_pull(EQUALISER, [(4000.0, 6.0)], down, most_sliders=1)
    assert far.plan is None
    assert "1 slider" in far.why_ended


def test_no_hand_is_asked_for_a_move_that_gives_no_ring_anything() -> None:
    """Nine tenths of a decibel are left of the slider beyond the next: worth 0.15 dB there."""
    fine = Equaliser.from_choice(EqualiserChoice("15", step_db=0.1))
    there = {"25": 11.1, "40": 12.0, "63": 12.0, "100": 12.0}
    standing = [
        Pull(s.label, there[s.label], s.centre_hz, s.q) for s in fine.sliders if s.label in there
    ]
    now_db = -float(standing_response_db(fine, standing, np.array([48.0]))[0])
    found = next_pull(fine, [(48.0, now_db + 6.0)], standing, most_sliders=31)
    assert (found.plan, found.is_at_end) == (None, True)
    assert found.why_ended == "nothing is left on this equaliser for 48"
    # Where as little is all that a ring lacks, it is asked for.
    found = next_pull(fine, [(48.0, now_db + 0.1)], standing, most_sliders=31)
    assert found.plan is not None
    assert {pull.label for pull in found.plan.pulls if pull.more_db > 0.0} == {"25"}


def test_filters_that_all_stand_are_put_anew_over_all_rings() -> None:
    four = Equaliser.from_settings("parametric")
    needs = [(400.0, 4.0), (420.0, 4.0), (2000.0, 4.0), (2100.0, 4.0)]
    standing = next_pull(four, needs[:1], (), most_sliders=9).plan
    for count in (2, 3, 4):
        assert standing is not None
        standing = next_pull(four, needs[:count], standing.pulls, most_sliders=9).plan
    assert standing is not None
    more = [*needs, (6000.0, 4.0), (120.0, 4.0)]
    found = next_pull(four, more, standing.pulls, most_sliders=9).plan
    assert found is not None
    assert not found.unmet


def test_the_tone_cost_is_that_of_the_whole_response() -> None:
    pulls = (AT_1K,)
    levels_db = EQUALISER.response_db(
        [4.0 if s.label == "1k" else 0.0 for s in EQUALISER.sliders], harm.GRID_HZ
    )
    assert tone_cost_db(EQUALISER, pulls) == pytest.approx(harm.tone_cost_db(levels_db))


def test_it_costs_too_much_where_the_fader_would_do_as_well() -> None:
    steps = [Step((), 0.5 * n, 0.6 * n, ()) for n in range(TONE_PULLS)]
    course = Course(steps=steps)
    next_gain_db = 0.6 * TONE_PULLS
    # Six pulls, the next among them, for 3.5 or 3.7 dB of tone, and six rises by 3.6 dB of gain.
    assert not course.costs_too_much(0.5 + 3.5, next_gain_db)
    assert course.costs_too_much(0.5 + 3.7, next_gain_db)
    # A pull that only deepened the one before is no round of its own.
    steps[2].deepens = True
    assert not course.costs_too_much(0.5 + 3.7, next_gain_db)


def test_the_words() -> None:
    stood = (Pull("3.15k", 1.0, 3162.3, 4.3), Pull("2.5k", 3.5, 2511.9, 4.3))
    both = (Pull("3.15k", 2.0, 3162.3, 4.3), Pull("2.5k", 6.0, 2511.9, 4.3))
    assert pull_line(moves(stood, both)) == "Pull 2.5k by 2.5 dB, 3.15k by 1 dB"
    one = moves(stood[1:], both[1:])
    assert pull_detail(one, ()) == "then: 2.5k at -6"
    assert pull_detail(one, (2480.0,)).startswith("2.48k rings still or again: was it")
    assert pull_detail(one, (2480.0, 315.0)).startswith("2.48k, 315 Hz ring still or again: was")
    placed = moves((), (Pull("filter 1", 3.0, 2481.3, 8.651),), ["filter 1"])
    assert pull_line(placed) == "Pull 2.48k by 3 dB"
    assert pull_detail(placed, ()) == "then: filter 1: 2.48k, Q 8.7, -3"
    assert put_back_line(moves(both, both[:1])) == "Put 2.5k to 0"
    assert put_back_line(moves(both, (Pull("2.5k", 3.0, 2511.9, 4.3),))) == (
        "Put 3.15k to 0, 2.5k back to -3 dB"
    )
    assert done_line(2, 5.5) == "5.5 dB won, 2 sliders pulled"
    assert done_line(0, None) == "Nothing pulled"
    # What marks of tenths of a decibel leave of nothing.
    assert done_line(1, -1e-15) == "0 dB won, 1 slider pulled"


def test_a_filter_that_goes_elsewhere_is_told_with_its_place_and_one_that_stays_is_not() -> None:
    before = (
        Pull("filter 1", 11.0, 1048.8, 6.99),
        Pull("filter 2", 6.0, 300.0, 10.0),
        Pull("filter 3", 5.0, 5000.0, 10.0),
    )
    after = (Pull("filter 1", 3.0, 200.0, 10.0), before[1])
    swept = ["filter 1", "filter 2", "filter 3"]
    told = moves(before, after, swept)
    assert pull_line(told) == "Put filter 3 to 0, filter 1 to 200 Hz, Q 10, -3 dB"
    assert pull_detail(told, ()) == ""
    assert pull_detail(told, (200.0,)) == "200 Hz rings still or again: was it the right slider?"
    deeper = moves(before, (*after, Pull("filter 3", 7.0, 5000.0, 10.0)), swept)
    assert pull_line(deeper) == "Pull 5k by 2 dB, put filter 1 to 200 Hz, Q 10, -3 dB"


@pytest.mark.parametrize(
    ("before", "after", "line"),
    [
        # Up or down, or as deep: a filter that was moved goes back to where it was.
        (("filter 1", 3.0, 200.0, 10.0), ("filter 1", 11.0, 1050.0, 7.0),
         "Put filter 1 to 1.05k, Q 7, -11 dB"),
        (("filter 1", 6.0, 200.0, 10.0), ("filter 1", 6.0, 300.0, 10.0),
         "Put filter 1 to 300 Hz, Q 10, -6 dB"),
        (("filter 1", 6.0, 300.0, 3.5), ("filter 1", 6.0, 300.0, 10.0),
         "Put filter 1 to 300 Hz, Q 10, -6 dB"),
        (("filter 1", 6.0, 300.0, 10.0), ("filter 1", 4.0, 300.0, 10.0),
         "Put filter 1 back to -4 dB"),
        (("filter 1", 0.0, 300.0, 10.0), ("filter 1", 4.0, 300.0, 10.0),
         "Put filter 1 to 300 Hz, Q 10, -4 dB"),
        (("mid", 6.0, 1200.0, 0.7), ("mid", 4.0, 693.0, 0.7), "Put mid to 693 Hz, -4 dB"),
        (("2k", 1.0, 1995.3, 4.3), ("2k", 4.0, 1995.3, 4.3), "Put 2k back to -4 dB"),
        (("low cut", 12.3, 100.0, 0.707), ("low cut", 0.0, 100.0, 0.707), "Low cut off"),
        (("low cut", 0.0, 100.0, 0.707), ("low cut", 12.3, 100.0, 0.707), "Low cut on"),
        (("2k", 4.0, 1995.3, 4.3), ("2k", 4.0, 1995.3, 4.3), ""),
    ],
)  # fmt: skip
def test_what_is_put_back_says_all_that_differs(
    before: tuple[str, float, float, float], after: tuple[str, float, float, float], line: str
) -> None:
    assert put_back_line(moves((Pull(*before),), (Pull(*after),))) == line


def test_a_low_cut_is_switched_and_not_pulled() -> None:
    both = (Pull("low cut", 12.3, 100.0, 0.707), Pull("low", 8.0, 80.0, 0.707))
    assert pull_line(moves((), both[:1])) == "Low cut on"
    # It is on from half its way; a desk that tells less of it tells of no move.
    assert moves((), (Pull("low cut", 4.0, 100.0, 0.707),)) == ()
    assert pull_line(moves((), both)) == "Pull low by 8 dB, low cut on"
    assert look_line(moves((), both)) == "Look: low cut on, low at -8 dB"
    assert pull_detail(moves((), both), ()) == "then: low at -8"
    assert put_back_line(moves(both, ())) == "Put low to 0, low cut off"
    # Where its frequency can be chosen, that is a part of it.
    assert pull_line(moves((), both[:1], ["low cut"])) == "Low cut on at 100 Hz"


def test_filters_that_are_put_anew_keep_their_place_where_they_can() -> None:
    three = Equaliser.from_settings("parametric")
    three = three.with_sliders(three.sliders[:3])
    standing = (
        Pull("filter 1", 5.0, 3000.0, 10.0),
        Pull("filter 2", 6.0, 300.0, 10.0),
        Pull("filter 3", 6.0, 400.0, 10.0),
    )
    needs = [(300.0, 6.0), (400.0, 6.0), (3000.0, 5.0), (6000.0, 5.0)]
    found = next_pull(three, needs, standing, most_sliders=9).plan
    assert found is not None
    assert not found.unmet
    # 3k needs no more than it has: that filter is left alone, though it is the first in the row.
    assert {move.label for move in moves(standing, found.pulls)} == {"filter 2", "filter 3"}
    told = {pull.label: pull for pull in found.pulls}
    assert (told["filter 1"].centre_hz, told["filter 1"].pull_db) == (3000.0, 5.0)
    before_db = {pull.label: pull.pull_db for pull in standing}
    for pull in found.pulls:
        assert pull.more_db == pytest.approx(pull.pull_db - before_db[pull.label])
    # The plan is the same whoever serves it.
    needs_hz = np.array([hz for hz, _ in needs])
    depths_db = -found.equaliser.response_db(found.pulls_db, needs_hz)
    assert depths_db == pytest.approx([ring.depth_db for ring in sorted_by_hz(found)])


def sorted_by_hz(found: CutPlan) -> list[Reached]:
    return sorted(found.reached, key=lambda ring: ring.frequency_hz)


@pytest.mark.parametrize(
    ("gain_db", "wanted_db", "expected_db"),
    [(0.0, 3.0, 4.0), (1.0, 3.0, 3.0), (3.5, 3.0, 1.5), (20.0, 3.0, 1.5), (-5.0, 6.0, 8.0)],
)
def test_early_pulls_go_as_deep_as_the_ring_will_need_and_late_ones_no_deeper(
    gain_db: float, wanted_db: float, expected_db: float
) -> None:
    # 4 dB of gain expected; between a half and four thirds of the wanted margin.
    assert pull_margin_db(gain_db, wanted_db) == pytest.approx(expected_db)


@pytest.mark.parametrize(
    ("slider_count", "three_rang", "ends"), [(2, False, False), (2, True, True), (7, False, True)]
)
def test_tone_is_no_reason_to_end_before_the_habit_would(
    slider_count: int, three_rang: bool, ends: bool
) -> None:
    down = [Pull(s.label, 3.0, s.centre_hz, s.q) for s in EQUALISER.sliders[10 : 10 + slider_count]]
    course = Course(pulls=tuple(down), three_rang=three_rang)
    # Six pulls that cost tone and brought nothing.
    course.steps = [Step((), 0.1 * n, 0.0, ()) for n in range(TONE_PULLS)]
    made = ladder()
    made.placed(made.rang(2500.0), course.pulls)
    found = next_step(
        EQUALISER, course, made, standing=course.pulls, open_count=1, margin_db=3.0, most_cuts=14
    )
    assert (found.plan is None) == ends
    assert ("more tone" in found.why_ended) == ends


def test_three_that_rang_together_are_remembered() -> None:
    course, made = Course(), ladder()
    for hz in (300.0, 1000.0, 3000.0):
        made.placed(made.rang(hz), ())
    next_step(
        EQUALISER, course, made, standing=course.pulls, open_count=3, margin_db=3.0, most_cuts=14
    )
    assert course.three_rang


def test_rounds_tell_of_the_gain_where_the_time_does_not() -> None:
    pulls_db = []
    for rounds in (0, 4):
        course, made = Course(steps=[Step((), 0.0, 0.0, ())] * rounds), ladder()
        ring = made.rang(1000.0)
        ring.excess = Excess(1.0, 0.5, 2.0, "given")
        made.placed(ring, ())
        found = next_step(
            EQUALISER,
            course,
            made,
            standing=course.pulls,
            open_count=1,
            margin_db=3.0,
            most_cuts=14,
        )
        assert found.plan is not None
        pulls_db.append([p.pull_db for p in found.plan.pulls])
    # 4 dB beyond the excess at first, 4 - 4 x 0.5 = 2 after four rounds; steps of 1 dB.
    assert pulls_db == [[5.0], [3.0]]
