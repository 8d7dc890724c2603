"""Several rings at once: each is one of its own, rightly named, and closes when it stops."""

import math

import numpy as np
import pytest

from monitor.listening.bands import third_octave_of
from monitor.listening.listener import Listener

RATE_HZ = 48000
NOISE_DBFS, FROM_DBFS, LIMIT_DBFS = -60.0, -110.0, -22.0
STOPPED_DB = 10.0
"""A line that has fallen so far has stopped."""
CLOSES_WITHIN_S = 0.3
MOST_CENTS = 15.0
MOST_HZ = 1.05
"""A degree can be reached while a line stands barely out of the noise: in the long window this is
less than a fifth of a bin, and more than those cents only below 121 Hz."""
SETTLED_S = 6.5

# Frequencies and growths in dB/s.  Two of each five lie in one third octave and one below
# 250 Hz; closer than about 3 of the 12 Hz bins (6 below 250 Hz) two lines cannot be told apart.
FIVES = {
    "apart": ([140.0, 660.0, 2300.0, 2700.0, 6100.0], [20.0, 30.0, 25.0, 30.0, 25.0]),
    "low": ([95.0, 210.0, 1020.0, 1090.0, 4100.0], [25.0, 30.0, 20.0, 30.0, 20.0]),
    "slow": ([120.0, 500.0, 1250.0, 1330.0, 3100.0], [15.0, 16.0, 30.0, 25.0, 18.0]),
    "high": ([180.0, 1500.0, 9000.0, 9900.0, 11500.0], [30.0, 18.0, 20.0, 28.0, 22.0]),
}


def five(frequencies_hz, growths_db_per_s, *, stops_s, fall_db_per_s, noise_dbfs=NOISE_DBFS):
    """Five lines out of noise, each straight in dB up to its limit, then stopped or falling."""
    rng = np.random.default_rng(2)
    t = np.arange(int((max(stops_s) + 1.5) * RATE_HZ)) / RATE_HZ
    sound = 10.0 ** (noise_dbfs / 20.0) * rng.standard_normal(len(t))
    for frequency_hz, growth, stop_s in zip(frequencies_hz, growths_db_per_s, stops_s, strict=True):
        level_db = np.minimum(FROM_DBFS + growth * (t - 0.3), LIMIT_DBFS)
        level_db -= fall_db_per_s * np.maximum(t - stop_s, 0.0)
        turn = rng.uniform()
        sound += 10.0 ** (level_db / 20.0) * np.sin(2.0 * math.pi * (frequency_hz * t + turn))
    return sound.astype(np.float32)


def rings_of(samples, *, way="set"):
    """The events of each ring, in order of frequency."""
    listener = Listener(sample_rate_hz=RATE_HZ, way=way)
    events = {}
    for event in listener.push(samples):
        events.setdefault(event.ring.id, []).append(event)
    return sorted(events.values(), key=lambda of_one: of_one[0].ring.frequency_hz)


def check(rings, frequencies_hz, *, stopped_s):
    """Five rings, each named at every flag and closed in time."""
    assert [of_one[-1].kind for of_one in rings] == ["closed"] * 5
    for of_one, frequency_hz, at_s in zip(rings, frequencies_hz, stopped_s, strict=True):
        for event in of_one:
            cents = abs(1200.0 * math.log2(event.ring.frequency_hz / frequency_hz))
            off_hz = abs(event.ring.frequency_hz - frequency_hz)
            assert cents <= MOST_CENTS or off_hz <= MOST_HZ
        assert -0.1 <= of_one[-1].at_s - at_s <= CLOSES_WITHIN_S


def test_the_fives_are_as_they_say():
    for frequencies_hz, growths in FIVES.values():
        bands = [third_octave_of(frequency_hz).number for frequency_hz in frequencies_hz]
        assert len(set(bands)) == 4
        assert min(frequencies_hz) < 250.0
        assert all(10.0 <= growth <= 30.0 for growth in growths)


@pytest.mark.parametrize("name", FIVES)
def test_five_that_stop_one_after_the_other(name):
    frequencies_hz, growths = FIVES[name]
    stops_s = [SETTLED_S + 0.4 * number for number in (2, 0, 4, 1, 3)]
    samples = five(frequencies_hz, growths, stops_s=stops_s, fall_db_per_s=1e4)
    check(rings_of(samples), frequencies_hz, stopped_s=stops_s)


@pytest.mark.parametrize("way", ["set", "soundcheck"])
@pytest.mark.parametrize("fall_db_per_s", [1e4, 150.0, 60.0])
def test_five_that_stop_together(way, fall_db_per_s):
    frequencies_hz, growths = FIVES["apart"]
    samples = five(frequencies_hz, growths, stops_s=[SETTLED_S] * 5, fall_db_per_s=fall_db_per_s)
    stopped_s = [SETTLED_S + STOPPED_DB / fall_db_per_s] * 5
    check(rings_of(samples, way=way), frequencies_hz, stopped_s=stopped_s)


def test_five_over_a_loud_noise():
    # Each line has the power of all the noise; out of its own bins' it stands by some 30 dB.
    frequencies_hz, growths = FIVES["low"]
    samples = five(
        frequencies_hz,
        growths,
        stops_s=[SETTLED_S] * 5,
        fall_db_per_s=150.0,
        noise_dbfs=LIMIT_DBFS - 3.0,
    )
    stopped_s = [SETTLED_S + STOPPED_DB / 150.0] * 5
    check(rings_of(samples), frequencies_hz, stopped_s=stopped_s)
