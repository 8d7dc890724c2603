"""The hand rule to beat: a line that climbs straight, stands still and has no harmonics.

It sees the same candidates as the detector.  Its limits are those of common practice (no
source): a straight climb over about 170 ms, a few cents of wander, no harmonic out of its floor.
"""

from __future__ import annotations

import numpy as np

from monitor.listening.evidence import FEATURES
from tests.bench.lines import found_in, plain

LEAST_SLOPE_DB_PER_S = 8.0
MOST_RESIDUAL_DB = 0.5
MOST_WANDER_CENTS = 3.0
MOST_HARMONIC_DB = 12.0
SAME_LINE_S = 0.5

_COLUMN = {name: i for i, name in enumerate(FEATURES)}


def flags(samples: np.ndarray, *, sample_rate_hz: int) -> list[tuple[float, float]]:
    """Times in seconds and frequencies in Hz at which the rule calls a line a howl."""
    found: list[tuple[float, float]] = []
    last_s: dict[tuple[int, int], float] = {}
    looks = found_in(samples, sample_rate_hz=sample_rate_hz, eye=plain)
    for layer, count, candidates in looks:
        values = candidates.features
        slope = values[:, _COLUMN["slope_8"]]
        residual_db = values[:, _COLUMN["residual_8_db"]]
        wander_cents = values[:, _COLUMN["deviation_12_cents"]]
        harmonic_db = np.maximum(
            values[:, _COLUMN["harmonic_2.00_db"]], values[:, _COLUMN["harmonic_3.00_db"]]
        )
        howls = (
            (slope >= LEAST_SLOPE_DB_PER_S)
            & (residual_db <= MOST_RESIDUAL_DB)
            & (wander_cents <= MOST_WANDER_CENTS)
            & (harmonic_db <= MOST_HARMONIC_DB)
        )
        time_s = count / sample_rate_hz
        for i in np.flatnonzero(howls):
            line = (layer.resolution.stride, int(candidates.bins[i]) // 2)
            if time_s - last_s.get(line, -np.inf) > SAME_LINE_S:
                found.append((time_s, float(candidates.frequency_hz[i])))
            last_s[line] = time_s
    return found
