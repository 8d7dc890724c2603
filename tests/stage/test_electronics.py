"""Equaliser sections, low cut, convolution and limiters against scipy and published tables."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import signal

from monitor.stage.dynamics import LIMITERS, Compressor, limiter
from monitor.stage.filters import (
    THIRD_OCTAVE_Q,
    band_limit_response,
    equaliser_response,
    low_cut_response,
    peaking_section,
    section_response,
    slider_q,
)
from monitor.stage.fir import PartitionedFir, convolved, folded

RATE_HZ = 48000


def cut_db(at_hz: float, gain_db: float, centre_hz: float = 1000.0) -> float:
    b, a = peaking_section(
        centre_hz=centre_hz, gain_db=gain_db, q=THIRD_OCTAVE_Q, sample_rate_hz=RATE_HZ
    )
    return 20 * math.log10(abs(section_response(b, a, np.array([at_hz]), RATE_HZ)[0]))


@pytest.mark.parametrize(
    ("gain_db", "twelfth", "edge", "next_centre", "two_away"),
    # One slider at Q 4.318, half-gain bandwidth; recomputed from the analogue section
    # (s^2 + s sqrt(g)/Q + 1) / (s^2 + s / (sqrt(g) Q) + 1), rounded to 0.05 dB.
    [(-6.0, -4.8, -3.0, -1.2, -0.35), (-12.0, -9.3, -6.0, -2.7, -0.85)],
)
def test_how_a_cut_spreads(
    gain_db: float, twelfth: float, edge: float, next_centre: float, two_away: float
) -> None:
    assert cut_db(1000.0, gain_db) == pytest.approx(gain_db, abs=0.01)
    octaves = {1 / 12: twelfth, 1 / 6: edge, 1 / 3: next_centre, 2 / 3: two_away}
    for octave, expected_db in octaves.items():
        assert cut_db(1000.0 * 2**octave, gain_db) == pytest.approx(expected_db, abs=0.1)
        assert cut_db(1000.0 / 2**octave, gain_db) == pytest.approx(expected_db, abs=0.1)


def test_a_section_is_what_scipy_makes_of_its_coefficients() -> None:
    b, a = peaking_section(centre_hz=3150.0, gain_db=-7.0, q=2.0, sample_rate_hz=RATE_HZ)
    frequency_hz = np.geomspace(20, 23000, 200)
    _, expected = signal.freqz(b, a, worN=frequency_hz, fs=RATE_HZ)
    assert section_response(b, a, frequency_hz, RATE_HZ) == pytest.approx(expected, abs=1e-10)


def test_low_cut_is_scipy_s_butterworth() -> None:
    sos = signal.butter(2, 110.0, "highpass", fs=RATE_HZ, output="sos")
    frequency_hz = np.geomspace(5, 20000, 200)
    _, expected = signal.freqz_sos(sos, worN=frequency_hz, fs=RATE_HZ)
    got = low_cut_response(corner_hz=110.0, frequency_hz=frequency_hz, sample_rate_hz=RATE_HZ)
    assert got == pytest.approx(expected, abs=1e-9)


def test_band_limits_are_three_decibels_down() -> None:
    got = band_limit_response(low_hz=80, high_hz=15000, frequency_hz=np.array([80.0, 15000.0]))
    assert 20 * np.log10(np.abs(got)) == pytest.approx([-3.01, -3.01], abs=0.02)


def test_a_third_octave_equaliser_has_third_octave_sliders() -> None:
    centres = [1000.0 * 10 ** (k / 10) for k in range(-17, 14)]
    assert slider_q(centres) == pytest.approx([4.333] * 31, rel=0.002)
    assert slider_q([63.0, 125.0, 250.0]) == pytest.approx([1.42] * 3, rel=0.02)
    assert slider_q([1000.0]) == pytest.approx([math.sqrt(2)])


def test_sliders_add_up_in_decibels() -> None:
    frequency_hz = np.array([1000.0])
    both = equaliser_response(
        centres_hz=[800.0, 1000.0, 1250.0],
        cuts_db=[-3.0, 0.0, -3.0],
        frequency_hz=frequency_hz,
        sample_rate_hz=RATE_HZ,
    )
    one = equaliser_response(
        centres_hz=[800.0, 1000.0, 1250.0],
        cuts_db=[-3.0, 0.0, 0.0],
        frequency_hz=frequency_hz,
        sample_rate_hz=RATE_HZ,
    )
    other = equaliser_response(
        centres_hz=[800.0, 1000.0, 1250.0],
        cuts_db=[0.0, 0.0, -3.0],
        frequency_hz=frequency_hz,
        sample_rate_hz=RATE_HZ,
    )
    assert both == pytest.approx(one * other)
    assert abs(both[0]) < abs(one[0]) < 1.0


@pytest.mark.parametrize(("centre_hz", "q"), [(0.0, 1.0), (24000.0, 1.0), (1000.0, 0.0)])
def test_impossible_sections_are_refused(centre_hz: float, q: float) -> None:
    with pytest.raises(ValueError, match="must"):
        peaking_section(centre_hz=centre_hz, gain_db=-3.0, q=q, sample_rate_hz=RATE_HZ)


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
    b, a = peaking_section(centre_hz=2000.0, gain_db=-9.0, q=2.0, sample_rate_hz=RATE_HZ)
    size = 8192
    grid = np.fft.rfftfreq(size, 1 / RATE_HZ)
    got = folded(taps, section_response(b, a, grid, RATE_HZ), size=size, length=1000, delay=7)
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
