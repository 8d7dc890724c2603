"""Howling criteria of the literature, each from its published formula, over a whole spectrogram.

Conventions
-----------
``power`` is |Y|^2 as ``spectrogram`` gives it, float [n_frames, n_bins], oldest frame first.
Every criterion is float [n_frames, n_bins], larger where it is more like howling, and looks at
this frame and earlier ones only; -inf where the formula has nothing to say (too little past, no
neighbour).  Levels in dB, slopes in dB a frame unless a name says otherwise.

Sources
-------
FIFTY : T. van Waterschoot, M. Moonen, "Fifty Years of Acoustic Feedback Control: State of the Art
    and Future Challenges", Proc. IEEE 99(2), 2011, section V-B and eq. 39-51, 105-106.
SLOPE : Y. Alkaher, I. Cohen, "Temporal Howling Detector for Speech Reinforcement Systems",
    Acoustics 4(4), 2022, with the limits of the authors' public code.
NINOS : M. Mounir, G. Bernardi, T. van Waterschoot, "Robust and early howling detection based on a
    sparsity measure", EURASIP J. Audio, Speech, Music Process., 2025, eq. 8-14 and 20-21.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

LEAST_POWER = 1e-20
"""-200 dB: digital silence has a level too."""

FIFTY_RATIOS = (0.5, 1.5, 2.0, 3.0, 4.0)
"""Harmonics and subharmonics of eq. 46."""
LATER_RATIOS = (2.0, 3.0, 4.0)
LATER_NEIGHBOURS = (2, 3, 4)
"""The best sets of the authors' comparison of 2010, kept by NINOS."""
CANDIDATES = 3
"""Of a frame, in the evaluations of FIFTY section VII-A."""

PEAKNESS_FRAMES = 8
PEAKNESS_NEIGHBOURS = tuple(range(2, 8))
PEAKNESS_DB = 15.0

SLOPE_FRAMES = 6
RISING_LIMITS = (200.0, 2e3, 1e4)
FALLING_LIMITS = (200.0, 1e4, 3e4)
"""SLOPE: deviation of the slope in dB/s, mean and rms of its change in dB/s^2."""
STEEPEST_FALL_DB_PER_S = -1000.0


def window_of(kind: str, n: int) -> np.ndarray:
    """Periodic window, float [n]: "rectangle", "hann", "blackman" (FIFTY's choice)."""
    turn = 2.0 * np.pi * np.arange(n) / n
    terms = {"rectangle": (1.0,), "hann": (0.5, 0.5), "blackman": (0.42, 0.5, 0.08)}
    if kind not in terms:
        raise ValueError(f"window {kind!r} is unknown; known: {', '.join(terms)}")
    window = np.zeros(n)
    for k, weight in enumerate(terms[kind]):
        window += (-1.0) ** k * weight * np.cos(k * turn)
    return window


def spectrogram(samples: np.ndarray, *, window: np.ndarray, hop_samples: int) -> np.ndarray:
    """Power of every hop, float64 [n_frames, n_bins]; a full-scale sine reads 1 in its bin.

    Frame k holds the last samples up to (k + 1) * ``hop_samples``; before the first is silence.
    """
    n = len(window)
    padded = np.concatenate([np.zeros(n - hop_samples, np.float32), samples])
    frames = np.lib.stride_tricks.sliding_window_view(padded, n)[::hop_samples]
    scale = (2.0 / window.sum()) ** 2
    parts = []
    for first in range(0, len(frames), 256):  # a few megabytes at a time
        spectrum = np.fft.rfft(frames[first : first + 256] * window)
        parts.append((spectrum.real**2 + spectrum.imag**2) * scale)
    return np.concatenate(parts) + LEAST_POWER


def level_of(power: np.ndarray) -> np.ndarray:
    """Power in dB."""
    level_db: np.ndarray = 10.0 * np.log10(power)
    return level_db


def candidates(power: np.ndarray, count: int = CANDIDATES) -> np.ndarray:
    """The ``count`` highest peaks of each frame, bool [n_frames, n_bins] (FIFTY section V-B1)."""
    peaks = np.zeros(power.shape)
    middle = power[:, 1:-1]
    is_peak = (middle > power[:, :-2]) & (middle >= power[:, 2:])
    peaks[:, 1:-1] = middle * is_peak
    highest = np.argpartition(-peaks, count, axis=1)[:, :count]
    chosen = np.zeros(power.shape, bool)
    np.put_along_axis(chosen, highest, True, axis=1)
    return chosen & (peaks > 0.0)


