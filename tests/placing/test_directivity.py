"""Patterns against published figures; cabinets against what is agreed of all of them."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from monitor.placing import directivity
from monitor.placing.acoustics import BANDS_HZ
from monitor.placing.stage import Pattern
from monitor.placing.stage_file import PATTERNS


@pytest.mark.parametrize(
    ("pattern", "efficiency", "index_db"),
    # J. Eargle, The Microphone Book, 2nd ed., table 6-1.
    [
        ("omni", 1.0, 0.0),
        ("cardioid", 0.33, 4.8),
        ("hypercardioid", 0.25, 6.0),
        ("figure-8", 0.33, 4.8),
    ],
)
def test_random_efficiency(pattern: Pattern, efficiency: float, index_db: float) -> None:
    found = directivity.random_efficiency(pattern)
    assert found == pytest.approx(efficiency, abs=0.005)
    assert -10.0 * math.log10(found) == pytest.approx(index_db, abs=0.1)


@pytest.mark.parametrize("pattern", PATTERNS)
def test_random_efficiency_is_the_mean_over_all_directions(pattern: Pattern) -> None:
    steps = [math.radians(d + 0.5) for d in range(180)]
    total = sum(
        directivity.pattern_amplitude(pattern, math.degrees(a)) ** 2 * math.sin(a) for a in steps
    )
    mean = total / sum(math.sin(a) for a in steps)
    assert directivity.random_efficiency(pattern) == pytest.approx(mean, rel=1e-3)


@pytest.mark.parametrize(
    ("pattern", "null"),
    # Textbook arccos(-A / B); a supercardioid's 126 and a hypercardioid's 110 degrees are printed
    # in every microphone guide (common practice).
    [("cardioid", 180.0), ("supercardioid", 126.0), ("hypercardioid", 109.5), ("figure-8", 90.0)],
)
def test_nulls(pattern: Pattern, null: float) -> None:
    assert directivity.null_deg(pattern) == pytest.approx(null, abs=0.6)
    assert directivity.deafest_deg(pattern) == directivity.null_deg(pattern)


@pytest.mark.parametrize("pattern", ["omni", "subcardioid"])
def test_patterns_without_a_null(pattern: Pattern) -> None:
    assert directivity.null_deg(pattern) is None
    assert directivity.deafest_deg(pattern) == 180.0


@pytest.mark.parametrize(
    ("pattern", "angle_deg", "loss_db"),
    # A + (1 - A) cos, coefficients from a public dictionary of microphones; a cardioid's -6 dB at
    # the side also Eargle, Sound System Design Reference Manual, fig. 4-5.
    [
        ("subcardioid", 90.0, 3.1),
        ("subcardioid", 180.0, 8.0),
        ("cardioid", 90.0, 6.0),
        ("cardioid", 120.0, 12.0),
        ("supercardioid", 90.0, 8.6),
        ("supercardioid", 180.0, 11.7),
        ("hypercardioid", 90.0, 12.0),
        ("hypercardioid", 180.0, 6.0),
        ("figure-8", 120.0, 6.0),
        ("figure-8", 180.0, 0.0),
    ],
)
def test_losses_off_the_axis(pattern: Pattern, angle_deg: float, loss_db: float) -> None:
    found = -20.0 * math.log10(abs(directivity.pattern_amplitude(pattern, angle_deg)))
    assert found == pytest.approx(loss_db, abs=0.1)


@pytest.mark.parametrize("pattern", PATTERNS)
def test_no_null_is_deeper_than_a_real_one(pattern: Pattern) -> None:
    for table, floor_db in zip(
        directivity.microphone_tables(pattern), directivity.REJECTION_DB, strict=True
    ):
        assert len(table) == 181
        assert table[0] == pytest.approx(1.0)
        assert -10.0 * math.log10(min(table)) <= floor_db + 0.3


@pytest.mark.parametrize("pattern", ["cardioid", "supercardioid", "hypercardioid", "figure-8"])
def test_every_band_is_deafest_at_the_null(pattern: Pattern) -> None:
    null = directivity.null_deg(pattern)
    assert null is not None
    for table in directivity.microphone_tables(pattern):
        assert table.index(min(table)) == pytest.approx(null, abs=1.0)


def test_patterns_are_nearly_ideal_where_they_are_not_deep() -> None:
    table = directivity.microphone_tables("cardioid")[3]
    assert 10.0 * math.log10(table[90]) == pytest.approx(-6.0, abs=0.2)  # Eargle fig. 4-5


def test_a_loudspeaker_is_6_db_down_at_the_edge_of_its_coverage() -> None:
    # That is what coverage means (common practice): between the -6 dB points.
    for half in (30, 45, 65):
        table = directivity.loudspeaker_tables(half)[5]
        assert 10.0 * math.log10(table[half]) == pytest.approx(-6.0, abs=0.5)
        assert table[0] == 1.0


def test_a_loudspeaker_is_round_below_and_narrow_above() -> None:
    tables = directivity.loudspeaker_tables(45)
    side = [table[90] for table in tables]
    behind = [table[180] for table in tables]
    assert side == sorted(side, reverse=True)
    assert behind == sorted(behind, reverse=True)
    quality = directivity.directivity_factors(45)
    assert list(quality) == sorted(quality)
    assert quality[0] == pytest.approx(1.0, abs=0.3)


def test_directivity_of_a_narrow_beam_is_that_of_a_cone() -> None:
    # Molloy's formula, 180 / asin(sin(h/2) sin(v/2)), from memory: for 90 by 90 degrees Q is 6.
    # It takes hard edges; soft ones and the sound behind come to somewhat less.
    quality = directivity.directivity_factors(45)[6]
    assert 4.0 < quality < 9.0


def test_every_table_falls_from_the_axis_on() -> None:
    for half in (20, 45, 90, 180):
        for table in directivity.loudspeaker_tables(half):
            assert all(a >= b for a, b in pairwise(table))
            assert min(table) > 0.0


def test_the_cone_decides_where_it_is_wider_than_the_coverage() -> None:
    # 2 J1(x) / x = 0.5 at x = 2.215 (tables of the piston's beam): ka sin(theta) = 2.215.
    hz = 8000.0
    k = 2.0 * math.pi * hz / 343.0
    exact = math.degrees(math.asin(2.215 / (k * directivity.CONE_M / 2.0)))
    assert directivity.edge_of_coverage_deg(1.0, hz) == pytest.approx(exact, rel=0.03)
    assert directivity.edge_of_coverage_deg(45.0, hz) == 45.0
    assert directivity.edge_of_coverage_deg(45.0, 125.0) > 180.0


def test_coverage_between_across_and_up() -> None:
    assert directivity.half_coverage_deg((90.0, 60.0), 1.0, 0.0) == 45
    assert directivity.half_coverage_deg((90.0, 60.0), 0.0, 1.0) == 30
    assert 30 < directivity.half_coverage_deg((90.0, 60.0), 0.7, 0.7) < 45
    assert directivity.half_coverage_deg((90.0, 60.0), 0.0, 0.0) == 37


def test_one_table_a_band() -> None:
    assert len(directivity.REJECTION_DB) == len(directivity.BEHIND_DB) == len(BANDS_HZ)
