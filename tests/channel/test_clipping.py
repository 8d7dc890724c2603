"""What was cut off at full scale or below it, and what only looks like it."""

from __future__ import annotations

import numpy as np
import pytest

from firmware import ports
from monitor.channel.clipping import FULL_SCALE, clipped_runs, flat_tops
from monitor.channel.meter import ChannelMeter
from tests.channel.voices import RATE_HZ, db, noise, sine, spoken, sung


def metered(samples, rate_hz=RATE_HZ):
    meter = ChannelMeter(rate_hz, scale="digital")
    meter.push(samples)
    return meter.fields()


@pytest.mark.parametrize("code", [1.0, FULL_SCALE, -1.0, 1.7, -(2.0**15 - 1) / 2.0**15])
@pytest.mark.parametrize(("run", "found"), [(1, 0), (2, 0), (3, 1), (50, 1)])
def test_three_in_a_row_at_full_scale_are_one(code, run, found):
    samples = np.zeros(200)
    samples[60 : 60 + run] = code
    assert clipped_runs(samples, 150) == found


def test_the_run_counts_where_its_third_sample_is():
    samples = np.zeros(203)
    samples[1:4] = 1.0  # the third just before the new ones
    assert clipped_runs(samples, 199) == 0
    assert clipped_runs(samples, 200) == 1


def test_a_jump_from_one_end_to_the_other_is_no_run():
    assert clipped_runs(np.array([0.0, 0.0, 1.0, 1.0, -1.0, -1.0, 0.0]), 4) == 0


@pytest.mark.parametrize("keep", [np.minimum, np.maximum], ids=["above", "below"])
def test_clipping_on_one_side_only_is_counted_once_a_period(keep):
    loud = 1.5 * sine(200.0, 3.0, 1.0)
    limit = np.float32(1.0 if keep is np.minimum else -1.0)
    other_side = np.float32(0.5) * sine(200.0, 3.0, 1.0)
    one_sided = np.where(np.sign(loud) == np.sign(limit), keep(loud, limit), other_side)
    fields = metered(one_sided)
    # 200 periods a second for the 3 s.
    assert fields["clipped_count"] == pytest.approx(600, abs=2)
    assert fields["state"] == "clipping"
    assert fields["clipped_now"] is True


def test_what_clipped_is_told_whatever_the_blocks():
    loud = np.clip(1.4 * sung()[0], -1.0, 1.0)
    counts = set()
    for size in (7, 64, 961, len(loud)):
        meter = ChannelMeter(RATE_HZ, scale="digital")
        for first in range(0, len(loud), size):
            meter.push(loud[first : first + size])
        counts.add(meter.fields()["clipped_count"])
    assert len(counts) == 1
    assert counts.pop() > 100


def test_a_sound_that_just_fits_is_not_clipped():
    fields = metered((np.round(0.99 * sung()[0] * 2**15) / 2**15).astype(np.float32))
    assert fields["clipped_count"] == 0
    assert "flat_top_dbfs" not in fields


def test_flat_tops_below_full_scale_are_told_with_their_level():
    once_clipped = np.float32(0.5) * np.clip(2.5 * sung()[0], -1.0, 1.0)
    fields = metered(once_clipped[: 6 * RATE_HZ])
    assert fields["clipped_count"] == 0
    assert fields["flat_top_dbfs"] == pytest.approx(db(0.5), abs=0.06)
    assert fields["state"] == "clipping"
    assert "may be clipping" in fields["advice"]["detail"]


def coded(samples, bits):
    return (np.round(samples * 2 ** (bits - 1)) / 2 ** (bits - 1)).astype(np.float32)


@pytest.mark.parametrize(
    ("samples", "rate_hz"),
    [
        (coded(sine(60.0, 4.0, 0.9, rate_hz=192000), 16), 192000),
        (coded(sine(30.0, 4.0, 0.3, rate_hz=192000), 16), 192000),
        (coded(0.8 * sung()[0], 16), RATE_HZ),
        (coded(0.8 * spoken(), 16), RATE_HZ),
        (coded(noise(4.0, 0.2), 16), RATE_HZ),
        (np.full(4 * RATE_HZ, 0.25, np.float32), RATE_HZ),
    ],
    ids=["round tops", "rounder tops", "sung", "spoken", "noise", "steady"],
)
def test_round_tops_in_sixteen_bits_are_not_flat(samples, rate_hz):
    assert "flat_top_dbfs" not in metered(samples, rate_hz)


def test_a_flat_top_needs_lower_neighbours_on_both_sides():
    ledge = np.array([0.1, 0.2, 0.5, 0.5, 0.5, 0.8, 0.1])
    top = np.array([0.1, 0.2, 0.5, 0.5, 0.5, 0.2, 0.1])
    assert len(flat_tops(ledge, 6)) == 0
    assert list(flat_tops(top, 6)) == [0.5]
    assert list(flat_tops(-top, 6)) == [0.5]
    assert len(flat_tops(top, 1)) == 0  # it ended before the new ones


def test_line_and_microphone_have_one_full_scale():
    assert FULL_SCALE == ports.FULL_SCALE
