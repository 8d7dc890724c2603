"""``make train``: make ``monitor/listening/scorer.json`` again from sounds and closed loops.

Rows are candidate lines, hop by hop.  Lines of sounds without feedback, and of loops whose
feedback has been taken away (the twin with the loop opened), are 0.  Lines of closed loops
that the twin does not have are 1 from the moment the loop is unstable.  What lies between is
left out.  Only the tuning part of the sounds and seeds below ``SCORED_SEEDS_FROM`` are used.
"""

from __future__ import annotations

import argparse
import json
import sys
import zlib
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

from monitor.listening.candidates import NEIGHBOURS
from monitor.listening.evidence import FEATURES, Candidates
from monitor.listening.frames import HOP_S, HopBuffer
from monitor.listening.layers import RESOLUTIONS, Layer
from monitor.stage.nyquist import Critical
from monitor.stage.provoke import Run, random_spec, render_run
from tests.bench.lines import candidates_of
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
from tests.bench.trees import train

SCORED_SEEDS_FROM = 100_000
WEIGHTS_FILE = Path(__file__).parents[2] / "monitor" / "listening" / "scorer.json"

FEEDBACK_DB = 6.0
"""A line counts as feedback when it stands this far above the same bin of the opened twin."""
OWN_DB = 1.5
"""... and as the programme's own when the twin has it too, within this."""

SURE_EXCESS_DB = 0.2
"""With less a loop climbs by 1 to 4 dB/s in a room: no label says what that is."""

FEEDBACK_PART = 0.15
"""Weight of all feedback beside all else: of 0.15 and 0.25 the one with fewer false howls on the
tuning part for as many caught."""

OWN_PROGRAMME_PART = 0.2
"""Part of the loops through which the practice stage's own performer plays."""
STABLE_EVERY = 5
"""One loop in this many never rings: what resonates but does not howl has to be known too."""
SEVERAL = 400
"""Sets of several frequencies that go together: the practice stage's loops seldom have more than
one on its own feet, a room with a fast hand at the fader has."""
STANDS_S = 0.3
"""Once they have stood for longer than a few windows, several lines are several tones."""
TONES = 600
"""Sets of tones: two hours, so that whatever is pure and steady is known as well as music."""
STRETCH_S = 40.0
"""Of each copy of a sound: many sounds teach more than long ones."""
MEASURED_PART = 1.0 / 3.0
"""Part of the hops of sounds without feedback that is measured: neighbours are alike."""
KEPT_PART = 0.6
"""Part of the rows of loops, feedback excepted, that is kept."""
FULL_ROWS = 300
"""Rows of feedback that a loop brings to count fully; each loop counts much alike."""

Rows = tuple[np.ndarray, np.ndarray, np.ndarray]  # features, labels, weights


def _without_feedback(samples: np.ndarray, rng: np.random.Generator, *, part: float) -> Rows:
    """Rows of a part of a sound's hops, all of them 0."""
    parts = [np.zeros((0, len(FEATURES)), np.float32)]
    for _, _, found in candidates_of(
        samples, sample_rate_hz=SAMPLE_RATE_HZ, measured=lambda: rng.random() < part
    ):
        parts.append(found.features.astype(np.float32))
    features = np.concatenate(parts)
    n = len(features)
    return features, np.zeros(n, np.float32), np.full(n, 1.0 / part, np.float32)


def rows_without_feedback(sound: Sound, copy: int, other: Sound) -> Rows:
    """Rows of one varied copy of a sound: by turns as it is, faded, and together with another."""
    rng = np.random.default_rng(zlib.crc32(sound.path.name.encode()) + copy)
    samples = varied(stretch(sound.read(), STRETCH_S, rng), rng)
    if copy % 4 in (1, 3):
        samples = faded(samples, rng)
    elif copy % 4 == 2:
        samples = together(samples, varied(stretch(other.read(), STRETCH_S, rng), rng), rng)
    return _without_feedback(samples, rng, part=MEASURED_PART)


