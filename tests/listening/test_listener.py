"""The listening chain as a whole: rings found, named, closed; any chunking gives the same."""

import functools
import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware.pace import KNOWN_HZ
from monitor.listening.decimate import decimation_factor
from monitor.listening.listener import Listener
from monitor.listening.spectrum import line_frequency_hz


def growing_line(
    *,
    rate_hz,
    frequency_hz,
    growth_db_per_s,
    from_s=1.0,
    until_s=4.0,
    total_s=5.0,
    noise_dbfs=-60.0,
    start_dbfs=-75.0,
    limit_dbfs=-12.0,
    fall_db_per_s=300.0,
    seed=1,
):
    """What a loop gives: a straight climb in dB out of the noise, a limit, and a fall."""
    rng = np.random.default_rng(seed)
    t = np.arange(int(total_s * rate_hz)) / rate_hz
    level_db = np.where(
        t < from_s, -200.0, np.minimum(start_dbfs + growth_db_per_s * (t - from_s), limit_dbfs)
    )
    top_db = level_db[np.searchsorted(t, until_s) - 1] if until_s < total_s else 0.0
    level_db = np.where(t < until_s, level_db, top_db - fall_db_per_s * (t - until_s))
    line = 10 ** (level_db / 20) * np.sin(2 * np.pi * frequency_hz * t)
    noise = 10 ** (noise_dbfs / 20) * rng.standard_normal(len(t)) / np.sqrt(2)
    return (line + noise).astype(np.float32)


def listen(samples, *, rate_hz, way="set", cuts=None):
    listener = Listener(sample_rate_hz=rate_hz, way=way)
    events = []
    cuts = cuts or range(0, len(samples), 4800)
    bounds = sorted({0, *cuts, len(samples)})
    for start, end in itertools.pairwise(bounds):
        events += listener.push(samples[start:end])
    return events + listener.reset()


@pytest.mark.parametrize("rate_hz", [8000, 16000, 32000, 44100, 48000, 96000, 192000])
def test_a_growing_line_is_found_named_and_closed_at_every_rate(rate_hz):
    frequency_hz = 2480.0
    samples = growing_line(rate_hz=rate_hz, frequency_hz=frequency_hz, growth_db_per_s=30.0)
    events = listen(samples, rate_hz=rate_hz)
    kinds = [event.kind for event in events]
    assert kinds == ["ringing", "howl", "closed"]
    howl = events[1].ring
    assert howl.band.label == "2.5k"
    assert howl.frequency_hz == pytest.approx(frequency_hz, rel=0.001)
    assert 1.0 < howl.flagged_s < 4.0
    assert events[2].ring.end_s == pytest.approx(4.0, abs=0.3)


@pytest.mark.parametrize("growth_db_per_s", [15.0, 30.0, 60.0])
def test_growth_is_the_slope_of_the_line(growth_db_per_s):
    # From below the floor of its bin, as a loop begins, and with noise too low to bend the climb
    # once the line may count (its level must be above the last bit of 16).
    samples = growing_line(
        rate_hz=48000,
        frequency_hz=1234.0,
        growth_db_per_s=growth_db_per_s,
        noise_dbfs=-96.0,
        start_dbfs=-130.0,
        total_s=9.0,
        until_s=8.0,
    )
    events = listen(samples, rate_hz=48000, way="soundcheck")
    ringing = next(event.ring for event in events if event.kind == "ringing")
    assert ringing.growth_db_per_s == pytest.approx(growth_db_per_s, rel=0.2)


def test_five_rings_together_are_five_two_of_them_in_one_band():
    frequencies_hz = [315.0, 1050.0, 2300.0, 2750.0, 5300.0]
    samples = sum(
        growing_line(
            rate_hz=48000,
            frequency_hz=f,
            growth_db_per_s=30.0,
            limit_dbfs=-24.0,
            seed=i,
            noise_dbfs=-66.0,
        )
        for i, f in enumerate(frequencies_hz)
    )
    events = listen(samples, rate_hz=48000)
    howls = [event.ring for event in events if event.kind == "howl"]
    assert sorted(ring.frequency_hz for ring in howls) == pytest.approx(frequencies_hz, rel=0.002)
    assert [ring.band.label for ring in howls].count("2.5k") == 2
    assert len({ring.id for ring in howls}) == 5
    closed = [event.ring for event in events if event.kind == "closed"]
    assert len(closed) == 5
    assert all(ring.end_s == pytest.approx(4.0, abs=0.3) for ring in closed)


def hum(rate_hz, base_hz, seconds=20.0):
    t = np.arange(int(seconds * rate_hz)) / rate_hz
    rng = np.random.default_rng(3)
    x = sum(
        10 ** (-(30 + 3 * k) / 20) * np.sin(2 * np.pi * base_hz * k * t + k) for k in range(1, 9)
    )
    return (x + 1e-4 * rng.standard_normal(len(t))).astype(np.float32)


