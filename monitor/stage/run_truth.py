"""The truth about a run: what is unstable in it, and when feedback overtakes the programme."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft

from monitor.listening.bands import third_octave_of
from monitor.stage.moving_loop import HAND_S, WALK_S, MovingLoop
from monitor.stage.nyquist import Critical, criticals
from monitor.stage.run_spec import RunSpec

NEAR_DB = 1.5
"""Within this of ringing, a frequency rings on for about as long as a loop climbs."""
_SAME_HZ = 3.0
"""A frequency that moves by less while somebody walks is one; two rings of a loop seldom lie so
near."""


@dataclass(frozen=True)
class Stability:
    """How near a run comes to ringing.

    ``excess_db`` [m] goes with ``time_s`` [m] and counts what a compressor takes away,
    ``peak_excess_db`` does not.  ``found`` is all that is critical at the worst moment and on the
    way there, most critical first; ``onset_s`` and ``off_s`` as in ``provoke.Run``.
    """

    time_s: np.ndarray
    excess_db: np.ndarray
    peak_excess_db: float
    found: tuple[Critical, ...]
    onset_s: float | None
    off_s: float | None

    @property
    def unstable(self) -> tuple[Critical, ...]:
        """What rings."""
        return tuple(c for c in self.found if c.margin_db < 0.0)

    @property
    def near(self) -> tuple[Critical, ...]:
        """What is stable by less than ``NEAR_DB`` and may linger."""
        return tuple(c for c in self.found if 0.0 <= c.margin_db < NEAR_DB)


def stability(
    spec: RunSpec, loop: MovingLoop, *, limit_db: float, reduction_db: np.ndarray, block: int
) -> Stability:
    """What is unstable in a run, and when.

    ``limit_db`` is the gain at which the loop rings as long as nothing moves but the fader,
    ``reduction_db`` what a compressor takes away in each ``block`` of samples.
    """
    rate, n = spec.sample_rate_hz, len(loop.gain_db)
    moments = np.arange(0, n, max(1, int(0.01 * rate)))
    if spec.moves:
        lasts_s, points = (HAND_S, 9) if spec.provocation == "hand" else (WALK_S, 17)
        inside = spec.onset_s * rate + lasts_s * rate * np.linspace(0.0, 1.0, points)
        coarse = np.clip(np.concatenate([[0], inside, [n - 1]]), 0, n - 1).astype(int)
        limits_db = np.interp(moments, coarse, loop.limits_db(coarse))
    else:
        limits_db = np.full(len(moments), limit_db)
    nominal_db = loop.gain_db[moments] - limits_db
    excess_db = nominal_db - reduction_db[np.minimum(moments // block, len(reduction_db) - 1)]
    worst = int(np.argmax(nominal_db))
    asked = {int(moments[worst])}
    if spec.moves:  # what is unstable on the way may not be where somebody comes to rest
        at_db = np.interp(coarse, moments, nominal_db)
        asked.update(int(i) for i in coarse[at_db > -NEAR_DB])
    found = critical_at(loop, sorted(asked), rate)
    over = np.flatnonzero(excess_db > 0.0)
    onset_s = off_s = None
    if len(over) and found and found[0].margin_db < 0.0:
        onset_s = float(moments[over[0]]) / rate
        after = int(np.flatnonzero(nominal_db > 0.0)[-1]) + 1
        off_s = float(moments[after]) / rate if after < len(moments) else None
    return Stability(
        time_s=moments / rate,
        excess_db=excess_db,
        peak_excess_db=float(nominal_db[worst]),
        found=tuple(found),
        onset_s=onset_s,
        off_s=off_s,
    )


def running_level(power: np.ndarray, window: int) -> np.ndarray:
    """Return the running mean of a power, centred, never negative."""
    window = max(1, min(window, len(power)))
    total = np.concatenate(([0.0], np.cumsum(power, dtype=np.float64)))
    half = window // 2
    index = np.arange(len(power))
    low, high = np.maximum(index - half, 0), np.minimum(index + window - half, len(power))
    return np.maximum((total[high] - total[low]) / (high - low), 0.0)


def first_above(
    feedback: np.ndarray, programme: np.ndarray, *, rate: int, from_s: float
) -> float | None:
    """Return when the feedback's level rises above the programme's and stays for 0.2 s."""
    fast = running_level(feedback.astype(np.float64) ** 2, int(0.03 * rate))
    slow = running_level(programme.astype(np.float64) ** 2, int(0.2 * rate))
    above = fast > slow
    above[: int(from_s * rate)] = False
    stay = int(0.2 * rate)
    count = np.concatenate(([0], np.cumsum(above)))
    if len(above) <= stay:
        return None
    whole = np.flatnonzero(count[stay:] - count[:-stay] == stay)
    return float(whole[0]) / rate if len(whole) else None


def in_band(samples: np.ndarray, frequency_hz: float, rate: int) -> np.ndarray:
    """Return the samples in the third octave of a frequency, with soft edges."""
    band = third_octave_of(frequency_hz)
    size = next_fast_len(len(samples), real=True)
    grid = np.fft.rfftfreq(size, 1.0 / rate)
    width = 0.04
    octave = np.log2(np.maximum(grid, 1.0))
    up = np.clip((octave - math.log2(band.lower_hz)) / width + 0.5, 0.0, 1.0)
    down = np.clip((math.log2(band.upper_hz) - octave) / width + 0.5, 0.0, 1.0)
    weight = (np.sin(0.5 * np.pi * up) * np.sin(0.5 * np.pi * down)).astype(np.float32)
    filtered: np.ndarray = irfft(rfft(samples, size) * weight, size)[: len(samples)]
    return filtered


def critical_at(loop: MovingLoop, moments: Sequence[int], rate: int) -> list[Critical]:
    """What is critical at any of the moments (samples), each at its worst, most critical first."""
    found: list[Critical] = []
    for moment in moments:
        here = criticals(
            loop.taps_at(moment),
            sample_rate_hz=rate,
            gain_db=float(loop.gain_db[moment]),
            most=40,
        )
        for one in here:
            same = [two for two in found if abs(two.frequency_hz - one.frequency_hz) <= _SAME_HZ]
            if all(one.margin_db < two.margin_db for two in same):
                found = [two for two in found if two not in same] + [one]
    return sorted(found, key=lambda one: one.margin_db)


def winner(feedback: np.ndarray, truth: Sequence[Critical], rate: int, span: slice) -> float:
    """Return the frequency of the truth where the feedback holds most energy."""
    part = feedback[span]
    if len(part) < 256 or len(truth) < 2:
        return truth[0].frequency_hz
    size = next_fast_len(len(part), real=True)
    power = np.abs(rfft(part * np.hanning(len(part)).astype(np.float32), size)) ** 2
    reach = max(2, int(1.0 * size / rate))

    def energy(one: Critical) -> float:
        place = round(one.frequency_hz * size / rate)
        return float(power[max(0, place - reach) : place + reach + 1].sum())

    return max(truth, key=energy).frequency_hz
