"""Rows for training the scorers: lines of sounds and loops, with the truth beside them.

A row is what is measured on a line at one hop: at a look, or on the course of all looks.  Lines of
sounds without feedback, and of loops whose feedback has been taken away (the twin with the loop
opened), are 0.  Lines of closed loops that the twin does not have are 1 from the moment the loop
is unstable.  What lies between is left out.  Only the tuning part of the sounds is used, and
seeds below ``SCORED_SEEDS_FROM``.

Every row function takes ``scorer_file``: None for rows of looks, or the file of a scorer of looks,
whose suspects' courses are wanted.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from monitor.listening.candidates import NEIGHBOURS
from monitor.listening.courses import COURSE_FEATURES, SURELY_NOT
from monitor.listening.evidence import FEATURES
from monitor.listening.layers import Layer
from monitor.listening.scorer import Scorer
from monitor.listening.suspects import Suspected
from monitor.stage.nyquist import Critical
from monitor.stage.provoke import Run, random_spec, render_run
from tests.bench.lines import Eye, Found, follower, found_in, hops_of, layers_at, plain
from tests.bench.material import (
    SAMPLE_RATE_HZ,
    Sound,
    faded,
    programme_for,
    sounds,
    stretch,
    together,
    tones,
    varied,
)

SCORED_SEEDS_FROM = 100_000

FEEDBACK_DB = 6.0
"""A line counts as feedback when it stands this far above the same bin of the opened twin."""
OWN_DB = 1.5
"""... and as the programme's own when the twin has it too, within this."""
SURE_EXCESS_DB = 0.2
"""With less a loop climbs by 1 to 4 dB/s in a room: no label says what that is."""
LATE_S = 1.0
LATE_PART = 0.3
"""On a course, feedback that overtook the programme longer ago counts less: it is easy by then."""

OWN_PROGRAMME_PART = 0.2
"""Part of the loops through which the practice stage's own performer plays."""
STABLE_EVERY = 5
"""One loop in this many never rings: what resonates but does not howl has to be known too."""
STANDS_S = 0.3
"""Once they have stood for longer than a few windows, several lines are several tones."""
STRETCH_S = 40.0
"""Of each copy of a sound: many sounds teach more than long ones."""
MEASURED_PART = 1.0 / 3.0
"""Part of the looks at sounds without feedback that is taken: neighbours are alike."""
KEPT_PART = 0.6
"""Part of the looks at loops, feedback excepted, that is taken."""

Rows = tuple[np.ndarray, np.ndarray, np.ndarray]  # features, labels, weights


@lru_cache(maxsize=2)
def _scorer(file: Path) -> Scorer:
    return Scorer(json.loads(file.read_text("utf-8")), FEATURES)


def _eye(scorer_file: Path | None) -> Callable[[Layer], Eye[Any]]:
    return plain if scorer_file is None else follower(_scorer(scorer_file))


def _none(scorer_file: Path | None) -> np.ndarray:
    """No row, float32 [0, n_features]."""
    names = FEATURES if scorer_file is None else COURSE_FEATURES
    return np.zeros((0, len(names)), np.float32)


def _likely(found: Found) -> np.ndarray:
    """Which lines are wanted, bool [n]: of courses those that may decide something now."""
    if isinstance(found, Suspected):
        return np.asarray(found.features[:, 0] >= SURELY_NOT)
    return np.ones(len(found.bins), dtype=bool)


def _without_feedback(
    samples: np.ndarray, rng: np.random.Generator, scorer_file: Path | None
) -> Rows:
    """Rows of a sound, all of them 0; of looks a part."""
    part = MEASURED_PART if scorer_file is None else 1.0
    parts = [_none(scorer_file)]
    for _, _, found in found_in(samples, sample_rate_hz=SAMPLE_RATE_HZ, eye=_eye(scorer_file)):
        if rng.random() < part:
            parts.append(found.features[_likely(found)].astype(np.float32))
    features = np.concatenate(parts)
    n = len(features)
    return features, np.zeros(n, np.float32), np.full(n, 1.0 / part, np.float32)


