"""Where a waveform was cut off: at full scale, or flat below it by something upstream.

Three samples in a row at full scale count as once clipped.  One or two may be a sound that just
fits; three in a row of a sound below a quarter of the sample rate cannot be.  Common practice, no
source.

What clips before the line is turned down again shows as flat tops below full scale.  Only equal
samples are taken for one, so an analogue stage that clips in front of a converter, whose tops are
never quite equal, is not found: a sound without flat tops may still have been clipped.
"""

from __future__ import annotations

from collections import deque

import numpy as np

FULL_SCALE = 1.0 - 2.0**-15
"""The highest code of 16 bits, as of the microphone (``firmware.ports``; a test holds it)."""

RUN_SAMPLES = 3

LOWEST_TOP = 0.05
"""Flat stretches below -26 dBFS are the steps of a quiet sound in few bits."""

LEAST_STEP = 8.0 * 2.0**-15
"""How far a flat top stands above its neighbours.  A round top in 16 bits that is flat for n
samples falls by less than ((n + 1) / (n - 1))^2 steps beside it (a parabola): 4 for the shortest
run."""

TOPS_FOR_A_WORD = 5
TOPS_WITHIN_S = 10.0
TOPS_ALIKE = 10.0 ** (0.1 / 20.0)
"""So many flat tops at one level, to 0.1 dB, and at the highest level that there was, before it is
said: one may be chance."""


def clipped_runs(samples: np.ndarray, new_samples: int) -> int:
    """How many runs at full scale reach their third sample within the last ``new_samples``.

    ``samples`` [n] begins at least ``RUN_SAMPLES`` before those.
    """
    sign = np.where(np.abs(samples) >= FULL_SCALE, np.sign(samples), 0.0)
    third = (sign[2:] != 0.0) & (sign[2:] == sign[1:-1]) & (sign[2:] == sign[:-2])
    begins = third[1:] & ~third[:-1]
    return int(np.count_nonzero(begins[-new_samples:]))


def flat_tops(samples: np.ndarray, new_samples: int) -> np.ndarray:
    """Heights, float [m], of the flat tops that ended within the last ``new_samples``.

    A flat top is a run of equal samples with clearly lower ones on both sides.  Runs that begin
    before ``samples`` are left out, and so are those at full scale.
    """
    ends = np.flatnonzero(samples[1:] != samples[:-1])
    if len(ends) < 2:
        return np.zeros(0)
    first, last = ends[:-1] + 1, ends[1:]
    height = np.abs(samples[first])
    sign = np.sign(samples[first])
    step_in = height - sign * samples[first - 1]
    step_out = height - sign * samples[last + 1]
    is_top = (
        (last - first + 1 >= RUN_SAMPLES)
        & (last + 1 >= len(samples) - new_samples)
        & (height > LOWEST_TOP)
        & (height < FULL_SCALE)
        & (step_in >= LEAST_STEP)
        & (step_out >= LEAST_STEP)
    )
    return np.asarray(height[is_top], dtype=float)


class Clipping:
    """Counts what was cut off.  ``count`` runs at full scale since the start."""

    def __init__(self, hop_s: float) -> None:
        self._hop_s = hop_s
        self._hop = 0
        self._last_hop: int | None = None
        self._tops: deque[tuple[int, float]] = deque(maxlen=256)
        self._peaks: deque[float] = deque(maxlen=round(TOPS_WITHIN_S / hop_s))
        self.count = 0

    def push(self, samples: np.ndarray, new_samples: int, peak: float) -> bool:
        """Take in a hop with what came before it; return whether it clipped at full scale."""
        self._hop += 1
        self._peaks.append(peak)
        found = 0
        if peak >= FULL_SCALE:
            found = clipped_runs(samples, new_samples)
        if peak > LOWEST_TOP:
            self._tops.extend((self._hop, float(h)) for h in flat_tops(samples, new_samples))
        if found:
            self.count += found
            self._last_hop = self._hop
        return found > 0

    def since_s(self) -> float | None:
        """Seconds since the last run at full scale, None if there was none."""
        return None if self._last_hop is None else (self._hop - self._last_hop) * self._hop_s

    def flat_top(self) -> float | None:
        """The height at which tops are flat below full scale, None when they are not."""
        oldest = self._hop - TOPS_WITHIN_S / self._hop_s
        heights = [height for hop, height in self._tops if hop > oldest]
        if len(heights) < TOPS_FOR_A_WORD:
            return None
        highest = max(heights)
        alike = sum(height * TOPS_ALIKE >= highest for height in heights)
        is_highest = highest * TOPS_ALIKE >= max(self._peaks)
        return highest if alike >= TOPS_FOR_A_WORD and is_highest else None