def moving_sum(values: np.ndarray, frames: int) -> np.ndarray:
    """Sum over this and the ``frames`` - 1 frames before it; what lies before the first is 0.

    By doubling, so that nothing is ever subtracted: a loud past leaves no error in a quiet
    present.
    """
    total = np.zeros(values.shape)
    done, length, block = 0, 1, values.astype(float)
    while length <= frames:
        if frames & length:
            total += _later(block, done)
            done += length
        block = block + _later(block, length)
        length *= 2
    return total


def _later(values: np.ndarray, frames: int) -> np.ndarray:
    """Each frame's values put at ``frames`` frames later; zeros come in."""
    moved = np.zeros(values.shape, values.dtype)
    if frames < len(values):
        moved[frames:] = values[: len(values) - frames]
    return moved


def peak_to_threshold(power: np.ndarray) -> np.ndarray:
    """PTPR: the peak's level (FIFTY eq. 41-42), dB beside full scale.

    Published against 85 dB SPL; a microphone nobody calibrated knows only its full scale.
    """
    return level_of(power)


def peak_to_average(power: np.ndarray) -> np.ndarray:
    """PAPR: the peak over the mean of all M bins (FIFTY eq. 43-45), dB.

    With this normalisation, the printed one, a steady tone reaches 10 log10(M/2) at most, 33.1 dB
    for M = 4096; the printed thresholds of 33 and 55 dB must have meant another.
    """
    bins = 2 * (power.shape[1] - 1)
    mean = (2.0 * power.sum(axis=1) - power[:, 0] - power[:, -1]) / bins
    return level_of(power / mean[:, None])


def peak_to_harmonics(power: np.ndarray, ratios: Sequence[float] = FIFTY_RATIOS) -> np.ndarray:
    """PHPR: the least ratio of the peak to its (sub)harmonics (FIFTY eq. 46), dB.

    Every ratio must pass the threshold, so the least decides.  Read at the nearest bin; a place
    outside the spectrum is not tested, and a bin with none inside has no answer.
    """
    level_db = level_of(power)
    n = power.shape[1]
    bins = np.arange(n)
    least_db = np.full(power.shape, np.inf)
    for ratio in ratios:
        place = np.rint(ratio * bins).astype(int)
        tested = np.flatnonzero((place < n) & (place != bins))
        least_db[:, tested] = np.minimum(
            least_db[:, tested], level_db[:, tested] - level_db[:, place[tested]]
        )
    least_db[np.isinf(least_db)] = -np.inf
    return least_db


def peak_to_neighbours(
    power: np.ndarray, neighbours: Sequence[int] = LATER_NEIGHBOURS
) -> np.ndarray:
    """PNPR: the least ratio of the peak to the bins +-m (FIFTY eq. 47), dB."""
    level_db = level_of(power)
    reach = max(neighbours)
    n = power.shape[1]
    here = level_db[:, reach : n - reach]
    least_db = np.full(power.shape, -np.inf)
    least_db[:, reach : n - reach] = np.min(
        [here - level_db[:, reach + m : n - reach + m] for k in neighbours for m in (-k, k)],
        axis=0,
    )
    return least_db


def peakness(power: np.ndarray) -> np.ndarray:
    """Part of 8 frames and 2 sides that stands 15 dB over its neighbours 2 to 7 (FIFTY eq. 48-49).

    The mean of the neighbours' ratios is taken in dB.
    """
    level_db = level_of(power)
    reach = max(PEAKNESS_NEIGHBOURS)
    n = power.shape[1]
    here = level_db[:, reach : n - reach]
    sharp_sides = np.zeros(power.shape)
    for side in (-1, 1):
        around = [level_db[:, reach + side * m : n - reach + side * m] for m in PEAKNESS_NEIGHBOURS]
        sharp_sides[:, reach : n - reach] += here - np.mean(around, axis=0) >= PEAKNESS_DB
    return moving_sum(sharp_sides, PEAKNESS_FRAMES) / (2 * PEAKNESS_FRAMES)


def persistence(chosen: np.ndarray, frames: int) -> np.ndarray:
    """IPMP: part of the last ``frames`` frames in which the bin was a candidate (FIFTY eq. 50).

    FIFTY takes 5 frames and 3/5 of them, NINOS 64 frames.
    """
    return moving_sum(chosen, frames) / frames