def rows_of_tones(seed: int) -> Rows:
    """Rows of tones that are no feedback, every second set of them faded."""
    rng = np.random.default_rng([seed, 5])
    samples = tones(seed)
    # By turns of 16, so that every kind of tone comes both ways.
    return _without_feedback(
        faded(samples, rng) if seed // 8 % 2 else samples, rng, part=MEASURED_PART
    )


def rows_of_several(seed: int) -> Rows:
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
    parts = [np.zeros((0, len(FEATURES)), np.float32)]
    for layer, count, found in candidates_of(
        samples.astype(np.float32), sample_rate_hz=SAMPLE_RATE_HZ
    ):
        reach_hz = np.maximum(0.7 * (5.9, 11.7)[layer], 0.004 * found.frequency_hz)
        apart_hz = np.abs(found.frequency_hz[:, None] - places_hz)
        climbs = (starts_s < count / SAMPLE_RATE_HZ) & (count / SAMPLE_RATE_HZ < ends_s)
        is_line = ((apart_hz <= reach_hz[:, None]) & climbs).any(axis=1)
        parts.append(found.features[is_line].astype(np.float32))
    features = np.concatenate(parts)
    n_rows = len(features)
    ones = np.ones(n_rows, np.float32)
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


def rows_with_feedback(seed: int) -> Rows:
    """Rows of one closed loop beside its twin with the loop opened."""
    rng = np.random.default_rng([seed, 23])
    run = loop_of(seed, [sound for sound in sounds() if not sound.scored])
    features = [np.zeros((0, len(FEATURES)), np.float32)]
    labels, weights = [np.zeros(0, np.float32)], [np.zeros(0, np.float32)]
    for found, twin in _beside_the_twin(run):
        own = twin < OWN_DB
        unstable = float(run.excess_at(found[1])) > min(SURE_EXCESS_DB, 0.5 * run.peak_excess_db)
        ringing = unstable & (twin > FEEDBACK_DB)
        distance_hz = _nearest(found[0].frequency_hz, run.truth)
        nearly_hz = _nearest(found[0].frequency_hz, run.near)
        reach_hz = np.maximum(0.7 * found[2], 0.004 * found[0].frequency_hz)
        is_feedback = ringing & (distance_hz <= reach_hz)
        # Harmonics and mixtures of a clipped howl: feedback's, but not where it rings.
        is_product = ringing & ~is_feedback & (nearly_hz > reach_hz) & (distance_hz > 2 * reach_hz)
        rate = np.where(is_feedback | is_product, 1.0, KEPT_PART)
        kept = (own | is_feedback | is_product) & (rng.random(len(rate)) < rate)
        features.append(found[0].features[kept].astype(np.float32))
        labels.append(is_feedback[kept].astype(np.float32))
        weights.append(np.where(is_product, 0.5, 1.0 / rate)[kept].astype(np.float32))
    return np.concatenate(features), np.concatenate(labels), np.concatenate(weights)


def _nearest(frequency_hz: np.ndarray, modes: Sequence[Critical]) -> np.ndarray:
    """Distance of each frequency to the nearest mode, Hz."""
    if not modes:
        return np.full(len(frequency_hz), np.inf)
    places_hz = np.array([mode.frequency_hz for mode in modes])
    return np.abs(frequency_hz[:, None] - places_hz).min(axis=1)


