"""Where to put filters that can be put anywhere: at the rings, or one between two near ones."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from monitor.advice import harm
from monitor.advice.effect import depth_db, share
from monitor.advice.equaliser import Equaliser
from monitor.advice.least_harm import REACH_SHARE, TOLERANCE_DB, solve
from monitor.advice.sliders import Slider
from monitor.advice.widths import q_of

Needs = Sequence[tuple[float, float]]

NOTCH_Q = q_of(0.1)
"""A tenth of an octave, the widest of the notches in published suppressors (van Waterschoot and
Moonen 2011, section V-B2): what rings moves when people do, and a narrower notch is left behind."""
_SERVED_SHARE = 0.7
"""A filter that stands gives a ring this much of its pull: deepen it, do not place another."""
_MOST_TOGETHER = 4
_SPANS = (1.0, 1.5, 2.5)
"""Widths to try for one filter over several rings, beside the distance of the outer two."""
_UNMET = 1000.0
"""Harm of a decibel that is missing: more than any pull, so that rings come before tone."""


class _Place(NamedTuple):
    harm: float
    sliders: tuple[Slider, ...]


def placed(equaliser: Equaliser, needs: Needs, standing_db: Sequence[float]) -> Equaliser:
    """Return the equaliser with its free filters where they harm least.

    Filters that are pulled already stay where they are; an equaliser without filters that can
    be moved is returned as it is.
    """
    free = [
        i
        for i, (s, db) in enumerate(zip(equaliser.sliders, standing_db, strict=True))
        if s.is_swept and db == 0.0
    ]
    if not free or not needs:
        return equaliser
    if len(free) < len(equaliser.sliders) and any(not s.is_swept for s in equaliser.sliders):
        return _tried(equaliser, needs, standing_db, free[0])
    one = equaliser.sliders[free[0]]
    left = _left_over(equaliser, needs, standing_db, one)
    sliders = list(equaliser.sliders)
    for i, there in zip(free, _grouped(one, left, len(free)).sliders, strict=False):
        sliders[i] = sliders[i].moved(there.centre_hz, there.q)
    return equaliser.with_sliders(sliders)


def _tried(
    equaliser: Equaliser, needs: Needs, standing_db: Sequence[float], index: int
) -> Equaliser:
    """Put a strip's swept middle at each ring and between each two; return the best."""
    places_hz = sorted(hz for hz, _ in needs)
    places_hz += [math.sqrt(a * b) for a, b in pairwise(places_hz)]
    best, best_harm = equaliser, math.inf
    wanted_db = np.array([db for _, db in needs])
    for place_hz in places_hz:
        sliders = list(equaliser.sliders)
        sliders[index] = sliders[index].moved(place_hz)
        found = solve(sliders, needs, standing_db=standing_db, rounded=False)
        missing_db = float(np.maximum(wanted_db - found.targets_db, 0.0).sum())
        total = found.exact_harm + _UNMET * missing_db
        if total < best_harm - 1e-12:
            best, best_harm = equaliser.with_sliders(sliders), total
    return best


def _left_over(
    equaliser: Equaliser, needs: Needs, standing_db: Sequence[float], one: Slider
) -> list[tuple[float, float]]:
    """Return what filters that stand cannot do, from low to high."""
    left = []
    for hz, need_db in sorted(needs):
        at = np.array([hz])
        rest_db, served = need_db, False
        for slider, pull_db in zip(equaliser.sliders, standing_db, strict=True):
            if pull_db > 0.0:
                here = depth_db(slider, [pull_db, slider.deepest_db], at)[:, 0]
                rest_db -= float(here[0])
                near = here[1] >= _SERVED_SHARE * slider.deepest_db
                served = served or bool(near and here[1] >= need_db)
        if rest_db > TOLERANCE_DB and not served and share(one, hz) >= REACH_SHARE:
            left.append((hz, rest_db))
    return left


def _group(one: Slider, needs: Needs) -> _Place:
    """Return the least harmful single filter for some neighbouring rings."""
    frequency_hz = np.array([hz for hz, _ in needs])
    wanted_db = np.array([db for _, db in needs])
    low_hz, high_hz = frequency_hz[0], frequency_hz[-1]
    octaves = math.log2(high_hz / low_hz)
    qs = [NOTCH_Q] if octaves < 1e-6 else [min(q_of(octaves * s), NOTCH_Q) for s in _SPANS]
    pulls_db = np.array(one.steps_db())
    best = _Place(math.inf, ())
    for q in qs:
        there = one.moved(math.sqrt(low_hz * high_hz), q)
        missing = np.maximum(
            wanted_db - TOLERANCE_DB - depth_db(there, pulls_db, frequency_hz), 0.0
        )
        harms = harm.weight(there) * harm.pull_harm(there, pulls_db) + _UNMET * missing.sum(axis=1)
        best = min(best, _Place(float(harms.min()), (there,)), key=lambda p: p.harm)
    return best


def _grouped(one: Slider, needs: Needs, most: int) -> _Place:
    """Return the best division of the rings, from low to high, among at most ``most`` filters."""

    @cache
    def best_from(first: int, left: int) -> _Place:
        if first == len(needs):
            return _Place(0.0, ())
        # Left alone: its whole depth is missing.
        rest = best_from(first + 1, left)
        best = _Place(rest.harm + _UNMET * needs[first][1], rest.sliders)
        if left == 0:
            return best
        for end in range(first + 1, min(first + _MOST_TOGETHER, len(needs)) + 1):
            here, rest = groups[first, end], best_from(end, left - 1)
            together = _Place(here.harm + rest.harm, here.sliders + rest.sliders)
            best = min(best, together, key=lambda p: p.harm)
        return best

    groups = {
        (first, end): _group(one, needs[first:end])
        for first in range(len(needs))
        for end in range(first + 1, min(first + _MOST_TOGETHER, len(needs)) + 1)
    }
    return best_from(0, most)
