"""What the short windows tell of how lines began, on sounds whose beginning is known."""

import numpy as np
import pytest
from scipy.signal import ShortTimeFFT
from scipy.signal.windows import hann

from monitor.listening.layers import RESOLUTIONS, Layer
from monitor.listening.onset import KEPT_STEPS, ONSET_FEATURES, STEPS, Onset

RATE_HZ = 48000
HOP_SAMPLES = 1024
WINDOW_SAMPLES = 4096
HZ = 1500.0
"""A whole number of short bins: no level is lost between two of them."""


def an_onset():
    return Onset(
        sample_rate_hz=RATE_HZ,
        window_s=WINDOW_SAMPLES / RATE_HZ,
        hop_s=HOP_SAMPLES / RATE_HZ,
        step_samples=HOP_SAMPLES,
        highest_hz=12500.0,
    )


def hear(onset, samples):
    for end in range(WINDOW_SAMPLES, len(samples) + 1, HOP_SAMPLES):
        onset.push(samples[end - WINDOW_SAMPLES : end].astype(np.float32))
    return onset


def told(samples, hz=HZ):
    """By name, at the end of a sound."""
    values = hear(an_onset(), samples).measure(np.array([hz]))
    return dict(zip(ONSET_FEATURES, values[:, 0], strict=True))


def times_s(length_s):
    # The last hop ends with the sound.
    n = WINDOW_SAMPLES + int(length_s * RATE_HZ / HOP_SAMPLES) * HOP_SAMPLES
    return np.arange(n) / RATE_HZ


def noise(t, level_db, seed=1):
    return 10.0 ** (level_db / 20.0) * np.random.default_rng(seed).standard_normal(len(t))


def tone(t, level_db, hz=HZ):
    return 10.0 ** (np.broadcast_to(level_db, t.shape) / 20.0) * np.sin(2.0 * np.pi * hz * t)


@pytest.mark.parametrize("rate_db_per_s", [10.0, 60.0, 200.0])
def test_a_straight_climb_has_one_slope_and_nothing_beside_it(rate_db_per_s):
    t = times_s(2.0)
    found = told(tone(t, -20.0 + rate_db_per_s * (t - t[-1])) + noise(t, -140.0))
    # Of 200 dB/s the oldest of 64 steps, 0.35 s ago, still stands 20 dB over the noise.
    for n in (8, 16, 32, 64):
        assert found[f"fine_slope_{n}"] == pytest.approx(rate_db_per_s, rel=0.01)
        assert found[f"fine_residual_{n}_db"] < 0.2


def test_quick_steps_of_a_ladder_are_what_the_line_leaves_over():
    """A loop of one path climbs in steps of its loop time; long windows smooth them away."""
    t = times_s(2.0)
    smooth = told(tone(t, -60.0 + 20.0 * t))
    stepped = told(tone(t, -60.0 + 20.0 * np.floor(t / 0.12) * 0.12))
    assert stepped["fine_residual_32_db"] > smooth["fine_residual_32_db"] + 0.4
    # A step of 2.4 dB lies 0.69 dB beside its straight line (a saw's height over the root of 12).
    assert stepped["fine_residual_32_db"] == pytest.approx(2.4 / 12**0.5, rel=0.3)


@pytest.mark.parametrize("ago_s", [0.1, 0.3, 0.6])
def test_since_when_a_line_stands_as_it_does(ago_s):
    t = times_s(2.0)
    found = told(tone(t, np.where(t < t[-1] - ago_s, -90.0, -20.0)) + noise(t, -90.0))
    short_s = WINDOW_SAMPLES / STEPS / RATE_HZ
    # Until a third of the newest short window holds the tone it is 20 dB below.
    assert found["fine_since_20_s"] == pytest.approx(ago_s, abs=short_s)
    assert found["fine_since_30_s"] >= found["fine_since_20_s"]
    assert found["fine_rise_6_20_s"] < short_s


def test_what_stood_all_the_time_began_as_long_ago_as_is_remembered():
    t = times_s(2.0)
    kept_s = KEPT_STEPS * HOP_SAMPLES / STEPS / RATE_HZ
    assert told(tone(t, -20.0))["fine_since_20_s"] == pytest.approx(kept_s)


def test_a_knock_when_a_line_began_is_told_from_none():
    t = times_s(2.0)
    begin_s = t[-1] - 0.4
    line = tone(t, np.where(t < begin_s, -90.0, -20.0))
    # The rest of the sound for as long as a stick or a plectrum is heard, 20 ms.
    is_knock = (t >= begin_s) & (t < begin_s + 0.02)
    knock = noise(t, -20.0) * is_knock
    plain, struck = told(line + noise(t, -50.0)), told(line + noise(t, -50.0) + knock)
    assert struck["fine_knock_db"] > plain["fine_knock_db"] + 10.0
    assert struck["fine_rest_rise_db"] > plain["fine_rest_rise_db"] + 10.0


def test_a_line_stands_over_its_neighbours_and_noise_does_not():
    t = times_s(2.0)
    assert told(tone(t, -20.0) + noise(t, -80.0))["fine_over_neighbours_db"] > 30.0
    assert abs(told(noise(t, -20.0))["fine_over_neighbours_db"]) < 6.0


def test_loudness_tells_nothing():
    t = times_s(2.0)
    x = tone(t, np.minimum(-60.0 + 30.0 * t, -20.0)) + noise(t, -60.0)
    loud, quiet = told(x), told(0.01 * x)
    assert list(quiet.values()) == pytest.approx(list(loud.values()), abs=0.02)


def test_short_windows_are_those_of_a_library():
    """Slopes over the last eight steps against scipy's own short-time transform and polyfit."""
    t = times_s(1.0)
    x = tone(t, -60.0 + 40.0 * t, hz=1530.0) + noise(t, -65.0)
    n, step = WINDOW_SAMPLES // STEPS, HOP_SAMPLES // STEPS
    library = ShortTimeFFT(hann(n, sym=False), hop=step, fs=RATE_HZ)
    # The last of them ends with the sound.
    tail = x[len(x) - n - 63 * step :]
    spectra = library.stft(tail, p0=n // 2 // step, p1=n // 2 // step + 64)
    level_db = 20.0 * np.log10(np.abs(spectra[round(1530.0 / library.delta_f)]))
    found = told(x, hz=1530.0)
    for steps in (8, 16, 32, 64):
        line = np.polyfit(np.arange(steps) * step / RATE_HZ, level_db[-steps:], 1)
        assert found[f"fine_slope_{steps}"] == pytest.approx(line[0], abs=0.05)


def test_after_a_reset_nothing_is_left():
    t = times_s(1.0)
    used, fresh = hear(an_onset(), tone(t, -10.0)), an_onset()
    used.reset()
    x = tone(t, -60.0 + 30.0 * t, hz=3000.0) + noise(t, -60.0)
    hz = np.array([HZ, 3000.0])
    assert np.array_equal(hear(used, x).measure(hz), hear(fresh, x).measure(hz))


@pytest.mark.parametrize("rate_hz", [8000, 16000, 44100, 48000, 72000])
def test_silence_and_the_edges_are_numbers(rate_hz):
    for resolution in RESOLUTIONS:
        layer = Layer(resolution, rate_hz)
        window = np.zeros(layer.window_samples, np.float32)
        for _ in range(5):
            layer.take_in(window)
        values = layer.onset.measure(np.array([1.0, layer.lowest_hz, layer.highest_hz]))
        assert values.shape == (len(ONSET_FEATURES), 3)
        assert np.isfinite(values).all()
