"""Image sources of a shoebox room: arrival times, wall hits and angles.

Source: J. B. Allen, D. A. Berkley, "Image method for efficiently simulating small-room
acoustics", J. Acoust. Soc. Am. 65(4), 1979; the small random displacement of images beyond the
first order against sweeping echoes follows E. De Sena et al., IEEE/ACM Trans. ASLP 23(4), 2015.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SOUND_SPEED_M_S = 343.0
OVERSAMPLING = 8
DISPLACEMENT_M = 0.05

Point = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Images:
    """All images within reach: float32 [n] each.

    ``departure_cos`` is the cosine between the source's aim and the way the sound leaves it,
    ``arrival`` [n, 3] the unit vector from the receiver towards the image.
    """

    distance_m: np.ndarray
    hits: np.ndarray
    departure_cos: np.ndarray
    arrival: np.ndarray


def _axis(length_m: float, source_m: float, receiver_m: float, reach_m: float) -> np.ndarray:
    """Return [offset from the receiver, wall hits, mirror sign] of one axis' images."""
    most = int(reach_m / (2.0 * length_m)) + 1
    m = np.repeat(np.arange(-most, most + 1), 2)
    q = np.tile([0, 1], 2 * most + 1)
    offset = (1 - 2 * q) * source_m + 2 * m * length_m - receiver_m
    return np.array([offset, np.abs(m - q) + np.abs(m), 1 - 2 * q], np.float32)


def images(
    *,
    size_m: Point,
    source_m: Point,
    receiver_m: Point,
    aim: Point,
    reach_m: float,
    seed: int,
) -> Images:
    """Return the images of a source whose sound arrives within ``reach_m`` of travel."""
    axes = [
        _axis(size_m[i], source_m[i], receiver_m[i], reach_m)  # three axes, then all combinations
        for i in range(3)
    ]
    x, y, z = (axis[0] for axis in axes)
    squared = (x**2)[:, None, None] + (y**2)[None, :, None] + (z**2)[None, None, :]
    chosen = np.nonzero(squared <= reach_m**2)
    distance = np.sqrt(squared[chosen])
    way = np.stack([axes[i][0][chosen[i]] for i in range(3)], axis=1) / distance[:, None]
    hits = sum(axes[i][1][chosen[i]] for i in range(3))
    # Leaving the true source: towards the receiver, mirrored back where the image is mirrored.
    leaving = -sum(way[:, i] * axes[i][2][chosen[i]] * np.float32(aim[i]) for i in range(3))
    rng = np.random.default_rng(seed)
    shift = rng.standard_normal(len(distance), np.float32) * np.float32(DISPLACEMENT_M)
    # Clipped so that no image comes nearer than a short room allows.
    distance = distance + np.where(hits > 1, np.clip(shift, -0.15, 0.15), 0.0).astype(np.float32)
    return Images(distance, np.asarray(hits), np.asarray(leaving), way)


def placed(found: Images, weights: np.ndarray, *, sample_rate_hz: int, length: int) -> np.ndarray:
    """Return the impulse response [length, complex spectrum of 2 * length] of weighted images.

    Each image is an ideal band-limited impulse at its own fractional delay: written between two
    neighbours of a grid eight times as fine, then brought down in the frequency domain.
    """
    fine = length * 2 * OVERSAMPLING
    place = found.distance_m.astype(np.float64) * (sample_rate_hz * OVERSAMPLING / SOUND_SPEED_M_S)
    whole = place.astype(np.int64)
    fraction = place - whole
    ok = whole < fine // 2 - 1
    whole, fraction, weights = whole[ok], fraction[ok], weights[ok]
    grid = np.bincount(whole, weights * (1.0 - fraction), minlength=fine)
    grid += np.bincount(whole + 1, weights * fraction, minlength=fine)
    from scipy.fft import rfft

    spectrum: np.ndarray = rfft(grid[:fine])[: length + 1]
    return spectrum
