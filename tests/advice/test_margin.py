"""Beliefs about the loop time: what a slope says, what answers teach, how sure it is."""

from __future__ import annotations

import math

import numpy as np
import pytest

from monitor.advice.answers import MOST_ANSWERS
from monitor.advice.growth import Slope
from monitor.advice.margin import (
    BETWEEN_ROOMS,
    BETWEEN_ROOMS_OF_T60,
    LOOP_TIME_S,
    LOOP_TIME_T60_S,
    USUAL_EXCESS_DB,
    USUAL_EXCESS_SPREAD,
    WITHIN_ROOM,
    Excess,
    LoopTimes,
    advised_pull_db,
    excess_of,
    growth_of,
    loop_time_of,
)


def slope(db_per_s: float, part: float = 0.1) -> Slope:
    return Slope(db_per_s, abs(db_per_s) * part, 0.0, 1.0)


@pytest.mark.parametrize(
    ("before", "after", "moved_db", "loop_time_s"),
    [
        # (before - after) / moved, by hand, where the bend is small.
        (20.0, -20.0, -2.0, 0.05),
        (2.0, 6.0, 0.2, 0.05),
        (343.0, -343.0, -2.0, 0.00292),  # 1 m at 343 m/s
    ],
)
def test_two_slopes_give_the_loop_time(
    before: float, after: float, moved_db: float, loop_time_s: float
) -> None:
    assert loop_time_of(before, after, moved_db) == pytest.approx(loop_time_s, rel=0.05)


def test_a_slope_that_does_not_answer_teaches_nothing() -> None:
    times = LoopTimes()
    for before, after, moved in ((10.0, 12.0, -3.0), (10.0, 5.0, 3.0), (10.0, 5.0, 0.0)):
        assert loop_time_of(before, after, moved) is None
        times.learn(frequency_hz=1000.0, before=slope(before), after=slope(after), moved_db=moved)
    assert times.answers == 0
    assert times.at(1000.0) == LoopTimes().at(1000.0)


@pytest.mark.parametrize("excess_db", [-9.0, -3.0, -0.5, 0.5, 3.0, 6.0])
def test_growth_and_excess_are_inverse(excess_db: float) -> None:
    assert excess_of(growth_of(excess_db, 0.05), 0.05) == pytest.approx(excess_db)


def test_an_answer_is_believed_at_its_line_most_in_the_room_less_and_elsewhere_not() -> None:
    times = LoopTimes()
    before_own, before_other = times.at(1000.0), times.at(300.0)
    times.learn(frequency_hz=1000.0, before=slope(10.0), after=slope(-10.0), moved_db=-2.0)
    true_s = loop_time_of(10.0, -10.0, -2.0)
    assert true_s is not None
    own, other = times.at(1003.0), times.at(300.0)
    assert before_own[0] < own[0] < true_s
    assert own[1] < before_own[1]
    assert 1.0 < other[0] / before_other[0] < own[0] / before_own[0]
    assert own[1] < other[1] < before_other[1]
    times.reset()
    assert times.at(1000.0) == before_own


@pytest.mark.parametrize(
    ("t60_s", "loop_time_s", "between_rooms"),
    [(None, LOOP_TIME_S, BETWEEN_ROOMS), (0.6, LOOP_TIME_T60_S, BETWEEN_ROOMS_OF_T60)],
)
def test_the_joined_belief_is_that_of_the_whole_covariance(
    t60_s: float | None, loop_time_s: float, between_rooms: float
) -> None:
    """Against conditioning the joint normal of all terms, with numpy's linear algebra."""
    hz = np.array([1000.0, 400.0, 2500.0])
    times = LoopTimes(t60_s=t60_s)
    for f, after in ((1000.0, -10.0), (1000.0, -14.0), (400.0, -6.0)):
        times.learn(frequency_hz=f, before=slope(10.0), after=slope(after), moved_db=-2.0)
    prior = np.full((3, 3), between_rooms**2) + WITHIN_ROOM**2 * np.eye(3)
    mean = np.log(loop_time_s) - 0.27 * np.log(hz / 1000.0)
    seen = [(list(hz).index(a.frequency_hz), a.log_time, a.spread**2) for a in times._answers.all]
    which = np.array([[float(i == k) for k in range(3)] for i, _, _ in seen])
    noise = np.diag([v for _, _, v in seen])
    gain = prior @ which.T @ np.linalg.inv(which @ prior @ which.T + noise)
    expected = mean + gain @ (np.array([y for _, y, _ in seen]) - which @ mean)
    variance = np.diag(prior - gain @ which @ prior)
    for k in range(3):
        median_s, spread = times.at(float(hz[k]))
        assert math.log(median_s) == pytest.approx(expected[k], abs=1e-9)
        assert spread**2 == pytest.approx(variance[k], abs=1e-9)


def test_many_answers_at_one_line_do_not_make_the_room_s_other_lines_sure() -> None:
    times = LoopTimes()
    for _ in range(200):
        times.learn(frequency_hz=1000.0, before=slope(10.0), after=slope(-10.0), moved_db=-2.0)
    assert times.answers == MOST_ANSWERS
    assert times.at(1000.0)[1] < 0.1
    assert times.at(3000.0)[1] > WITHIN_ROOM


