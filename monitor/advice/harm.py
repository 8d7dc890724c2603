"""What a cut costs in tone.

The tone cost of a response is the mean of its absolute value in dB over a logarithmic frequency
axis, each part of the axis weighted by how much a voice lives there.  Sections of cuts add up
in dB, so the costs of several sliders add up too, and a programme that minimises their sum
minimises the harm to the whole tone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from monitor.advice.effect import depth_db
from monitor.advice.sliders import Slider, SliderKind

_IMPORTANCE: tuple[tuple[float, float], ...] = (
    (100.0, 0.25),
    (1000.0, 1.0),
    (4000.0, 1.5),
    (8000.0, 1.0),
    (20000.0, 0.25),
)
"""Weight up to a frequency in Hz.  Voices have little below 80 to 120 Hz, where a low cut usually
stands, and words are understood by what lies between 1 and 4 kHz: common practice, no source; the
figures are our choice."""
GRID_HZ = np.geomspace(20.0, 20000.0, 240)
"""Twenty-four points an octave: a tenth of an octave, the narrowest notch, is not missed."""
_DEEPER = (1.0, 1.1, 1.2, 1.3)
_DEEPER_EACH_DB = 3.0
"""Each further 3 dB of one peak counts a tenth more: one deep hole is heard sooner than two
shallow ones of the same area.  Our choice; it makes a ring between two sliders be shared."""
_WEIGHED_AT_DB = 6.0


def importance(frequency_hz: np.ndarray) -> np.ndarray:
    """Return how much each frequency counts."""
    ends, weights = (np.array(column) for column in zip(*_IMPORTANCE, strict=True))
    return weights[np.minimum(np.searchsorted(ends, frequency_hz), len(ends) - 1)]


_WEIGHTS = importance(GRID_HZ) / importance(GRID_HZ).sum()


def tone_cost_db(response_db: np.ndarray) -> float:
    """Return the tone cost of a response on ``GRID_HZ``."""
    return float(_WEIGHTS @ np.abs(response_db))


@lru_cache(maxsize=2048)
def weight(slider: Slider) -> float:
    """Return the tone cost of one dB of a slider's pull, nearly the same for any pull."""
    pull_db = min(_WEIGHED_AT_DB, slider.deepest_db)
    return tone_cost_db(depth_db(slider, pull_db, GRID_HZ)) / pull_db


def segments(slider: Slider, standing_db: float) -> list[tuple[float, float]]:
    """Return (length in dB, cost of one dB beside the weight) of the way left, in order."""
    if slider.kind != "peak":
        return [(max(slider.deepest_db - standing_db, 0.0), 1.0)]
    found = []
    for n, steeper in enumerate(_DEEPER):
        begin_db = max(n * _DEEPER_EACH_DB, standing_db)
        last = n == len(_DEEPER) - 1
        end_db = slider.deepest_db if last else min((n + 1) * _DEEPER_EACH_DB, slider.deepest_db)
        if end_db > begin_db:
            found.append((end_db - begin_db, steeper))
    return found or [(0.0, 1.0)]


def pull_harm(slider: Slider, pull_db: np.ndarray | float) -> np.ndarray:
    """Return how much each pull harms, before the slider's weight."""
    return np.interp(np.asarray(pull_db, float), *_harm_line(slider.kind, slider.deepest_db))


@lru_cache(maxsize=64)
def _harm_line(kind: SliderKind, deepest_db: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the corners of the line from pull to harm: it is the same for most sliders."""
    way = segments(Slider("", 1000.0, kind=kind, deepest_db=deepest_db), 0.0)
    length_db, steeper = (np.array(column) for column in zip(*way, strict=True))
    ends_db = np.concatenate([[0.0], np.cumsum(length_db)])
    return ends_db, np.concatenate([[0.0], np.cumsum(steeper * length_db)])


def total_harm(
    sliders: Sequence[Slider], pulls_db: Sequence[float], weights: Sequence[float] | None = None
) -> float:
    """Return what a plan minimises: the pulls' harms, weighted."""
    weights = [weight(s) for s in sliders] if weights is None else weights
    return math.fsum(
        w * float(pull_harm(s, p)) for s, p, w in zip(sliders, pulls_db, weights, strict=True)
    )
