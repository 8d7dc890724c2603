"""What is told of a line's last seconds and of its phase, on sounds whose course is known."""

import numpy as np
import pytest

from monitor.listening.evidence import FEATURES
from tests.bench.lines import found_in, plain

RATE_HZ = 48000
LENGTH_S = 9.0


def looks_at(hz, level_db, *, rate_hz=RATE_HZ, phase=None, harmonic_db=None, floor_db=-85.0):
    """All looks at a line of this level over time in noise: times, and features by name."""
    t = np.arange(int(LENGTH_S * rate_hz)) / rate_hz
    level = 10.0 ** (np.asarray(level_db(t), float) / 20.0)
    turned = 2.0 * np.pi * hz * (t if phase is None else phase(t))
    x = level * np.sin(turned)
    if harmonic_db is not None:
        x = x + level * 10.0 ** (harmonic_db / 20.0) * np.sin(2.0 * turned)
    x = x + 10.0 ** (floor_db / 20.0) * np.random.default_rng(2).standard_normal(len(t))
    times_s, rows = [], []
    for layer, count, found in found_in(x.astype(np.float32), sample_rate_hz=rate_hz, eye=plain):
        near = np.flatnonzero(np.abs(found.frequency_hz - hz) < 1.5 * layer.history.bin_hz)
        if len(near):
            times_s.append(count / rate_hz)
            rows.append(found.features[near[0]])
    return np.array(times_s), dict(zip(FEATURES, np.array(rows).T, strict=True))


def at(looks, time_s, name):
    """A feature at the last look up to a time."""
    times_s, told = looks
    return float(told[name][np.flatnonzero(times_s <= time_s)[-1]])


@pytest.fixture(scope="module")
def climbing():
    """8 dB a second, straight, from 1 s on until it stands at -20 dB from 7 s on."""
    return looks_at(1003.0, lambda t: np.where(t < 1.0, -120.0, np.minimum(-76 + 8 * t, -20.0)))


def test_a_straight_climb_is_told_over_all_of_the_past(climbing):
    for name in ("past_slope_1.25_s", "past_slope_2.5_s", "past_slope_5_s"):
        assert at(climbing, 6.9, name) == pytest.approx(8.0, abs=0.3)
    assert at(climbing, 6.9, "past_residual_2.5_s_db") < 0.3
    assert at(climbing, 6.9, "past_fall_db") < 0.1
    # It has stood out since it left the noise, 3 s and more ago.
    assert at(climbing, 6.9, "past_out") > 0.6
    assert at(climbing, 6.9, "past_age_s") > 3.0


def test_what_stands_was_climbing_two_seconds_ago(climbing):
    assert at(climbing, 8.9, "slope_32") == pytest.approx(0.0, abs=0.2)
    assert at(climbing, 8.9, "past_slope_5_s") > 4.0


def test_a_note_is_known_by_its_beginning_seconds_later(climbing):
    note = looks_at(1003.0, lambda t: np.where(t < 4.0, -120.0, -20.0))
    assert at(note, 7.0, "past_rise_2_db") > 30.0
    assert at(note, 7.0, "past_rise_ago_s") == pytest.approx(3.0, abs=0.2)
    assert abs(at(note, 7.0, "past_growth_since_rise_db")) < 1.0
    assert at(climbing, 6.9, "past_rise_2_db") < 12.0


def test_vibrato_is_told_in_cents():
    deep_cents, rate_of_it_hz = 3.0, 0.7  # 0.3 bins, within one bin
    depth = deep_cents / 1731.0 / (2.0 * np.pi * rate_of_it_hz)
    waving = looks_at(
        2004.0,
        lambda t: np.full(len(t), -20.0),
        phase=lambda t: t + depth * np.sin(2.0 * np.pi * rate_of_it_hz * t),
    )
    # A sine's standard deviation is its depth over the root of two.
    assert at(waving, 8.0, "past_wander_cents") == pytest.approx(deep_cents / 2**0.5, rel=0.15)
    still = looks_at(2004.0, lambda t: np.full(len(t), -20.0))
    assert at(still, 8.0, "past_wander_cents") < 0.2


def test_a_harmonic_that_comes_and_goes_with_the_line_follows_it():
    def swelling(t):
        return -30.0 + 8.0 * np.sin(2.0 * np.pi * 0.9 * t)

    note = looks_at(700.0, swelling, harmonic_db=-25.0)
    assert at(note, 8.0, "past_harmonic_2_follows") > 0.9
    assert at(note, 8.0, "past_harmonic_2_db") > 15.0
    pure = looks_at(700.0, swelling)
    assert abs(at(pure, 8.0, "past_harmonic_2_follows")) < 0.5
    assert at(pure, 8.0, "past_harmonic_2_most_db") < 15.0


def test_above_half_the_rate_no_harmonic_is_told():
    high = looks_at(11000.0, lambda t: np.full(len(t), -20.0))
    assert at(high, 8.0, "past_harmonic_2_db") == 0.0
    assert at(high, 8.0, "past_harmonic_0.5_db") != 0.0


def test_one_exponential_is_steady_and_two_tones_are_not(climbing):
    for name in ("unsteady_8_db", "unsteady_32_db", "unsteady_phase_32_db"):
        assert at(climbing, 6.9, name) < -30.0
    # Two tones 3 Hz apart share a bin and beat.
    beating = looks_at(
        1003.0, lambda t: -26.0 + 20.0 * np.log10(np.abs(1.0 + 0.6 * np.cos(6.0 * np.pi * t)))
    )
    assert at(beating, 8.0, "unsteady_32_db") > -20.0


def test_a_glide_drifts_by_what_it_glides():
    cents_per_s = 20.0
    gliding = looks_at(
        1500.0,
        lambda t: np.full(len(t), -20.0),
        phase=lambda t: t + 0.5 * cents_per_s / 1731.0 * t * t,
    )
    # The middles of 8 hops and of the 8 before lie 8 hops apart; the line is sharper by then.
    times_s, told = gliding
    assert told["drift_cents"][np.flatnonzero(times_s <= 3.0)[-1]] == pytest.approx(
        cents_per_s * 8 * 1024 / 48000, rel=0.1
    )


def test_louder_than_ever_is_told_and_a_note_as_loud_as_the_last_is_not(climbing):
    assert at(climbing, 6.9, "over_record_db") > 8.0
    notes = looks_at(1003.0, lambda t: np.where(np.floor(t / 1.5) % 2 == 0, -120.0, -20.0))
    assert abs(at(notes, 8.9, "over_record_db")) < 5.0


def falling(t):
    return np.where(t < 4.0, -120.0, -20.0 - 3.0 * (t - 4.0))


@pytest.mark.parametrize("name", ["window_s", "ramp_s", "age_s", "past_age_s", "past_rise_ago_s"])
def test_no_measurement_tells_the_sample_rate(name):
    """A scorer that knows the rate has learnt which sounds were recorded at which."""
    slow, quick = (
        set(looks_at(1003.0, falling, rate_hz=rate_hz)[1][name].tolist())
        for rate_hz in (44100, 48000)
    )
    assert len(slow & quick) >= 0.9 * min(len(slow), len(quick))