def rows_without_feedback(
    sound: Sound, copy: int, other: Sound, scorer_file: Path | None = None
) -> Rows:
    """Rows of one varied copy of a sound: by turns as it is, faded, and together with another."""
    rng = np.random.default_rng(zlib.crc32(sound.path.name.encode()) + copy)
    samples = varied(stretch(sound.read(), STRETCH_S, rng), rng)
    if copy % 4 in (1, 3):
        samples = faded(samples, rng)
    elif copy % 4 == 2:
        samples = together(samples, varied(stretch(other.read(), STRETCH_S, rng), rng), rng)
    return _without_feedback(samples, rng, scorer_file)


def rows_of_tones(seed: int, scorer_file: Path | None = None) -> Rows:
    """Rows of tones that are no feedback, every second set of them faded."""
    rng = np.random.default_rng([seed, 5])
    samples = tones(seed)
    # By turns of 8, so that every kind of tone comes both ways.
    return _without_feedback(faded(samples, rng) if seed // 8 % 2 else samples, rng, scorer_file)


def rows_of_several(seed: int, scorer_file: Path | None = None) -> Rows:
    """Rows of two to six lines while they climb, straight and together, out of a room's noise.

    All 1.  Once they stand, several lines are several tones.
    """
    rng = np.random.default_rng([seed, 41])
    t = np.arange(int(7.0 * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    n = int(rng.integers(2, 7))
    places_hz = np.exp(rng.uniform(np.log(70.0), np.log(9000.0), n))
    if n > 2 and rng.random() < 0.5:  # two in one third octave
        places_hz[1] = places_hz[0] * rng.uniform(1.08, 1.2)
    starts_s = rng.uniform(0.5, 1.0) + rng.uniform(0.0, 1.0) * rng.uniform(0.0, 2.0, n)
    growths_db_per_s = np.exp(rng.uniform(np.log(8.0), np.log(60.0), n))
    if rng.random() < 0.3:  # one excess, one loop time
        growths_db_per_s[:] = growths_db_per_s[0] * rng.uniform(0.9, 1.1, n)
    floor_db = rng.uniform(-80.0, -50.0)
    noise = rng.standard_normal(len(t)).astype(np.float32)
    samples = 10.0 ** (floor_db / 20.0) * (
        noise if rng.random() < 0.5 else np.convolve(noise, np.ones(12) / 5.0, "same")
    )
    limits_db = rng.uniform(-30.0, -10.0, n)
    ends_s = starts_s + (limits_db - floor_db + 25.0) / growths_db_per_s + STANDS_S
    for hz, start_s, growth, limit_db in zip(
        places_hz, starts_s, growths_db_per_s, limits_db, strict=True
    ):
        level_db = np.minimum(floor_db - 25.0 + growth * (t - start_s), limit_db)
        level_db[t < start_s] = -200.0
        samples = samples + 10.0 ** (level_db / 20.0) * np.sin(2 * np.pi * (hz * t + rng.random()))
    parts = [_none(scorer_file)]
    for layer, count, found in found_in(
        samples.astype(np.float32), sample_rate_hz=SAMPLE_RATE_HZ, eye=_eye(scorer_file)
    ):
        reach_hz = np.maximum(0.7 * layer.history.bin_hz, 0.004 * found.frequency_hz)
        apart_hz = np.abs(found.frequency_hz[:, None] - places_hz)
        climbs = (starts_s < count / SAMPLE_RATE_HZ) & (count / SAMPLE_RATE_HZ < ends_s)
        is_line = ((apart_hz <= reach_hz[:, None]) & climbs).any(axis=1)
        parts.append(found.features[is_line & _likely(found)].astype(np.float32))
    features = np.concatenate(parts)
    ones = np.ones(len(features), np.float32)
    return features, ones, ones


def loop_of(seed: int, pool: list[Sound]) -> Run:
    """Closed loop ``seed`` with a programme from the pool, the performer's own or silence."""
    rng = np.random.default_rng([seed, 77])
    stable = seed % STABLE_EVERY == STABLE_EVERY - 1
    if rng.random() < OWN_PROGRAMME_PART:
        return render_run(random_spec(seed, stable=stable))
    sound = programme_for(seed, 13.0, pool)
    programmes = ("silence",) if sound is None else ("given",)
    return render_run(random_spec(seed, programmes=programmes, stable=stable), sound)


def rows_with_feedback(seed: int, scorer_file: Path | None = None) -> Rows:
    """Rows of one closed loop beside its twin with the loop opened."""
    rng = np.random.default_rng([seed, 23])
    run = loop_of(seed, [sound for sound in sounds() if not sound.scored])
    late_s = np.inf if run.overtake_s is None else run.overtake_s + LATE_S
    features = [_none(scorer_file)]
    labels, weights = [np.zeros(0, np.float32)], [np.zeros(0, np.float32)]
    for layer, time_s, found, over_twin_db in _beside_the_twin(run, _eye(scorer_file)):
        is_feedback, is_product, is_own = _truth(run, layer, time_s, found, over_twin_db)
        rate, feedback_weight = np.ones(len(is_own)), 1.0
        if scorer_file is None:
            rate[is_own] = KEPT_PART
        elif time_s > late_s:
            feedback_weight = LATE_PART
        weight = np.where(is_product, 0.5, np.where(is_feedback, feedback_weight, 1.0 / rate))
        kept = (is_own | is_feedback | is_product) & (rng.random(len(rate)) < rate)
        kept &= _likely(found)
        features.append(found.features[kept].astype(np.float32))
        labels.append(is_feedback[kept].astype(np.float32))
        weights.append(weight[kept].astype(np.float32))
    return np.concatenate(features), np.concatenate(labels), np.concatenate(weights)


def _truth(
    run: Run, layer: Layer, time_s: float, found: Found, over_twin_db: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Which lines are feedback, its products, and the programme's own, each bool [n]."""
    unstable = float(run.excess_at(time_s)) > min(SURE_EXCESS_DB, 0.5 * run.peak_excess_db)
    ringing = unstable & (over_twin_db > FEEDBACK_DB)
    distance_hz = _nearest(found.frequency_hz, run.truth)
    reach_hz = np.maximum(0.7 * layer.history.bin_hz, 0.004 * found.frequency_hz)
    is_feedback = ringing & (distance_hz <= reach_hz)
    # Harmonics and mixtures of a clipped howl: feedback's, but not where it rings.
    is_product = ringing & ~is_feedback & (distance_hz > 2 * reach_hz)
    is_product &= _nearest(found.frequency_hz, run.near) > reach_hz
    return is_feedback, is_product, over_twin_db < OWN_DB


def _nearest(frequency_hz: np.ndarray, modes: Sequence[Critical]) -> np.ndarray:
    """Distance of each frequency to the nearest mode, Hz."""
    if not modes:
        return np.full(len(frequency_hz), np.inf)
    places_hz = np.array([mode.frequency_hz for mode in modes])
    return np.abs(frequency_hz[:, None] - places_hz).min(axis=1)


def _beside_the_twin(
    run: Run, eye: Callable[[Layer], Eye[Any]]
) -> Iterator[tuple[Layer, float, Found, np.ndarray]]:
    """Lines of the closed loop with layer and time, and how far each stands over the twin, dB."""
    rate_hz = run.sample_rate_hz
    layers, twins = layers_at(rate_hz), layers_at(rate_hz)
    eyes = [eye(layer) for layer in layers]
    hops = zip(
        hops_of(run.closed, sample_rate_hz=rate_hz, layers=layers),
        hops_of(run.opened, sample_rate_hz=rate_hz, layers=twins),
        strict=True,
    )
    for hop, ((count, closed), (_, opened)) in enumerate(hops, start=1):
        for layer, twin, one in zip(layers, twins, eyes, strict=True):
            if hop % layer.resolution.stride:
                continue
            found = one.look(closed)
            twin.take_in(opened)
            if found is None:
                continue
            twin_db = twin.history.level_db(3)[:, found.bins + NEIGHBOURS].max(axis=(0, 1))
            yield layer, count / rate_hz, found, found.level_db - twin_db
