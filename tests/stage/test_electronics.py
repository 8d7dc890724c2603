"""The channel's low cut, band limits, convolution and limiters against scipy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import signal

from monitor.advice.equaliser import Equaliser
from monitor.advice.sections import coefficients, peak
from monitor.stage.dynamics import LIMITERS, Compressor, limiter
from monitor.stage.filters import band_limit_response, low_cut_response, peaking_response
from monitor.stage.fir import PartitionedFir, convolved, folded
from monitor.stage.loop import StageLoop
from monitor.stage.scenario import DEFAULT_ROOM

RATE_HZ = 48000


def test_low_cut_is_scipy_s_butterworth() -> None:
    sos = signal.butter(2, 110.0, "highpass", fs=RATE_HZ, output="sos")
    frequency_hz = np.geomspace(5, 20000, 200)
    _, expected = signal.freqz_sos(sos, worN=frequency_hz, fs=RATE_HZ)
    got = low_cut_response(corner_hz=110.0, frequency_hz=frequency_hz, sample_rate_hz=RATE_HZ)
    assert got == pytest.approx(expected, abs=1e-9)


def test_band_limits_are_three_decibels_down() -> None:
    got = band_limit_response(low_hz=80, high_hz=15000, frequency_hz=np.array([80.0, 15000.0]))
    assert 20 * np.log10(np.abs(got)) == pytest.approx([-3.01, -3.01], abs=0.02)


def test_the_stage_does_what_advice_reckons_with() -> None:
    """The whole loop's level falls by the equaliser's response, filters moved and all."""
    loop = StageLoop(room=DEFAULT_ROOM, programme="silence", low_cut_hz=0.0)
    grid_hz = np.geomspace(150.0, 9000.0, 40)
    before = loop.loop_response(grid_hz)
    plain = Equaliser.from_settings("parametric")
    moved = plain.with_sliders([plain.sliders[0].moved(1100.0, 3.0), *plain.sliders[1:]])
    loop.equalise(moved, [-9.0, 0.0, 0.0, 0.0])
    change = loop.loop_response(grid_hz) / before
    expected = moved.response([9.0, 0.0, 0.0, 0.0], grid_hz, RATE_HZ)
    assert change == pytest.approx(expected, abs=0.02)
    first = loop.equaliser.sliders[0]
    assert (first.label, first.centre_hz) == ("filter 1", 1100.0)
    assert loop.cuts_db == [-9.0, 0.0, 0.0, 0.0]


@pytest.mark.parametrize("cuts_db", [[], [-1.0], [1.0, 0.0, 0.0, 0.0], [math.nan, 0.0, 0.0, 0.0]])
def test_cuts_that_do_not_fit_change_nothing(cuts_db: list[float]) -> None:
    loop = StageLoop(room=DEFAULT_ROOM, programme="silence")
    with pytest.raises(ValueError, match="4 cuts of 0 dB or less expected"):
        loop.equalise(Equaliser.from_settings("parametric"), cuts_db)
    assert len(loop.equaliser.sliders) == 31


@pytest.mark.parametrize("block", [64, 192, 256])
def test_convolution_in_blocks_is_convolution(block: int) -> None:
    rng = np.random.default_rng(3)
    taps, x = rng.standard_normal(1000), rng.standard_normal(block * 12)
    fir = PartitionedFir(taps, block=block)
    got = np.concatenate([fir.push(x[i : i + block]) for i in range(0, len(x), block)])
    expected = np.convolve(x, taps)[: len(x)]
    assert got == pytest.approx(expected, abs=2e-3)
    assert convolved(x, taps) == pytest.approx(expected, abs=2e-3)


def test_folding_is_filtering() -> None:
    rng = np.random.default_rng(4)
    taps = rng.standard_normal(500) * np.exp(-np.arange(500) / 80)
    size = 8192
    grid = np.fft.rfftfreq(size, 1 / RATE_HZ)
    bump = peaking_response(
        centre_hz=2000.0, gain_db=-9.0, q=2.0, frequency_hz=grid, sample_rate_hz=RATE_HZ
    )
    got = folded(taps, bump, size=size, length=1000, delay=7)
    b, a = coefficients(peak(-9.0, q=2.0), corner_hz=2000.0, sample_rate_hz=RATE_HZ)
    expected = signal.lfilter(b, a, np.pad(taps, (7, 493)))
    assert got == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize("kind", LIMITERS)
def test_limiters_hold_their_bounds(kind: str) -> None:
    end = limiter(kind)  # type: ignore[arg-type]
    x = np.linspace(-50, 50, 1001)
    most = 4.0 if kind == "none" else 1.0
    assert np.abs(end(x)).max() <= most
    assert np.all(np.diff(end(x)) >= 0.0)
    assert end(np.array([0.01]))[0] == pytest.approx(0.01, rel=1e-3)


def test_unknown_limiter_is_refused() -> None:
    with pytest.raises(ValueError, match="unknown"):
        limiter("velvet")  # type: ignore[arg-type]


def test_a_compressor_reaches_its_ratio() -> None:
    # 12 dB over the threshold at 4:1 comes out 3 dB over: 9 dB less.
    squeeze = Compressor(threshold_db=-20.0, ratio=4.0, block_s=0.005)
    level = 10 ** (-8.0 / 20.0)
    for _ in range(400):
        out = squeeze.push(np.full(240, level))
    assert 20 * math.log10(out[-1]) == pytest.approx(-17.0, abs=0.05)
    for _ in range(800):
        out = squeeze.push(np.full(240, 0.01))
    assert out[-1] == pytest.approx(0.01, rel=0.01)