def _beside_the_twin(
    run: Run,
) -> Iterator[tuple[tuple[Candidates, float, float], np.ndarray]]:
    """Candidates of the closed loop with time and bin width, and their height over the twin, dB."""
    hop_samples = round(HOP_S * run.sample_rate_hz)
    layers = [Layer(resolution, run.sample_rate_hz) for resolution in RESOLUTIONS]
    twins = [Layer(resolution, run.sample_rate_hz) for resolution in RESOLUTIONS]
    longest = max(layer.window_samples for layer in layers)
    hops = zip(
        HopBuffer(window_samples=longest, hop_samples=hop_samples).push(run.closed),
        HopBuffer(window_samples=longest, hop_samples=hop_samples).push(run.opened),
        strict=True,
    )
    for hop, (closed, opened) in enumerate(hops, start=1):
        for layer, twin in zip(layers, twins, strict=True):
            if hop % layer.resolution.stride:
                continue
            found = layer.look(closed)
            twin.take_in(opened)
            if found is None:
                continue
            level_db = twin.history.level_db(3)[:, found.bins + NEIGHBOURS].max(axis=(0, 1))
            time_s = hop * hop_samples / run.sample_rate_hz
            yield (found, time_s, layer.history.bin_hz), found.level_db - level_db


def _collect(jobs: Sequence[tuple[str, Callable[..., Rows], tuple[Any, ...]]]) -> list[Rows]:
    """Run the jobs on all processors, with progress."""
    rows = []
    with ProcessPoolExecutor() as pool:
        waiting = [(name, pool.submit(work, *given)) for name, work, given in jobs]
        for done, (name, future) in enumerate(waiting, start=1):
            rows.append(future.result())
            print(f"\r   {done} of {len(jobs)}: {name[:50]:<50}", end="", flush=True)
    print()
    return rows


def main() -> None:
    """Collect rows, train, write the weights."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument("--runs", type=int, default=3000, help="closed loops (default 3000)")
    parser.add_argument("--copies", type=int, default=4, help="copies of each sound (default 4)")
    parser.add_argument("--rows", type=Path, help="keep collected rows in this file, or use them")
    asked = parser.parse_args()
    if asked.rows and asked.rows.exists():
        kept = np.load(asked.rows)
        features, labels, weights = kept["features"], kept["labels"], kept["weights"]
    else:
        pool = [sound for sound in sounds() if not sound.scored and sound.group != "apart"]
        rng = np.random.default_rng(1)
        without = _collect(
            [
                (sound.path.stem, rows_without_feedback, (sound, copy, rng.choice(pool)))
                for sound in pool
                for copy in range(asked.copies)
            ]
            + [(f"tones {i}", rows_of_tones, (i,)) for i in range(TONES)]
        )
        loops = _collect(
            [(f"loop {i}", rows_with_feedback, (i,)) for i in range(asked.runs)]
            + [(f"several {i}", rows_of_several, (i,)) for i in range(SEVERAL)]
        )
        features, labels, weights = _balanced(without, loops)
        if asked.rows:
            np.savez(asked.rows, features=features, labels=labels, weights=weights)
    print(f"{len(labels)} rows, {int(labels.sum())} of feedback", file=sys.stderr)
    note = (
        f"Trained by tests/bench/train.py on {asked.runs} simulated closed loops and "
        f"{asked.copies} varied copies of the tuning part of the sounds (tests/bench/material.py "
        "says which); nothing of the scoring part was used."
    )
    weights_data = train(features, labels, weights, seed=1, note=note)
    WEIGHTS_FILE.write_text(json.dumps(weights_data, separators=(",", ":")) + "\n", "utf-8")
    print(f"wrote {WEIGHTS_FILE}")


def _balanced(without: list[Rows], loops: list[Rows]) -> Rows:
    """All rows together; each loop's feedback counts alike, all of it a part of the rest."""
    parts = []
    for features, labels, weights in loops:
        is_feedback = labels > 0.0
        if is_feedback.any():
            weights = weights.copy()
            weights[is_feedback] *= np.clip(FULL_ROWS / is_feedback.sum(), 0.25, 4.0)
        parts.append((features, labels, weights))
    features, labels, weights = (
        np.concatenate([row[i] for row in [*without, *parts]]) for i in range(3)
    )
    is_feedback = labels > 0.0
    weights[is_feedback] *= FEEDBACK_PART * weights[~is_feedback].sum() / weights[is_feedback].sum()
    return features, labels, weights


if __name__ == "__main__":
    main()
