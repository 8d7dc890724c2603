"""The published criteria on signals whose answer is known beforehand."""

from __future__ import annotations

import numpy as np
import pytest

from tests.bench.literature import (
    candidates,
    feedback_existence,
    level_of,
    moving_sum,
    peak_to_average,
    peak_to_harmonics,
    peak_to_neighbours,
    peak_to_threshold,
    peakness,
    persistence,
    slope_deviation,
    sparsity_over_time,
    spectrogram,
    straightness,
    two_stage_slope,
    window_of,
)


def _sine(bins: float, m: int, *, frames: int = 4) -> np.ndarray:
    """A full-scale sine at ``bins`` bins of M = ``m``."""
    return np.sin(2.0 * np.pi * bins / m * np.arange(frames * m) + 0.3).astype(np.float32)


def _spectrum(bins: float, m: int, kind: str = "hann") -> np.ndarray:
    """Spectrogram of the sine, hop m, without the frames that hold silence."""
    return spectrogram(_sine(bins, m), window=window_of(kind, m), hop_samples=m)


def _noise(frames: int, bins: int = 40) -> np.ndarray:
    """Power of complex Gaussian bins, each frame anew."""
    return np.random.default_rng(3).exponential(size=(frames, bins))


@pytest.mark.parametrize("kind", ["rectangle", "hann", "blackman"])
def test_full_scale_sine_reads_0_dbfs(kind: str) -> None:
    power = _spectrum(200.0, 1024, kind)
    assert peak_to_threshold(power)[-1, 200] == pytest.approx(0.0, abs=0.01)


def test_frames_look_back_only() -> None:
    samples = np.zeros(8 * 256, np.float32)
    samples[5 * 256 :] = _sine(40.0, 1024)[: 3 * 256]
    power = spectrogram(samples, window=window_of("hann", 1024), hop_samples=256)
    assert len(power) == 8
    assert level_of(power)[:5].max() < -190.0
    assert level_of(power)[5, 40] > -40.0


# 10 log10(M / 2), the ceiling of the printed normalisation: all power in one bin and its mirror.
@pytest.mark.parametrize(("m", "ceiling_db"), [(2048, 30.1), (4096, 33.1)])
def test_papr_of_a_tone_is_its_ceiling(m: int, ceiling_db: float) -> None:
    power = _spectrum(300.0, m, "rectangle")
    assert peak_to_average(power)[-1, 300] == pytest.approx(ceiling_db, abs=0.02)


def test_papr_of_level_spectrum_is_zero() -> None:
    assert peak_to_average(np.ones((2, 513))) == pytest.approx(np.zeros((2, 513)))


# Least over the place of the sine between two bins, from the windows' transforms.
@pytest.mark.parametrize(
    ("kind", "m", "least_db"),
    [
        ("hann", 1, 0.0),
        ("hann", 2, 14.0),
        ("hann", 3, 30.9),
        ("hann", 4, 40.4),
        ("blackman", 2, 9.5),
        ("blackman", 3, 35.8),
        ("blackman", 4, 57.1),
    ],
)
def test_pnpr_of_a_perfect_sine(kind: str, m: int, least_db: float) -> None:
    found = []
    for offset in np.linspace(-0.5, 0.5, 41):
        power = _spectrum(300.0 + offset, 1024, kind)
        found.append(peak_to_neighbours(power, [m])[-1, 300])
    assert min(found) == pytest.approx(least_db, abs=0.4)


def test_pnpr_takes_the_worst_neighbour_and_says_nothing_at_the_edges() -> None:
    power = np.full((1, 20), 1e-6)
    power[0, 10], power[0, 13] = 1.0, 1e-2
    assert peak_to_neighbours(power, (2, 3, 4))[0, 10] == pytest.approx(20.0)
    assert np.isneginf(peak_to_neighbours(power, (2, 3, 4))[0, [0, 3, 16, 19]]).all()


def test_peakness_counts_sides_and_frames() -> None:
    power = np.full((12, 40), 1e-4)
    power[:, 20] = 1.0
    power[:, 22:28] = 0.1  # 10 dB below on one side: not sharp there
    assert peakness(power)[11, 20] == pytest.approx(0.5)
    power[:, 22:28] = 1e-4
    assert peakness(power)[11, 20] == pytest.approx(1.0)
    assert peakness(power)[3, 20] == pytest.approx(0.5)  # 4 of 8 frames so far


def test_phpr_is_the_least_over_harmonics() -> None:
    power = np.full((1, 200), 1e-8)
    power[0, 20], power[0, 40], power[0, 30] = 1.0, 1e-3, 1e-2
    assert peak_to_harmonics(power, (2.0,))[0, 20] == pytest.approx(30.0)
    assert peak_to_harmonics(power)[0, 20] == pytest.approx(20.0)


def test_phpr_without_a_harmonic_inside_has_no_answer() -> None:
    values = peak_to_harmonics(np.ones((1, 200)), (2.0, 3.0))
    assert np.isneginf(values[0, 100:]).all()
    assert np.isfinite(values[0, 1:100]).all()


