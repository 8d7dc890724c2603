"""Sounds put together from tones, noises and a room: float32 [n], full scale 1."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

Partials = Sequence[tuple[float, float]]
"""Ratio to the fundamental and level in dB below it, of each."""

SILENT_DB = -100.0
"""Under the noise floor of every sound here, and not worth computing."""

PURE: Partials = ((1.0, 0.0),)
FLUTE: Partials = ((1, 0), (2, -14), (3, -24), (4, -34))
RECORDER: Partials = ((1, 0), (2, -26), (3, -22), (5, -38))
ORGAN: Partials = ((0.5, -6), (1, 0), (1.5, -9), (2, -6), (3, -9), (4, -12), (6, -15), (8, -18))
STRING: Partials = tuple((k, -6.0 * math.log2(k) - 2.0 * (k - 1)) for k in range(1, 9))
SAW: Partials = tuple((k, -6.02 * math.log2(k)) for k in range(1, 13))


class Maker:
    """One sound of ``seconds`` at ``sample_rate_hz``; its parts are added to ``sound``."""

    def __init__(self, *, sample_rate_hz: int, seconds: float, seed: int) -> None:
        self.sample_rate_hz = sample_rate_hz
        self.rng = np.random.default_rng(seed)
        self.t = np.arange(round(seconds * sample_rate_hz)) / sample_rate_hz
        self.sound = np.zeros(len(self.t))

    def add_tone(
        self,
        frequency_hz: float | np.ndarray,
        level_dbfs: float | np.ndarray,
        partials: Partials = PURE,
    ) -> None:
        """Partials of one gliding fundamental; nothing is added above 0.45 of the rate."""
        levels_db = np.broadcast_to(level_dbfs, self.t.shape)
        heard = np.flatnonzero(levels_db > SILENT_DB)
        part = slice(heard[0], heard[-1] + 1)
        frequency = np.broadcast_to(frequency_hz, self.t.shape)[part]
        turns = np.cumsum(frequency) / self.sample_rate_hz
        amplitude = (10.0 ** (levels_db[part] / 20.0)).astype(np.float32)
        for ratio, below_db in partials:
            if ratio * frequency.max() < 0.45 * self.sample_rate_hz:
                place = ratio * turns + self.rng.uniform()
                place -= np.floor(place)  # within one turn single precision will do, thrice as fast
                wave = np.sin((2.0 * math.pi * place).astype(np.float32))
                self.sound[part] += 10.0 ** (below_db / 20.0) * (amplitude * wave)

    def add_noise(self, level_dbfs: float | np.ndarray, *, slope: float = 0.0) -> None:
        """Noise of this rms; its power goes with frequency to the ``slope`` (-1: pink)."""
        self.sound += 10.0 ** (np.asarray(level_dbfs) / 20.0) * self.noise(slope)

    def noise(self, slope: float) -> np.ndarray:
        """Noise of rms 1."""
        n = len(self.t)
        shape = np.maximum(np.fft.rfftfreq(n, 1.0 / self.sample_rate_hz), 20.0) ** (slope / 2.0)
        noise = np.fft.irfft(np.fft.rfft(self.rng.standard_normal(n)) * shape, n)
        return np.asarray(noise / np.sqrt(np.mean(noise**2)))

    def wander(self, *, rate_hz: float) -> np.ndarray:
        """Something that wanders at random, slower than ``rate_hz``, rms 1."""
        points = self.rng.standard_normal(int(self.t[-1] * 2.0 * rate_hz) + 4)
        smooth = np.interp(self.t * 2.0 * rate_hz, np.arange(len(points)), points)
        return np.asarray(smooth / np.sqrt(np.mean(smooth**2)))

    def played(
        self, start_s: float, end_s: float, *, attack_s: float, release_db_per_s: float = 300.0
    ) -> np.ndarray:
        """Level in dB of a note: an attack linear in amplitude, 0 dB, and a straight decay."""
        rising = np.clip((self.t - start_s) / attack_s, 1e-5, 1.0)
        level_db = 20.0 * np.log10(rising)
        level_db -= release_db_per_s * np.maximum(self.t - end_s, 0.0)
        return np.where(self.t < start_s, SILENT_DB, np.maximum(level_db, SILENT_DB))

    def put_in_a_room(self, *, t60_s: float, direct_db: float = 6.0) -> None:
        """Let it come from one loudspeaker in a room: direct sound and a tail of noise."""
        n = round(t60_s * self.sample_rate_hz)
        decay = 10.0 ** (-3.0 * np.arange(n) / n)
        tail = self.rng.standard_normal(n) * decay
        tail /= math.sqrt(float(np.sum(tail**2)))
        tail[0] += 10.0 ** (direct_db / 20.0)
        total = len(self.sound) + n
        wet = np.fft.irfft(np.fft.rfft(self.sound, total) * np.fft.rfft(tail, total), total)
        self.sound = wet[: len(self.sound)]

    def done(self, *, peak_dbfs: float = -10.0, floor_dbfs: float = -75.0) -> np.ndarray:
        """The sound at this peak, over a microphone's own noise."""
        self.sound *= 10.0 ** (peak_dbfs / 20.0) / float(np.max(np.abs(self.sound)))
        self.add_noise(floor_dbfs)
        return np.clip(self.sound, -1.0, 1.0).astype(np.float32)
