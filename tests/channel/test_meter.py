"""The meter as a whole: any blocks give the same, bad samples are refused, it stays small."""

from __future__ import annotations

import json
import pickle

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.channel.meter import ChannelMeter
from tests.channel.voices import RATE_HZ, noise, note, sine, spoken, sung

SOUND = (0.3 * np.concatenate((sung()[0][: 3 * RATE_HZ], spoken()[:RATE_HZ]))).astype(np.float32)
SOUND += noise(4.0, 1e-3)
SOUND[2 * RATE_HZ : 2 * RATE_HZ + 500] = 1.0


def of_blocks(samples, sizes, *, rate_hz=RATE_HZ, gap_at=()):
    meter = ChannelMeter(rate_hz, scale="digital", low_cuts_hz=(80.0, 100.0))
    first = 0
    k = 0
    while first < len(samples):
        size = sizes[k % len(sizes)]
        meter.push(samples[first : first + size], gap=first in gap_at)
        first += size
        k += 1
    return meter.fields()


WHOLE = of_blocks(SOUND, [len(SOUND)])


@settings(max_examples=12)
@given(st.lists(st.integers(1, 30000), min_size=1, max_size=8).filter(lambda s: sum(s) > 400))
def test_any_blocks_give_the_same_fields(sizes):
    assert of_blocks(SOUND, sizes) == WHOLE


def test_one_sample_at_a_time_gives_the_same():
    short = SOUND[: RATE_HZ // 2]
    assert of_blocks(short, [1]) == of_blocks(short, [len(short)])


def test_an_empty_block_changes_nothing():
    meter = ChannelMeter(RATE_HZ, scale="digital")
    before = meter.fields()
    meter.push(np.zeros(0, np.float32))
    assert meter.fields() == before


@pytest.mark.parametrize(
    "rate_hz", [8000, 11025, 16000, 22050, 32000, 44100, 48000, 88200, 96000, 176400, 192000]
)
def test_every_rate_hears_the_same_note(rate_hz):
    tone = sum(sine(k * 196.0, 4.0, 0.1 / k, rate_hz=rate_hz) for k in range(1, 6))
    fields = of_blocks(tone.astype(np.float32), [1000], rate_hz=rate_hz)
    assert fields["voice"] == "singing"
    assert fields["low_cut"]["lowest_note"] == "G3"  # 196.00 Hz: tables of note frequencies
    assert fields["seconds"] == pytest.approx(4.0, abs=0.03)


@pytest.mark.parametrize("rate_hz", [0, 7999, 192001, -1])
def test_a_rate_that_cannot_be_is_refused(rate_hz):
    with pytest.raises(ValueError, match="8000 to 192000 Hz expected"):
        ChannelMeter(rate_hz, scale="digital")


@pytest.mark.parametrize(
    ("what", "message"),
    [
        ({"scale": "needle"}, 'scale "needle" is not one of "digital", "analogue"'),
        ({"zero_dbfs": 4.0}, "zero_dbfs 4.0; -100 to 0 expected"),
        ({"zero_dbfs": float("nan")}, "zero_dbfs nan"),
        ({"low_cuts_hz": (80.0, 8000.0)}, "low cut at 8000.0 Hz; 10 to 1000 Hz expected"),
        ({"low_cuts_hz": (float("nan"),)}, "low cut at nan Hz"),
        ({"low_cut_slope_db": 6}, "low cut of 6 dB an octave; 12, 18 or 24 expected"),
    ],
)
def test_what_a_meter_cannot_be_made_with_is_refused(what, message):
    with pytest.raises(ValueError, match=message):
        ChannelMeter(RATE_HZ, **{"scale": "digital", **what})


@pytest.mark.parametrize(
    ("samples", "message"),
    [
        (np.array([0.0, np.nan, np.inf]), "2 of 3 samples are not numbers between -1 and 1"),
        (np.array([1e30]), "1 of 1 samples are not numbers"),
        (np.zeros((4, 2)), "one row of float samples of one channel is expected"),
        (np.array(["a"]), "one row of float samples"),
        (np.array([1j]), "one row of float samples"),
    ],
)
def test_samples_that_are_none_are_refused_and_nothing_is_taken_in(samples, message):
    meter = ChannelMeter(RATE_HZ, scale="digital")
    meter.push(SOUND[:RATE_HZ])
    before = meter.fields()
    with pytest.raises(ValueError, match=message):
        meter.push(samples, gap=True)
    assert meter.fields() == before


def test_a_gap_is_counted_and_makes_no_click():
    """Two halves of a tone whose phase jumps at the gap: with the gap told, no flat or loud hop."""
    tone = note(220.0, 6.0, 0.2)
    with_gap = of_blocks(tone, [RATE_HZ], gap_at=(2 * RATE_HZ,))
    assert with_gap["gap_count"] == 1
    assert with_gap["voice"] == "singing"
    assert "gap_count" not in of_blocks(tone, [RATE_HZ])
    assert with_gap["scale"]["reading_db"] == pytest.approx(-14.0, abs=0.1)


def test_full_scale_before_a_gap_does_not_join_full_scale_after_it():
    samples = np.zeros(2 * RATE_HZ, np.float32)
    samples[RATE_HZ - 2 : RATE_HZ + 2] = 1.0
    whole = of_blocks(samples, [RATE_HZ])
    parted = of_blocks(samples, [RATE_HZ], gap_at=(RATE_HZ,))
    assert (whole["clipped_count"], parted["clipped_count"]) == (1, 0)


def test_many_gaps_leave_it_working():
    tone = note(220.0, 6.0, 0.2)
    fields = of_blocks(tone, [4800], gap_at=range(0, len(tone), 4800))
    assert fields["gap_count"] == 60
    assert fields["peak_dbfs"] == pytest.approx(-14.0, abs=0.1)


@pytest.mark.parametrize(
    "samples",
    [SOUND, np.zeros(RATE_HZ, np.float32), noise(2.0, 0.3), np.full(RATE_HZ, 1.0, np.float32)],
    ids=["voice", "silence", "noise", "full scale"],
)
@pytest.mark.parametrize("kind", ["desk", "box", "file"])
def test_the_fields_are_json_without_nulls(samples, kind):
    meter = ChannelMeter(RATE_HZ, scale="analogue", kind=kind, low_cuts_hz=(80.0,))
    for fields in (meter.fields(), (meter.push(samples), meter.fields())[1]):
        text = json.dumps(fields, allow_nan=False)
        assert "null" not in text
        assert json.loads(text) == fields
        assert {"seconds", "state", "advice", "voice", "low_cut", "spectrum"} <= fields.keys()


def test_silence_of_any_length_is_never_the_voice_s_level():
    fields = of_blocks(np.zeros(4 * RATE_HZ, np.float32), [4800])
    assert "loudest" not in fields
    assert fields["noise_dbfs"] == -120.0


def test_an_hour_s_memory_is_that_of_five_minutes():
    """At 8 kHz; every store is full after five minutes, so one more adds nothing."""
    minute = np.tile((0.3 * sung()[0][::6]).astype(np.float32), 5)
    meter = ChannelMeter(8000, scale="digital", low_cuts_hz=(80.0,))
    sizes = []
    for _ in range(6):
        meter.push(minute)
        meter.fields()
        sizes.append(len(pickle.dumps(meter)))
    assert sizes[0] > 10_000  # it sees the stores
    assert sizes[5] - sizes[4] < 40  # numbers that count up take a byte more
    assert meter.seconds == pytest.approx(360.0, abs=0.1)
