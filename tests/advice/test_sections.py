"""Filter sections against scipy and published tables."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import signal

from monitor.advice import sections
from monitor.advice.sections import Shape
from monitor.advice.widths import THIRD_OCTAVE_Q, WIDTHS, Width, q_of, slider_q

RATE_HZ = 48000
GRID_HZ = np.geomspace(20.0, 23000.0, 300)
SHAPES = {
    "proportional peak": sections.peak(-7.0, q=2.0),
    "proportional bump": sections.peak(5.0, q=0.7),
    "constant peak": sections.peak(-7.0, q=4.3, width="constant"),
    "constant bump": sections.peak(7.0, q=4.3, width="constant"),
    "low shelf": sections.low_shelf(-9.0),
    "high shelf": sections.high_shelf(-9.0),
    "low cut": sections.low_cut(),
}


@pytest.mark.parametrize("name", SHAPES)
def test_a_response_is_what_scipy_makes_of_the_coefficients(name: str) -> None:
    shape = SHAPES[name]
    b, a = sections.coefficients(shape, corner_hz=3150.0, sample_rate_hz=RATE_HZ)
    _, expected = signal.freqz(b, a, worN=GRID_HZ, fs=RATE_HZ)
    ratio = sections.ratio_to(3150.0, GRID_HZ, RATE_HZ)
    assert sections.response(shape, ratio) == pytest.approx(expected, abs=1e-9)
    assert sections.level_db(shape, ratio) == pytest.approx(20 * np.log10(np.abs(expected)))


@pytest.mark.parametrize("name", SHAPES)
def test_coefficients_are_scipy_s_bilinear_transform(name: str) -> None:
    shape = SHAPES[name]
    b, a = sections.coefficients(shape, corner_hz=630.0, sample_rate_hz=RATE_HZ)
    warped = 2.0 * RATE_HZ * math.tan(math.pi * 630.0 / RATE_HZ)
    over, under = (p / warped ** np.array([2, 1, 0]) for p in shape)
    expected_b, expected_a = signal.bilinear(over, under, fs=RATE_HZ)
    assert b == pytest.approx(expected_b, abs=1e-12)
    assert a == pytest.approx(expected_a, abs=1e-12)


@pytest.mark.parametrize("name", SHAPES)
def test_without_a_rate_it_is_scipy_s_analogue_response(name: str) -> None:
    shape = SHAPES[name]
    _, expected = signal.freqs(*shape, worN=GRID_HZ / 500.0)
    got = sections.response(shape, sections.ratio_to(500.0, GRID_HZ))
    assert got == pytest.approx(expected, rel=1e-9)


def cookbook_peak(hz: float, gain_db: float, q: float) -> tuple[np.ndarray, np.ndarray]:
    """R. Bristow-Johnson's peakingEQ, line by line."""
    a, turn = 10.0 ** (gain_db / 40.0), 2.0 * math.pi * hz / RATE_HZ
    alpha, cosine = math.sin(turn) / (2.0 * q), math.cos(turn)
    b = np.array([1 + alpha * a, -2 * cosine, 1 - alpha * a])
    under = np.array([1 + alpha / a, -2 * cosine, 1 - alpha / a])
    return b / under[0], under / under[0]


def cookbook_low_shelf(hz: float, gain_db: float, q: float) -> tuple[np.ndarray, np.ndarray]:
    """R. Bristow-Johnson's lowShelf, line by line."""
    a, turn = 10.0 ** (gain_db / 40.0), 2.0 * math.pi * hz / RATE_HZ
    alpha, c, r = math.sin(turn) / (2.0 * q), math.cos(turn), math.sqrt(a)
    b = a * np.array(
        [
            (a + 1) - (a - 1) * c + 2 * r * alpha,
            2 * ((a - 1) - (a + 1) * c),
            (a + 1) - (a - 1) * c - 2 * r * alpha,
        ]
    )
    under = np.array(
        [
            (a + 1) + (a - 1) * c + 2 * r * alpha,
            -2 * ((a - 1) + (a + 1) * c),
            (a + 1) + (a - 1) * c - 2 * r * alpha,
        ]
    )
    return b / under[0], under / under[0]


@pytest.mark.parametrize("hz", [63.0, 1000.0, 12500.0])
@pytest.mark.parametrize("gain_db", [-12.0, -3.0, 6.0])
def test_sections_are_the_cookbook_s(hz: float, gain_db: float) -> None:
    for shape, (b, a) in (
        (sections.peak(gain_db, q=2.1), cookbook_peak(hz, gain_db, 2.1)),
        (sections.low_shelf(gain_db, q=0.7), cookbook_low_shelf(hz, gain_db, 0.7)),
    ):
        got_b, got_a = sections.coefficients(shape, corner_hz=hz, sample_rate_hz=RATE_HZ)
        assert got_b == pytest.approx(b, abs=1e-9)
        assert got_a == pytest.approx(a, abs=1e-9)


def test_a_high_shelf_mirrors_a_low_shelf() -> None:
    """A low shelf is a fall of the whole level and a rise above the corner: textbook."""
    ratio = np.geomspace(0.01, 100.0, 101)
    low = sections.level_db(sections.low_shelf(-8.0), ratio)
    high = sections.level_db(sections.high_shelf(-8.0), 1.0 / ratio)
    assert low == pytest.approx(high, abs=1e-9)
    assert low[[0, 50, 100]] == pytest.approx([-8.0, -4.0, 0.0], abs=0.01)