def pink(rate_hz, seconds=20.0):
    rng = np.random.default_rng(4)
    n = int(seconds * rate_hz)
    spectrum = np.fft.rfft(rng.standard_normal(n)) / np.sqrt(np.maximum(1, np.arange(n // 2 + 1)))
    x = np.fft.irfft(spectrum, n)
    return (0.2 * x / np.abs(x).max()).astype(np.float32)


@pytest.mark.parametrize("way", ["soundcheck", "set"])
@pytest.mark.parametrize(
    "samples",
    [hum(48000, 50.0), hum(48000, 60.0), pink(48000), np.zeros(480000, dtype=np.float32)],
    ids=["hum_50", "hum_60", "pink_noise", "silence"],
)
def test_hum_hiss_and_silence_are_not_rings(samples, way):
    assert listen(samples, rate_hz=48000, way=way) == []


@settings(max_examples=25)
@given(
    cuts=st.lists(st.integers(1, 3 * 44100 - 1), max_size=30),
    rate_hz=st.sampled_from([44100, 96000]),
)
def test_any_chunking_gives_the_same_events(cuts, rate_hz):
    samples, whole = in_one_piece(rate_hz)
    assert [event.kind for event in whole][:1] == ["ringing"]
    assert listen(samples, rate_hz=rate_hz, cuts=cuts) == whole


@functools.cache
def in_one_piece(rate_hz):
    """A ring, and what is heard of it when it comes all at once."""
    samples = growing_line(
        rate_hz=rate_hz,
        frequency_hz=700.0,
        growth_db_per_s=60.0,
        from_s=0.3,
        until_s=1.8,
        total_s=2.5,
    )
    return samples, listen(samples, rate_hz=rate_hz, cuts=[len(samples)])


def test_the_flag_needs_no_sample_after_flagged_s():
    samples = growing_line(rate_hz=48000, frequency_hz=900.0, growth_db_per_s=40.0)
    events = listen(samples, rate_hz=48000)
    assert [event.kind for event in events][:2] == ["ringing", "howl"]
    for event in events[:2]:
        n = round(event.ring.flagged_s * 48000)
        again = listen(samples[:n], rate_hz=48000)
        assert [(e.kind, e.at_s) for e in again if e.kind == event.kind] == [
            (event.kind, event.at_s)
        ]
        earlier = listen(samples[: n - 1], rate_hz=48000)
        assert not [e for e in earlier if e.kind == event.kind]


def test_a_gap_closes_rings_and_the_clock_goes_on():
    samples = growing_line(rate_hz=48000, frequency_hz=900.0, growth_db_per_s=40.0)
    listener = Listener(sample_rate_hz=48000)
    listener.push(samples[: 3 * 48000])
    assert len(listener.open_rings) == 1
    events = listener.reset()
    assert [event.kind for event in events] == ["closed"]
    assert listener.open_rings == ()
    assert listener.clock_s == pytest.approx(3.0)


@pytest.mark.parametrize("lost_s", [0.02, 0.3, 0.9])
def test_a_howl_is_followed_over_a_seam(lost_s):
    samples = growing_line(
        rate_hz=48000, frequency_hz=900.0, growth_db_per_s=40.0, until_s=5.0, total_s=6.0
    )
    lost = slice(3 * 48000, round((3.0 + lost_s) * 48000))
    events = listen(np.delete(samples, lost), rate_hz=48000)
    assert [event.kind for event in events] == ["ringing", "howl", "closed"]
    assert events[-1].at_s == pytest.approx(5.0 - lost_s, abs=0.3)


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        (np.array([0.0, np.nan], dtype=np.float32), "not finite"),
        (np.zeros((10, 2), dtype=np.float32), "one channel"),
    ],
)
def test_bad_samples_are_refused(bad, words):
    with pytest.raises(ValueError, match=words):
        Listener(sample_rate_hz=48000).push(bad)


@pytest.mark.parametrize("rate_hz", KNOWN_HZ)
def test_high_rates_are_brought_down_and_others_are_left_alone(rate_hz):
    """To 36 to 60 kHz, as ``decimate`` says: a slow board has no time for more."""
    factor = decimation_factor(rate_hz)
    assert factor == 1 if rate_hz < 72000 else 36000 <= rate_hz / factor <= 60000


@pytest.mark.parametrize("rate_hz", [4000, 400000])
def test_rates_outside_the_range_are_refused(rate_hz):
    with pytest.raises(ValueError, match="outside 8000 to 192000"):
        Listener(sample_rate_hz=rate_hz)


@pytest.mark.parametrize("offset_bins", np.linspace(-0.5, 0.5, 11))
def test_line_frequency_is_free_of_the_parabola_s_bias(offset_bins):
    # Plain parabola on a Hann spectrum: up to 0.016 bin, twice padded 0.0016 (J. O. Smith,
    # Spectral Audio Signal Processing; worst cases computed numerically for N = 4096).
    n, rate_hz = 4096, 48000
    bin_hz = rate_hz / n
    frequency_hz = (300 + offset_bins) * bin_hz
    samples = np.sin(2 * np.pi * frequency_hz / rate_hz * np.arange(n) + 0.7)
    found = line_frequency_hz(
        samples, sample_rate_hz=rate_hz, near_hz=round(300 + offset_bins) * bin_hz
    )
    assert abs(found - frequency_hz) / bin_hz < 0.0005


@pytest.mark.parametrize("rate_hz", [16000, 44100, 48000])
@pytest.mark.parametrize("frequency_hz", np.arange(244.0, 262.0, 1.5).tolist())
def test_where_two_resolutions_meet_one_line_is_one_ring(frequency_hz, rate_hz):
    samples = growing_line(rate_hz=rate_hz, frequency_hz=frequency_hz, growth_db_per_s=20.0)
    howls = [e.ring for e in listen(samples, rate_hz=rate_hz) if e.kind == "howl"]
    assert [ring.frequency_hz for ring in howls] == pytest.approx([frequency_hz], rel=0.005)


@pytest.mark.parametrize(("rate_hz", "frequency_hz"), [(48000, 1234.0), (44100, 140.0)])
def test_a_trace_is_the_line_s_own_level_hop_by_hop(rate_hz, frequency_hz):
    t = np.arange(int(4.0 * rate_hz)) / rate_hz
    samples = 10.0 ** ((10.0 * t - 60.0) / 20.0) * np.sin(2 * np.pi * frequency_hz * t)
    listener = Listener(sample_rate_hz=rate_hz)
    listener.push(samples)
    whole = listener.trace(frequency_hz, -1.0)
    assert len(whole.times_s) * np.diff(whole.times_s).mean() == pytest.approx(3.0, abs=0.05)
    # A window is heard at its middle; a full-scale sine stands at 0 dB, its lobe 1.76 dB above
    # (the noise bandwidth of a Hann window, 1.5 bins).
    window_s = 0.171 if frequency_hz < 250.0 else 0.0853
    expected = 10.0 * (whole.times_s - window_s / 2.0) - 60.0 + 1.76
    assert whole.level_dbfs == pytest.approx(expected, abs=0.3)
    assert (whole.floor_dbfs < whole.level_dbfs - 20.0).all()
    newer = listener.trace(frequency_hz, whole.times_s[-4])
    assert newer.times_s == pytest.approx(whole.times_s[-3:])
    assert newer.level_dbfs == pytest.approx(whole.level_dbfs[-3:])
    assert len(listener.trace(frequency_hz, whole.times_s[-1]).times_s) == 0


def test_a_trace_of_what_is_not_listened_to_is_refused():
    with pytest.raises(ValueError, match="20 Hz is outside"):
        Listener(sample_rate_hz=48000).trace(20.0, 0.0)


def test_the_harmonics_of_a_clipped_ring_are_no_rings():
    samples = growing_line(
        rate_hz=48000,
        frequency_hz=700.0,
        growth_db_per_s=30.0,
        from_s=0.5,
        until_s=4.0,
        total_s=4.5,
    )
    clipped = np.clip(samples, -0.01, 0.01)
    events = listen(clipped, rate_hz=48000, way="soundcheck")
    assert {round(event.ring.frequency_hz) for event in events} == {700}


def test_a_ring_at_a_multiple_is_told_when_the_louder_one_has_gone():
    louder = growing_line(
        rate_hz=48000,
        frequency_hz=700.0,
        growth_db_per_s=30.0,
        from_s=0.5,
        until_s=5.0,
        total_s=8.0,
    )
    softer = growing_line(
        rate_hz=48000,
        frequency_hz=2100.0,
        growth_db_per_s=20.0,
        from_s=2.0,
        until_s=7.0,
        total_s=8.0,
    )
    events = listen(louder + 0.3 * softer, rate_hz=48000, way="soundcheck")
    begun = [round(e.ring.frequency_hz) for e in events if e.kind == "ringing"]
    assert begun == [700, 2100]
    ended_s = next(e.at_s for e in events if e.kind == "closed")
    assert next(e.at_s for e in events if round(e.ring.frequency_hz) == 2100) > ended_s


def test_a_ring_that_loud_sound_covers_is_over():
    """Its level does not fall: it sinks into what has risen around it."""
    samples = growing_line(
        rate_hz=48000,
        frequency_hz=1000.0,
        growth_db_per_s=20.0,
        limit_dbfs=-45.0,
        until_s=9.0,
        total_s=7.0,
    )
    covered = samples[4 * 48000 :]
    covered += 0.3 * np.random.default_rng(4).standard_normal(len(covered)).astype(np.float32)
    events = listen(samples, rate_hz=48000, way="soundcheck")
    assert [event.kind for event in events] == ["ringing", "howl", "closed"]
    assert 4.0 < events[-1].at_s < 4.5


@pytest.mark.parametrize("frequency_hz", [56.0, 12506.0])
def test_a_line_named_a_little_outside_can_be_traced(frequency_hz):
    listener = Listener(sample_rate_hz=48000)
    listener.push(np.zeros(48000, np.float32))
    assert len(listener.trace(frequency_hz, 0.5).times_s) > 5
