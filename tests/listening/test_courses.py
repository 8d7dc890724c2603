"""What the course of a line tells, against the same numbers worked out from its whole past."""

import numpy as np
import pytest

from monitor.listening.courses import (
    CLIMB_S,
    COURSE_FEATURES,
    LOST_S,
    MISSED_LOG_ODDS,
    MOST_LINES,
    SURELY_NOT,
    Courses,
)
from monitor.listening.evidence import FEATURES, Candidates

HOP_S, BIN_HZ = 0.0213, 11.7


def looks(frequencies_hz, levels_db=None, **features):
    """Candidates at these frequencies; all that was measured on them is 0 but ``features``."""
    frequency_hz = np.asarray(frequencies_hz, float)
    n = len(frequency_hz)
    values = np.zeros((n, len(FEATURES)))
    for name, value in features.items():
        values[:, FEATURES.index(name)] = value
    return Candidates(
        bins=np.rint(frequency_hz / BIN_HZ).astype(int),
        frequency_hz=frequency_hz,
        level_db=np.zeros(n) if levels_db is None else np.asarray(levels_db, float),
        slope_db_per_s=np.zeros(n),
        share_of_power_db=np.zeros(n),
        share_of_octave_db=np.zeros(n),
        features=values,
    )


def courses():
    return Courses(hop_s=HOP_S, bin_hz=BIN_HZ)


def told(of, found, slots):
    """The course features of the first candidate, by name."""
    return dict(zip(COURSE_FEATURES, of.features(found, np.array([0]), slots[:1])[0], strict=True))


def followed(log_odds, levels_db, frequencies_hz):
    """What is told of one line at the end of its looks."""
    of = courses()
    for odds, level_db, hz in zip(log_odds, levels_db, frequencies_hz, strict=True):
        found = looks([hz], [level_db])
        slots = of.follow(found, np.array([odds]))
    return told(of, found, slots)


def test_level_and_place_are_those_of_a_fading_straight_line():
    rng = np.random.default_rng(1)
    n = 150
    age_s = HOP_S * np.arange(n - 1, -1, -1)
    levels_db = -50.0 - 12.0 * age_s + rng.normal(0.0, 0.8, n)
    frequencies_hz = 1000.0 * (1.0 + 3e-4 * rng.standard_normal(n))
    line = followed(np.full(n, 3.0), levels_db, frequencies_hz)
    # numpy's own least squares with the same fading weights.
    weights = np.exp(-age_s / CLIMB_S)
    slope, start = np.polyfit(-age_s, levels_db, 1, w=np.sqrt(weights))
    apart = levels_db - (start - slope * age_s)
    cents = 1200.0 * np.log2(frequencies_hz / np.average(frequencies_hz, weights=weights))
    assert line["climb_db_per_s"] == pytest.approx(slope, rel=1e-6)
    residual_db = np.sqrt(np.average(apart**2, weights=weights))
    assert line["climb_residual_db"] == pytest.approx(residual_db, rel=1e-4)
    wander_cents = np.sqrt(np.average(cents**2, weights=weights))
    assert line["wander_cents"] == pytest.approx(wander_cents, rel=0.01)
    assert line["growth_db"] == pytest.approx(levels_db[-1] - levels_db[0])
    assert line["fall_db"] == pytest.approx(levels_db.max() - levels_db[-1])
    assert line["age_s"] == pytest.approx((n - 1) * HOP_S, abs=1.5 * HOP_S)


def test_log_odds_are_averaged_and_summed():
    log_odds = np.array([1.0, 4.0, -1.0, 9.0, 2.0])
    line = followed(log_odds, np.zeros(5), np.full(5, 700.0))
    limited = np.minimum(log_odds, 6.0)
    mean, total = SURELY_NOT, 0.0
    for odds in limited:
        mean += (1.0 - np.exp(-HOP_S / 0.3)) * (odds - mean)
        total = max(0.0, total + odds - 0.5)
    assert line["mean_0.3_s"] == pytest.approx(mean)
    assert line["sum_0.5"] == pytest.approx(total)
    assert line["highest_log_odds"] == 6.0
    assert line["log_odds"] == 2.0


def test_nothing_begins_for_a_line_that_is_surely_none():
    of = courses()
    assert of.follow(looks([500.0]), np.array([SURELY_NOT - 0.1])).tolist() == [-1]
    assert not of.alive.any()


def test_two_lines_keep_apart_and_lines_keep_their_slots():
    of = courses()
    first = of.follow(looks([500.0, 530.0], [-20.0, -30.0]), np.array([1.0, 1.0]))
    again = of.follow(looks([531.0, 501.0], [-20.0, -30.0]), np.array([1.0, 1.0]))
    assert first[0] != first[1]
    assert again.tolist() == first[::-1].tolist()


def test_a_suspicious_line_that_is_missed_loses_and_a_dismissed_one_does_not():
    told_of = {}
    for last in (2.0, SURELY_NOT - 1.0):
        of = courses()
        for odds in (2.0, 2.0, 2.0, last):
            slots = of.follow(looks([900.0]), np.array([odds]))
        before = told(of, looks([900.0]), slots)
        of.miss()
        told_of[last] = told(of, looks([900.0]), slots), before
    after, before = told_of[2.0]
    part = 1.0 - np.exp(-HOP_S / 0.1)
    mean = before["mean_0.1_s"]
    assert after["mean_0.1_s"] == pytest.approx(mean + part * (MISSED_LOG_ODDS - mean))
    assert after["sum_0.5"] == pytest.approx(before["sum_0.5"] + MISSED_LOG_ODDS)
    assert after["sum_2"] == 0.0  # they never fall below
    assert after["found_part"] < before["found_part"]
    after, before = told_of[SURELY_NOT - 1.0]
    lost = ("mean_0.1_s", "sum_0.5", "found_part")
    assert [after[name] for name in lost] == [before[name] for name in lost]


def test_a_line_that_is_gone_ends_and_its_slot_is_used_again():
    of = courses()
    of.follow(looks([900.0]), np.array([2.0]))
    for _ in range(round(LOST_S / HOP_S)):
        of.miss()
        assert of.alive.sum() == 1
    of.miss()
    assert not of.alive.any()
    slots = of.follow(looks([400.0]), np.array([1.0]))
    assert told(of, looks([400.0]), slots)["age_s"] == pytest.approx(HOP_S)


def test_more_lines_than_there_is_room_for_are_left_out():
    of = courses()
    for number in range(3):
        found = looks(1000.0 + 100.0 * (np.arange(16) + 16 * number))
        slots = of.follow(found, np.ones(16))
        assert (slots >= 0).sum() == (16 if number < MOST_LINES // 16 else 0)


def test_what_the_newest_look_measured_is_handed_on():
    of = courses()
    found = looks([800.0], linger_db=7.0)
    slots = of.follow(found, np.array([1.0]))
    assert told(of, found, slots)["linger_db"] == 7.0
    of.reset()
    assert not of.alive.any()