def test_one_wild_answer_does_not_overturn_the_rest() -> None:
    times = LoopTimes()
    for _ in range(4):
        times.learn(frequency_hz=1000.0, before=slope(10.0), after=slope(-10.0), moved_db=-1.0)
    sober_s = times.at(1000.0)[0]
    times.learn(frequency_hz=1000.0, before=slope(0.5), after=slope(-0.5), moved_db=-9.0)
    assert times.at(1000.0)[0] < 1.5 * sober_s


def test_intervals_hold_the_truth_where_the_beliefs_are_true() -> None:
    """2000 rings drawn from the very beliefs: 80 % of the intervals must hold them."""
    rng = np.random.default_rng(8)
    held = np.zeros((2, 2000))
    for i in range(held.shape[1]):
        excess_db = excess_of(
            math.exp(math.log(USUAL_EXCESS_DB) + USUAL_EXCESS_SPREAD * rng.standard_normal()), 1.0
        )
        spread = math.hypot(BETWEEN_ROOMS, WITHIN_ROOM)
        loop_s = LOOP_TIME_S * math.exp(spread * rng.standard_normal())
        before = growth_of(excess_db, loop_s) * math.exp(0.1 * rng.standard_normal())
        after = growth_of(excess_db - 6.0, loop_s) * math.exp(0.4 * rng.standard_normal())
        times = LoopTimes()
        told = times.estimate(slope(before), frequency_hz=1000.0)
        held[0, i] = told.low_db <= excess_db <= told.high_db
        times.learn(frequency_hz=1000.0, before=slope(before), after=slope(after), moved_db=-6.0)
        told = times.estimate(slope(before), frequency_hz=1000.0)
        held[1, i] = told.low_db <= excess_db <= told.high_db
    assert 0.77 < held[0].mean() < 0.83
    assert 0.70 < held[1].mean() < 0.90


def test_a_line_that_stands_still_before_and_after_a_pull_teaches_nothing() -> None:
    times = LoopTimes()
    before, after = Slope(0.002, 3.0, 0.0, 1.0), Slope(-0.001, 3.0, 1.5, 2.5)
    times.learn(frequency_hz=1000.0, before=before, after=after, moved_db=-3.0)
    assert times.answers == 0


def test_the_t60_moves_the_estimate_and_narrows_it() -> None:
    plain, dry, live = (
        LoopTimes(t60_s=t).estimate(slope(20.0), frequency_hz=800.0) for t in (None, 0.25, 1.2)
    )
    assert dry.db < plain.db < live.db
    assert dry.high_db / dry.low_db < plain.high_db / plain.low_db
    assert "T60 1.2 s" in live.why
    assert "20 dB a second" in plain.why
    slow = LoopTimes().estimate(slope(0.2), frequency_hz=800.0)
    assert "grows by less than 1 dB a second" in slow.why


@pytest.mark.parametrize("t60_s", [-1.0, 0.049, 10.1, math.nan])
def test_no_room_has_such_a_t60(t60_s: float) -> None:
    with pytest.raises(ValueError, match=r"t60_s=.* must lie between 0\.05 and 10 s"):
        LoopTimes(t60_s=t60_s)


def test_pulled_in_vain_it_is_more_than_that() -> None:
    times = LoopTimes()
    plain = times.estimate(slope(20.0), frequency_hz=1000.0)
    more = times.estimate(slope(20.0), frequency_hz=1000.0, at_least_db=4.0)
    assert plain.low_db < 4.0
    assert 4.0 <= more.low_db < more.db < more.high_db
    assert times.estimate(slope(20.0), frequency_hz=1000.0, at_least_db=40.0).low_db > plain.high_db


def test_one_that_dies_has_a_margin_and_one_that_stands_has_none() -> None:
    times = LoopTimes()
    told = times.estimate(slope(-20.0), frequency_hz=1000.0)
    assert told.low_db < told.db < told.high_db < 0.0
    assert "dies by 20 dB a second" in told.why
    assert advised_pull_db(told) == pytest.approx(3.0 + told.db)
    still = times.estimate(slope(0.0), frequency_hz=1000.0)
    assert still.low_db < still.db == 0.0 < still.high_db


def test_what_dies_like_the_room_has_plenty() -> None:
    told = LoopTimes(t60_s=0.6).estimate(slope(-95.0), frequency_hz=1000.0)
    assert told.low_db < told.db == -6.0 < told.high_db < 0.0
    assert "as fast as the room" in told.why
    assert advised_pull_db(told) == 0.0


@pytest.mark.parametrize(
    ("excess_db", "margin_db", "pull_db"),
    [(2.0, 3.0, 5.0), (2.0, 6.0, 8.0), (-2.0, 3.0, 1.0), (-7.0, 3.0, 0.0)],
)
def test_the_pull_is_excess_and_margin(excess_db: float, margin_db: float, pull_db: float) -> None:
    excess = Excess(excess_db, excess_db - 1.0, excess_db + 1.0, "")
    assert advised_pull_db(excess, margin_db=margin_db) == pytest.approx(pull_db)
