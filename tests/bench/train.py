"""``make train``: make ``monitor/listening/scorer.json`` again from sounds and closed loops.

Rows are candidate lines, hop by hop.  Lines of sounds without feedback, and of loops whose
feedback has been taken away (the twin with the loop opened), are 0.  Lines of closed loops
that the twin does not have are 1 from the moment the loop is unstable.  What lies between is
left out.  Only the tuning part of the sounds and seeds below ``SCORED_SEEDS_FROM`` are used.
"""

from __future__ import annotations

import zlib
from pathlib import Path

import numpy as np

from monitor.listening.evidence import FEATURES
from tests.bench.lines import candidates_of
from tests.bench.material import SAMPLE_RATE_HZ, Sound, varied

SCORED_SEEDS_FROM = 100_000
WEIGHTS_FILE = Path(__file__).parents[2] / "monitor" / "listening" / "scorer.json"

FEEDBACK_DB = 6.0
"""A line counts as feedback when it stands this far above the same bin of the opened twin."""
OWN_DB = 1.5
"""... and as the programme's own when the twin has it too, within this."""

_COLUMN = {name: i for i, name in enumerate(FEATURES)}
Rows = tuple[np.ndarray, np.ndarray, np.ndarray]  # features, labels, weights


def loop_like(features: np.ndarray) -> np.ndarray:
    """Lines that stand still or climb: the ones worth telling apart from feedback."""
    still = features[:, _COLUMN["deviation_12_cents"]] < np.log(6.0)
    climbs = (features[:, _COLUMN["slope_8"]] > np.log1p(0.5)) & (
        features[:, _COLUMN["residual_8_db"]] < np.log1p(5.0)
    )
    return still | climbs


def _thinned(
    features: np.ndarray, rng: np.random.Generator, *, rate: float
) -> tuple[np.ndarray, np.ndarray]:
    """A part of the rows and what each stands for: all kinds count by how often they come."""
    keep_rate = np.where(loop_like(features), rate, 0.1 * rate)
    kept = rng.random(len(features)) < keep_rate
    return features[kept], 1.0 / keep_rate[kept]


def rows_without_feedback(sound: Sound, copy: int) -> Rows:
    """Rows of one varied copy of a sound, all of them 0."""
    rng = np.random.default_rng(zlib.crc32(sound.path.name.encode()) + copy)
    parts, weights = [], []
    for _, _, found in candidates_of(varied(sound.read(), rng), sample_rate_hz=SAMPLE_RATE_HZ):
        kept, weight = _thinned(found.features, rng, rate=0.5)
        parts.append(kept.astype(np.float32))
        weights.append(weight)
    features = np.concatenate(parts) if parts else np.zeros((0, len(FEATURES)), np.float32)
    weight = np.concatenate(weights) if weights else np.zeros(0)
    return features, np.zeros(len(features), np.float32), weight.astype(np.float32)