def test_candidates_are_the_highest_peaks_only() -> None:
    power = np.ones((1, 30))
    power[0, [5, 10, 15, 20]] = [2.0, 5.0, 4.0, 3.0]
    power[0, 11] = 4.9  # the flank of a peak is no peak
    assert np.flatnonzero(candidates(power)[0]).tolist() == [10, 15, 20]
    assert np.flatnonzero(candidates(np.ones((1, 30)))[0]).tolist() == []


def test_ipmp_of_a_persisting_and_of_a_changing_peak() -> None:
    chosen = np.zeros((10, 5), bool)
    chosen[4:, 2] = True
    chosen[::2, 3] = True
    assert persistence(chosen, 5)[[4, 6, 8, 9], 2] == pytest.approx([0.2, 0.6, 1.0, 1.0])
    assert persistence(chosen, 4)[9, 3] == pytest.approx(0.5)


@pytest.mark.parametrize("frames", [7, 16])
@pytest.mark.parametrize("slope_db", [-3.0, 0.0, 0.4, 5.0])
def test_imsd_of_straight_growth_is_zero(frames: int, slope_db: float) -> None:
    power = 10.0 ** (slope_db * np.arange(30.0)[:, None] / 10.0)
    assert slope_deviation(power, frames)[frames:] == pytest.approx(0.0, abs=1e-9)
    assert np.isnan(slope_deviation(power, frames)[:frames]).all()
    assert np.isneginf(straightness(power, frames)[:frames]).all()


def test_imsd_against_the_formula_written_out() -> None:
    level_db = np.random.default_rng(5).normal(size=20)
    q, t = 7, 15

    def mean_slope(m: int) -> float:
        return sum((level_db[t - j] - level_db[t - m]) / (m - j) for j in range(m)) / m

    expected = sum(mean_slope(q) - mean_slope(m) for m in range(1, q)) / (q - 1)
    found = slope_deviation(10.0 ** (level_db[:, None] / 10.0), q)
    assert found[t, 0] == pytest.approx(expected)


def test_fep_of_a_sharp_growing_line_is_one() -> None:
    power = np.full((20, 40), 1e-9)
    power[:, 20] = 10.0 ** (np.arange(20) / 10.0)
    assert feedback_existence(power)[19, 20] == pytest.approx(1.0)
    jump = power.copy()
    jump[15:, 20] *= 1e3
    assert feedback_existence(jump)[16, 20] < 0.4


def test_two_stage_slope_has_limits_for_rising_and_for_decaying_lines() -> None:
    hop_s = 0.01
    time_s = hop_s * np.arange(20.0)
    levels_db = np.stack(
        [
            300.0 * time_s,  # grows straight
            -500.0 * time_s,  # rings down straight
            -1200.0 * time_s,  # falls too fast
            np.cumsum(np.where(np.arange(20) % 2, 6.0, -4.0)),  # rises in jerks
        ],
        axis=1,
    )
    score = two_stage_slope(10.0 ** (levels_db / 10.0), hop_s=hop_s)
    assert score[10, :2] == pytest.approx([0.0, 0.0], abs=1e-6)
    assert np.isneginf(score[10, 2])
    assert score[10, 3] < -1.0
    assert np.isneginf(score[:5]).all()


def test_two_stage_slope_scales_by_the_published_limit() -> None:
    # A parabola's second difference is its bend: 1e3 dB/s^2 of the mean's 2e3 when rising, and
    # over five slopes 0.01 s apart the slope deviates by 15.8 dB/s of 200.
    time_s = 0.01 * np.arange(12.0)
    level_db = 0.5 * 1e3 * time_s**2 + time_s
    score = two_stage_slope(10.0 ** (level_db[:, None] / 10.0), hop_s=0.01)
    assert score[11, 0] == pytest.approx(-0.5, rel=1e-3)


def test_ninos_between_its_extremes() -> None:
    standing = np.full((40, 1), 0.01)
    single = np.full((40, 1), 1e-20)
    single[39] = 1.0
    assert sparsity_over_time(standing, 32)[39, 0] == pytest.approx(1.0)
    assert sparsity_over_time(single, 32)[39, 0] == pytest.approx(0.0, abs=1e-4)
    assert np.isneginf(sparsity_over_time(standing, 32)[:31]).all()
    # Of Gaussian noise E|Y|^4 = 2 (E|Y|^2)^2, so the ratio of norms is (Q / 2)^(1/4).
    expected = ((96 / 2) ** 0.25 - 1.0) / (96**0.25 - 1.0)
    noise = sparsity_over_time(_noise(400), 96)
    assert noise[95:].mean() == pytest.approx(expected, abs=0.02)


def test_a_loud_past_leaves_nothing_in_a_moving_sum() -> None:
    values = np.full((20, 1), 1e-12)
    values[3] = 1e12
    assert moving_sum(values, 5)[12, 0] == pytest.approx(5e-12)
    assert moving_sum(np.arange(12.0)[:, None], 7)[11, 0] == pytest.approx(sum(range(5, 12)))
    assert moving_sum(np.ones((3, 1)), 7)[2, 0] == pytest.approx(3.0)