def slope_weights(frames: int) -> np.ndarray:
    """FIFTY eq. 51 as weights on the levels of this frame and the ``frames`` before it, [Q + 1].

    The mean slope over m frames is that of the chords from the level m frames ago to every later
    one; the deviation is the mean over m of the long term's slope (m = Q) less the short term's.
    """
    slopes = np.zeros((frames + 1, frames + 1))
    for m in range(1, frames + 1):
        for j in range(m):
            chord = 1.0 / (m * (m - j))
            slopes[m, j] += chord
            slopes[m, m] -= chord
    return slopes[frames] - slopes[1:frames].mean(axis=0)


def slope_deviation(power: np.ndarray, frames: int = 7) -> np.ndarray:
    """IMSD (FIFTY eq. 51), dB a frame, with its sign; 0 for growth along a straight line.

    Q = 7 in FIFTY; 8 for speech and 16 for music in NINOS.  NaN where the past is too short.
    """
    level_db = level_of(power)
    deviation = np.full(power.shape, np.nan)
    deviation[frames:] = 0.0
    for j, weight in enumerate(slope_weights(frames)):
        deviation[frames:] += weight * level_db[frames - j : len(level_db) - j]
    return deviation


def straightness(power: np.ndarray, frames: int = 7) -> np.ndarray:
    """Minus the size of IMSD, to be compared with minus a threshold (0.05 in FIFTY)."""
    return np.nan_to_num(-np.abs(slope_deviation(power, frames)), nan=-np.inf)


def feedback_existence(power: np.ndarray) -> np.ndarray:
    """FEP: 0.7 slopeness + 0.3 peakness, slopeness = exp(-|IMSD|) (FIFTY eq. 105-106)."""
    return 0.7 * np.exp(straightness(power)) + 0.3 * peakness(power)


def two_stage_slope(power: np.ndarray, *, hop_s: float) -> np.ndarray:
    """The slope detector of SLOPE, rising and decaying lines, over ``SLOPE_FRAMES`` frames.

    Minus the largest of three figures, each beside its published limit: deviation of the slope,
    mean of the slope's change, rms of the slope's change.  So -1 is the published operating
    point, and a threshold moves all limits together.  Lines that decay have limits of their own
    and none is considered that falls by more than 1000 dB/s.

    The paper's check for false alarms over the last 1.2 s, whose rule is not printed as a
    formula, its gate of audibility (it needs a calibrated microphone), and its leaving out of
    all up to 1 kHz (music howls there) are not part of this.
    """
    level_db = level_of(power)
    slope = np.diff(level_db, axis=0) / hop_s
    bend = np.diff(slope, axis=0) / hop_s
    n_slopes, n_bends = SLOPE_FRAMES - 1, SLOPE_FRAMES - 2
    score = np.full(power.shape, -np.inf)
    if len(power) < SLOPE_FRAMES:
        return score
    slopes = np.lib.stride_tricks.sliding_window_view(slope, n_slopes, axis=0)
    bends = np.lib.stride_tricks.sliding_window_view(bend, n_bends, axis=0)
    mean_slope = slopes.mean(axis=2)
    figures = (
        slopes.std(axis=2, ddof=1),
        np.abs(bends.mean(axis=2)),
        np.sqrt((bends**2).mean(axis=2)),
    )

    def beside(limits: tuple[float, ...]) -> np.ndarray:
        worst: np.ndarray = np.max(
            [figure / limit for figure, limit in zip(figures, limits, strict=True)], axis=0
        )
        return worst

    falling = np.where(mean_slope > STEEPEST_FALL_DB_PER_S, beside(FALLING_LIMITS), np.inf)
    score[SLOPE_FRAMES - 1 :] = -np.where(mean_slope > 0.0, beside(RISING_LIMITS), falling)
    return score


def sparsity_over_time(power: np.ndarray, frames: int) -> np.ndarray:
    """NINOS^2-T: how evenly the bin's last ``frames`` magnitudes are spread (NINOS eq. 20-21).

    0 for a single frame with energy, 1 for a magnitude that stands.  32 frames for speech, 96
    for music, at 50 frames a second and M = 1024.
    """
    if frames < 2:
        raise ValueError(f"frames={frames} must be at least 2")
    norm_2 = np.sqrt(moving_sum(power, frames))
    norm_4 = moving_sum(power**2, frames) ** 0.25
    spread = (norm_2 / norm_4 - 1.0) / (frames**0.25 - 1.0)
    spread[: frames - 1] = -np.inf
    return spread
