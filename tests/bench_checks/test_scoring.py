"""What counts as right, false, late and stopped, on runs whose answer is known by construction."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from monitor.listening.bands import third_octave_of
from monitor.listening.rings import Ring, RingEvent
from tests.bench.scoring import Flagged, Truth, episodes, facts_of, moments, score_loop
from tests.bench_checks.made_up import ACTS_S, OFF_S, ONSET_S, RINGS_HZ, howling


def ring(
    howl_s: float | None, *, hz: float = RINGS_HZ, ringing_s: float = 2.5, end_s: float = 6.5
) -> Flagged:
    return Flagged(hz, third_octave_of(hz).number, ringing_s, howl_s, end_s)


def test_a_howl_in_time_is_caught_and_rightly_named() -> None:
    score = score_loop(Truth(howling()), [ring(3.2, hz=1001.0)])
    assert score.howl_s == 3.2
    assert score.ringing_s == 2.5
    assert score.cents == pytest.approx(1200.0 * math.log2(1.001))
    assert score.right_band is True
    assert score.false_howls == score.false_ringings == 0


def test_the_wrong_band_is_seen() -> None:
    wrong = replace(ring(3.2), band=third_octave_of(1250.0).number)
    assert score_loop(Truth(howling()), [wrong]).right_band is False


def test_a_howl_after_somebody_acted_is_not_caught_and_not_false() -> None:
    score = score_loop(Truth(howling()), [ring(6.05)])
    assert score.howl_s is None
    assert score.ringing_s == 2.5
    assert score.false_howls == 0


@pytest.mark.parametrize(
    ("flag", "false"),
    [
        (ring(3.0, hz=3000.0), 1),  # its harmonic is not where it rings
        (ring(3.0, hz=1700.0), 0),  # nearly unstable: neither right nor false
        (ring(1.0, hz=1700.0, ringing_s=0.9), 1),  # ... but not long before
        (ring(8.5, ringing_s=8.4, end_s=9.0), 1),  # long after
        (ring(1.0, ringing_s=0.9, end_s=1.5), 1),  # long before, and over
    ],
)
def test_what_is_false(flag: Flagged, false: int) -> None:
    score = score_loop(Truth(howling()), [flag])
    assert score.howl_s is None
    assert score.false_howls == score.false_ringings == false


def test_raised_too_early_and_still_shown_is_false_and_right_from_then_on() -> None:
    score = score_loop(Truth(howling()), [ring(1.0, ringing_s=0.9)])
    assert score.false_howls == 1
    assert score.howl_s == pytest.approx(ONSET_S, abs=0.011)


def test_a_stable_run_excuses_nothing() -> None:
    run = howling()
    calm = replace(run, truth=(), near=(), excess_db=run.excess_db - 8.0, onset_s=None, off_s=None)
    assert score_loop(Truth(calm), [ring(3.0)]).false_howls == 1


@pytest.mark.parametrize("decay_db_per_s", [20.0, 40.0, 100.0])
def test_a_ring_has_stopped_when_it_is_ten_decibels_down(decay_db_per_s: float) -> None:
    stop_s = Truth(howling(decay_db_per_s=decay_db_per_s)).stop_s(RINGS_HZ)
    # The level is a mean over 30 ms.
    assert stop_s == pytest.approx(OFF_S + 10.0 / decay_db_per_s, abs=0.02)


def test_a_ring_has_stopped_when_the_programme_covers_it() -> None:
    stop_s = Truth(howling(decay_db_per_s=10.0, programme_db=-9.0)).stop_s(RINGS_HZ)
    assert stop_s == pytest.approx(OFF_S + 0.3, abs=0.03)


def test_closing_is_timed_from_the_stop() -> None:
    truth = Truth(howling())
    stop_s = truth.stop_s(RINGS_HZ)
    assert stop_s is not None
    late = score_loop(truth, [ring(3.0, end_s=stop_s + 0.4)])
    assert late.close_s == pytest.approx((0.4,))
    assert score_loop(truth, [ring(3.0, end_s=math.inf)]).close_s == (math.inf,)
    assert score_loop(truth, [ring(3.0, end_s=5.0)]).close_s == ()


def test_the_part_of_the_howl_that_was_shown() -> None:
    truth = Truth(howling())
    whole = score_loop(truth, [ring(3.0)])
    assert whole.lit_part == pytest.approx(1.0)
    gap = score_loop(truth, [ring(3.0, end_s=4.0), ring(5.0, ringing_s=4.9)])
    assert gap.lit_part == pytest.approx(1.0 - 1.0 / (OFF_S - 3.0))
    assert score_loop(truth, moments([(3.0, RINGS_HZ)])).lit_part is None


def test_moments_are_howls_that_are_over_at_once() -> None:
    score = score_loop(Truth(howling()), moments([(1.0, 1000.0), (3.4, 1000.0), (4.0, 440.0)]))
    assert score.howl_s == 3.4
    assert score.ringing_s is None
    assert score.false_howls == 2
    assert score.close_s == ()


def test_episodes_gather_the_events_of_each_ring() -> None:
    first = Ring(1, "ringing", 500.0, third_octave_of(500.0), -20.0, 30.0, 0.5, 1.0)
    second = replace(first, id=2, frequency_hz=2000.0, band=third_octave_of(2000.0))
    howl = replace(first, degree="howl", frequency_hz=501.0)
    found = episodes(
        [
            RingEvent("ringing", first, 1.0),
            RingEvent("ringing", second, 1.1),
            RingEvent("howl", howl, 1.4),
            RingEvent("closed", howl, 2.0),
        ]
    )
    assert found == [
        Flagged(501.0, third_octave_of(500.0).number, 1.0, 1.4, 2.0),
        Flagged(2000.0, third_octave_of(2000.0).number, 1.1, None, math.inf),
    ]


def test_the_facts_of_a_run() -> None:
    facts = facts_of(howling(), programme="music")
    assert facts.judged
    assert facts.held_excess_db == pytest.approx(2.0)
    assert facts.end_s == ACTS_S
    assert not facts_of(replace(howling(), overtake_s=5.6), programme="music").judged
