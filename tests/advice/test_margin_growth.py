"""Slopes are those that were played, and a note's beginning, a noise or an end stop is none."""

from __future__ import annotations

import time

import numpy as np
import pytest

from monitor.advice.growth import CLIMB_S, HOPS_A_WINDOW, SLOPE_PART, LineTrace
from monitor.listening.spectrum import SpectrumHistory

HOP_S = 0.0213
RATE_HZ = 48000
FLOOR_DBFS = -70.0


def trace_of(level_dbfs: np.ndarray, *, noise_db: float = 0.1, seed: int = 1) -> LineTrace:
    trace = LineTrace()
    uneven = noise_db * np.random.default_rng(seed).standard_normal(len(level_dbfs))
    for i, level in enumerate(level_dbfs + uneven):
        trace.push(i * HOP_S, float(level), FLOOR_DBFS)
    return trace


def times(seconds: float) -> np.ndarray:
    return np.arange(0.0, seconds, HOP_S)


@pytest.mark.parametrize("db_per_s", [5.0, 20.0, 80.0, 250.0])
def test_a_climb_to_the_end_stop_has_the_slope_that_was_played(db_per_s: float) -> None:
    t = times(2.0)
    climb = trace_of(np.clip(-60.0 + db_per_s * (t - 0.3), -70.0, -12.0)).climb(t[-1])
    assert climb is not None
    assert climb.db_per_s == pytest.approx(db_per_s, rel=0.1)
    assert abs(climb.db_per_s - db_per_s) < 2.0 * climb.spread_db_per_s


def test_the_slope_is_that_of_scipy_s_regression_and_as_sure() -> None:
    from scipy.stats import linregress

    t = times(1.0)
    level = -50.0 + 4.0 * t + 0.4 * np.random.default_rng(3).standard_normal(len(t))
    climb = trace_of(level, noise_db=0.0).climb(t[-1])
    assert climb is not None
    inside = (t >= climb.from_s - 1e-6) & (t <= climb.to_s + 1e-6)
    found = linregress(t[inside], level[inside])
    assert climb.db_per_s == pytest.approx(found.slope, rel=1e-6)
    # Four hops are one window, so that of four one counts; and no slope is better than a fifth.
    error = found.stderr * HOPS_A_WINDOW**0.5
    expected = np.hypot(error, SLOPE_PART * found.slope)
    assert climb.spread_db_per_s == pytest.approx(expected, rel=0.05)


def test_more_noise_is_less_sure() -> None:
    t = times(1.0)
    calm, rough = (trace_of(-60.0 + 4.0 * t, noise_db=n).climb(t[-1]) for n in (0.05, 0.5))
    assert calm is not None
    assert rough is not None
    assert calm.spread_db_per_s < rough.spread_db_per_s


def test_a_note_s_beginning_is_no_climb() -> None:
    """A sine switched on, through the main window itself: a ramp of one window, then a stand."""
    window_s = 0.0853
    history = SpectrumHistory(
        sample_rate_hz=RATE_HZ, window_s=window_s, n_hops=4, highest_hz=4000.0, floor_bins=20
    )
    rng = np.random.default_rng(2)
    t = np.arange(RATE_HZ) / RATE_HZ
    sound = 0.1 * np.sin(2 * np.pi * 1000.0 * t) * (t > 0.5)
    sound += 1e-4 * rng.standard_normal(len(t))
    trace, hop = LineTrace(), round(HOP_S * RATE_HZ)
    place = round(1000.0 / history.bin_hz)
    for end in range(history.window_samples, len(sound), hop):
        history.push(sound[:end].astype(np.float32))
        level, floor = history.level_db(1)[0, place], history.floor_db(1)[0, place]
        trace.push(end / RATE_HZ, float(level), float(floor))
    climb = trace.climb(1.0)
    # It rises by 50 dB within 85 ms: nothing like 600 dB/s may come out of it.
    assert climb is None or climb.db_per_s < 10.0


def test_in_the_floor_there_is_no_slope() -> None:
    t = times(1.0)
    trace = trace_of(FLOOR_DBFS + 4.0 + 3.0 * t)
    assert trace.climb(t[-1]) is None
    assert trace.answer(0.0, t[-1]) is None
    assert LineTrace().climb(0.0) is None


def test_the_answer_to_a_pull_is_a_fall_and_the_climb_before_is_still_known() -> None:
    t = times(3.0)
    level = np.minimum(-60.0 + 30.0 * t, -15.0)
    level = np.maximum(np.where(t > 2.0, -15.0 - 50.0 * (t - 2.0), level), -68.0)
    trace = trace_of(level)
    climb, answer = trace.climb(2.0), trace.answer(2.0, 3.0)
    assert climb is not None
    assert answer is not None
    assert climb.db_per_s == pytest.approx(30.0, rel=0.1)
    assert answer.db_per_s == pytest.approx(-50.0, rel=0.1)
    assert answer.from_s > 2.0


def test_too_small_a_pull_leaves_a_slower_climb() -> None:
    t = times(3.0)
    level = np.where(t < 1.0, -60.0 + 25.0 * t, -35.0 + 8.0 * (t - 1.0))
    answer = trace_of(level).answer(1.0, 3.0)
    assert answer is not None
    assert answer.db_per_s == pytest.approx(8.0, rel=0.1)


def test_at_the_end_stop_it_stands_and_otherwise_not() -> None:
    t = times(3.0)
    assert trace_of(np.minimum(-60.0 + 30.0 * t, -15.0)).stands(3.0)
    assert not trace_of(-60.0 + 15.0 * t).stands(3.0)
    assert not trace_of(np.where(t < 2.0, -15.0, -30.0)).stands(3.0)
    assert not LineTrace().stands(0.0)


def test_a_line_lasts_that_has_hardly_fallen_in_two_seconds() -> None:
    t = times(3.0)
    for db_per_s, lasts in ((5.0, True), (0.0, True), (-1.0, True), (-3.0, False), (-40.0, False)):
        assert trace_of(-20.0 + db_per_s * t).lasts(3.0) is lasts, db_per_s
    # One that fell and lingers then.
    assert trace_of(np.maximum(-20.0 - 60.0 * t, -40.0)).lasts(3.0)
    short = t[t < 1.5]
    assert not trace_of(0.0 * short - 20.0).lasts(1.5), "not heard for so long"
    assert not LineTrace().lasts(0.0)


def test_what_was_heard_is_forgotten() -> None:
    t = times(CLIMB_S)
    trace = trace_of(-60.0 + 10.0 * t)
    trace.reset()
    assert trace.climb(CLIMB_S) is None


def test_the_trace_is_bounded_and_quick_to_ask() -> None:
    trace = LineTrace()
    for i in range(100_000):
        trace.push(i * HOP_S, -40.0, FLOOR_DBFS)
    assert len(trace._points) < 500
    begun_s = time.process_time()
    trace.climb(100_000 * HOP_S)
    # 3 ms on the busy machine it was written on: too long for every hop, not for a page.
    assert time.process_time() - begun_s < 0.5
