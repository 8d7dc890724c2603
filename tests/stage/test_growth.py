"""Feedback in the sound itself: how fast it grows, what it depends on, what the truth says."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import signal

from monitor.advice import sections
from monitor.advice.widths import THIRD_OCTAVE_Q
from monitor.stage.loop import StageLoop
from monitor.stage.nyquist import criticals
from monitor.stage.provoke import render_run
from monitor.stage.room import Responses
from monitor.stage.run_spec import RunSpec
from monitor.stage.run_truth import NEAR_DB
from monitor.stage.scenario import DEFAULT_ROOM, ROOMS

RATE_HZ = 48000


def one_delay(samples: int) -> StageLoop:
    """Return a loop that is a delay and nothing else, |L| = 1 at fader 0, very quiet."""
    pulse = np.zeros(samples + 1, np.float32)
    pulse[samples] = 1.0
    straight = np.ones(1, np.float32)
    return StageLoop(
        room=DEFAULT_ROOM,
        known=Responses(RATE_HZ, pulse, pulse, straight, 0.0 * straight, samples / RATE_HZ),
        block=64,
        programme="silence",
        programme_db=-60.0,
        low_cut_hz=0.0,
        latency_s=0.0,
        box_peak_dbfs=0.0,
        box_noise_dbfs=-160.0,
    )


def growth_db_per_s(sound: np.ndarray) -> float:
    """Return the slope of the level between -90 and -50 dBFS, far below the end stop."""
    piece = 480
    power = np.mean(sound[: len(sound) // piece * piece].reshape(-1, piece) ** 2, axis=1)
    level_db = 10.0 * np.log10(power + 1e-20)
    first, last = int(np.argmax(level_db > -90.0)), int(np.argmax(level_db > -50.0))
    assert last - first >= 10, "the level did not grow through the span"
    time_s = np.arange(first, last) * piece / RATE_HZ
    return float(np.polyfit(time_s, level_db[first:last], 1)[0])


@pytest.mark.parametrize(
    ("delay", "excess_db", "expected"),
    # By hand: each trip round the loop adds the excess, so growth = excess / delay.
    [(140, 0.5, 171.4), (941, 0.5, 25.5), (941, 2.0, 102.0)],
)
def test_the_sound_of_a_single_delay_grows_by_its_excess_each_trip(
    delay: int, excess_db: float, expected: float
) -> None:
    loop = one_delay(delay)
    loop.fader_db = excess_db
    sound = loop.process(int((0.5 + 80.0 / expected) * RATE_HZ)).astype(np.float64)
    assert growth_db_per_s(sound) == pytest.approx(expected, rel=0.05)


def test_the_sound_of_a_single_delay_below_its_limit_dies() -> None:
    loop = one_delay(140)
    loop.fader_db = -0.5
    last = loop.process(3 * RATE_HZ)[-RATE_HZ:]
    assert 0.0 < np.sqrt(np.mean(last**2)) < 10.0 ** (-90.0 / 20.0)


def test_a_loop_with_its_sign_turned_rings_between_the_whole_turns() -> None:
    """By hand: half a turn more is needed, so odd multiples of rate / (2 * delay)."""
    taps = np.zeros(481)
    taps[480] = -0.7
    found = criticals(taps, sample_rate_hz=RATE_HZ, most=20)
    assert len(found) == 20
    for one in found:
        assert (one.frequency_hz / 100.0) % 1.0 == pytest.approx(0.5, abs=1e-3)


@pytest.mark.parametrize("name", list(ROOMS)[:2])
def test_a_named_room_rings_where_nyquist_says(name: str) -> None:
    """A phase condition against some half a million samples through the loop, within 0.5 Hz."""
    loop = StageLoop(room=ROOMS[name], programme="silence", seed=3)
    loop.fader_db = 1.0
    unstable = [c for c in loop.critical() if c.margin_db < 0.0]
    assert len(unstable) == 1
    loop.process(5 * RATE_HZ)
    sound = loop.process(4 * RATE_HZ).astype(np.float64)
    level = np.log(np.abs(np.fft.rfft(sound * np.hanning(len(sound)))) + 1e-12)
    k = int(np.argmax(level))
    a, b, c = level[k - 1 : k + 2]
    measured_hz = (k + 0.5 * (a - c) / (a - 2.0 * b + c)) * RATE_HZ / len(sound)
    assert measured_hz == pytest.approx(unstable[0].frequency_hz, abs=0.5)


@pytest.mark.parametrize("block", [48, 200])
def test_noise_included_the_sound_does_not_depend_on_the_block(block: int) -> None:
    """Both noises draw from streams of their own; only the order of float32 sums may differ."""

    def sound(block: int) -> np.ndarray:
        return StageLoop(room=DEFAULT_ROOM, block=block, seed=5).process(24000)

    expected = sound(256)
    assert np.std(expected) > 1e-3
    np.testing.assert_allclose(sound(block), expected, atol=2e-6)


@pytest.mark.parametrize("centre_hz", [39.8, 2511.886, 15848.9])
def test_a_slider_is_the_analogue_peak_through_scipy_s_bilinear_transform(
    centre_hz: float,
) -> None:
    """H(s) = (s^2 + s A/Q + 1) / (s^2 + s/(A Q) + 1) is the cookbook's; the rest is scipy's."""
    amplitude = 10.0 ** (-9.0 / 40.0)
    warped = 2.0 * RATE_HZ * math.tan(math.pi * centre_hz / RATE_HZ)
    above = [1.0 / warped**2, amplitude / THIRD_OCTAVE_Q / warped, 1.0]
    below = [1.0 / warped**2, 1.0 / (amplitude * THIRD_OCTAVE_Q) / warped, 1.0]
    grid_hz = np.geomspace(20.0, 23000.0, 300)
    _, expected = signal.freqz(*signal.bilinear(above, below, fs=RATE_HZ), grid_hz, fs=RATE_HZ)
    ratio = sections.ratio_to(centre_hz, grid_hz, RATE_HZ)
    got = sections.response(sections.peak(-9.0, q=THIRD_OCTAVE_Q), ratio)
    np.testing.assert_allclose(got, expected, rtol=1e-6)


SPEC = RunSpec(seed=1, room_seed=2, t60_s=0.4, place="wedge", programme="talk", duration_s=6.0)


def test_modes_are_truth_and_near_counted_from_the_most_critical() -> None:
    run = render_run(replace(SPEC, provocation="step", excess_db=2.0))
    assert [f for f, _ in run.modes] == [c.frequency_hz for c in (*run.truth, *run.near)]
    assert run.modes[0] == (run.truth[0].frequency_hz, 0.0)
    levels_db = [level_db for _, level_db in run.modes]
    assert levels_db == sorted(levels_db, reverse=True)
    assert -2.0 - NEAR_DB - 0.1 < levels_db[-1] <= 0.0
    assert all(0.0 <= c.margin_db < NEAR_DB for c in run.near)


def test_the_end_is_when_the_fader_has_come_down_far_enough() -> None:
    """2 dB over and 12 dB taken in 0.15 s: stable again well inside that time."""
    run = render_run(replace(SPEC, provocation="step", excess_db=2.0, acts_s=4.5, acts_db=12.0))
    assert run.off_s is not None
    assert 4.5 < run.off_s < 4.65
    assert run.excess_at(run.off_s + 0.1) < 0.0 < run.excess_at(run.off_s - 0.1)


def test_without_an_end_there_is_none() -> None:
    assert render_run(replace(SPEC, provocation="step", acts_s=None)).off_s is None
    assert render_run(replace(SPEC, excess_db=-2.0)).off_s is None