@pytest.mark.parametrize(
    ("octaves", "q"),
    # Q = 1 / (2^(n/2) - 2^(-n/2)), worked out with a pocket calculator.
    [(1.0, 1.414), (2 / 3, 2.145), (1 / 3, 4.318), (1 / 6, 8.651), (1 / 10, 14.42), (1 / 60, 86.6)],
)
def test_q_of_a_bandwidth(octaves: float, q: float) -> None:
    assert q_of(octaves) == pytest.approx(q, rel=5e-4)


def depth_db(gain_db: float, width: Width, octave: float) -> float:
    shape = sections.peak(gain_db, q=THIRD_OCTAVE_Q, width=width)
    return float(sections.level_db(shape, np.array([2.0**octave]))[0])


@pytest.mark.parametrize(
    ("width", "gain_db", "twelfth", "edge", "next_centre", "two_away"),
    # One slider at Q 4.318, recomputed apart from this code from (s^2 + s sqrt(g)/Q + 1) /
    # (s^2 + s / (sqrt(g) Q) + 1) and (s^2 + s/Q + 1) / (s^2 + s g/Q + 1), to 0.05 dB.
    [
        ("proportional", -6.0, -4.8, -3.0, -1.2, -0.35),
        ("proportional", -12.0, -9.3, -6.0, -2.7, -0.85),
        ("constant", -6.0, -5.3, -4.0, -2.0, -0.7),
        ("constant", -12.0, -11.1, -9.3, -6.0, -2.6),
    ],
)
def test_how_a_cut_spreads(
    width: Width,
    gain_db: float,
    twelfth: float,
    edge: float,
    next_centre: float,
    two_away: float,
) -> None:
    assert depth_db(gain_db, width, 0.0) == pytest.approx(gain_db, abs=1e-9)
    octaves = {1 / 12: twelfth, 1 / 6: edge, 1 / 3: next_centre, 2 / 3: two_away}
    for octave, expected_db in octaves.items():
        assert depth_db(gain_db, width, octave) == pytest.approx(expected_db, abs=0.1)
        assert depth_db(gain_db, width, -octave) == pytest.approx(expected_db, abs=0.1)


def test_constant_width_sliders_reach_their_neighbours_as_published() -> None:
    """Liski and Valimaki, DAFx-17: third-octave sections give 40 % of their gain next door.

    A slider of constant Q does so in the middle of its travel, less when pulled a little, more
    at its end; a proportional one nowhere.
    """
    share = [depth_db(-d, "constant", 1 / 3) / -d for d in (3.0, 6.0, 9.0, 12.0)]
    assert share == sorted(share)
    assert share[1] < 0.4 < share[2] + 0.03
    assert all(depth_db(-d, "proportional", 1 / 3) / -d < 0.25 for d in (3.0, 6.0, 12.0))


@pytest.mark.parametrize("width", WIDTHS)
def test_many_cuts_at_once_are_each_of_them(width: Width) -> None:
    cuts_db = np.array([0.0, -3.0, -12.0])
    ratio = np.geomspace(0.5, 2.0, 7)
    got = sections.level_db(sections.peak(cuts_db, q=3.0, width=width), ratio)
    for row, cut_db in zip(got, cuts_db, strict=True):
        one = sections.level_db(sections.peak(float(cut_db), q=3.0, width=width), ratio)
        assert row == pytest.approx(one, abs=1e-12)
    assert got[0] == pytest.approx(0.0, abs=1e-12)


def test_low_cut_is_scipy_s_butterworth() -> None:
    sos = signal.butter(2, 110.0, "highpass", fs=RATE_HZ, output="sos")
    _, expected = signal.freqz_sos(sos, worN=GRID_HZ, fs=RATE_HZ)
    got = sections.response(sections.low_cut(), sections.ratio_to(110.0, GRID_HZ, RATE_HZ))
    assert got == pytest.approx(expected, abs=1e-9)


def test_a_third_octave_equaliser_has_third_octave_sliders() -> None:
    centres = [1000.0 * 10 ** (k / 10) for k in range(-17, 14)]
    assert slider_q(centres) == pytest.approx([4.333] * 31, rel=0.002)
    assert slider_q([63.0, 125.0, 250.0]) == pytest.approx([1.42] * 3, rel=0.02)
    assert slider_q([1000.0]) == pytest.approx([math.sqrt(2)])
    # Labels that are absurdly near or far stay sliders that somebody could build.
    assert slider_q([1000.0, 1001.0])[0] == pytest.approx(q_of(1 / 12))
    assert slider_q([20.0, 20000.0])[0] == pytest.approx(2 / 3)


@pytest.mark.parametrize(("centre_hz", "rate_hz"), [(0.0, 48000), (24000.0, 48000), (0.0, None)])
def test_impossible_corners_are_refused(centre_hz: float, rate_hz: int | None) -> None:
    with pytest.raises(ValueError, match="must"):
        sections.ratio_to(centre_hz, GRID_HZ, rate_hz)
    with pytest.raises(ValueError, match="must"):
        sections.coefficients(
            Shape(np.ones(3), np.ones(3)), corner_hz=centre_hz, sample_rate_hz=rate_hz or 48000
        )
