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

from monitor.listening.evidence import FEATURES, Candidates
from monitor.listening.frames import HOP_S, HopBuffer
from monitor.listening.layers import RESOLUTIONS, Layer
from monitor.stage.nyquist import Critical
from monitor.stage.provoke import Run, random_spec, render_run
from tests.bench.lines import candidates_of
from tests.bench.material import SAMPLE_RATE_HZ, Sound, programme_for, sounds, tones, varied
from tests.bench.network import train

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

TONE_RATE = 0.4
"""Part of the tones' rows that is kept: they resemble each other."""

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


def rows_of_tones(seed: int) -> Rows:
    """Rows of tones that are no feedback, all of them 0."""
    rng = np.random.default_rng([seed, 5])
    parts = [np.zeros((0, len(FEATURES)))]
    for _, _, found in candidates_of(tones(seed), sample_rate_hz=SAMPLE_RATE_HZ):
        parts.append(found.features[rng.random(len(found.features)) < TONE_RATE])
    features = np.concatenate(parts).astype(np.float32)
    n = len(features)
    return features, np.zeros(n, np.float32), np.full(n, 1.0 / TONE_RATE, np.float32)


def rows_with_feedback(seed: int) -> Rows:
    """Rows of one closed loop beside its twin with the loop opened."""
    rng = np.random.default_rng([seed, 23])
    pool = [sound for sound in sounds() if not sound.scored]
    sound = programme_for(seed, 13.0, pool)
    spec = random_spec(seed, programmes=("silence",) if sound is None else ("given",))
    if sound is None and rng.random() < 0.5:
        spec = random_spec(seed)
    run = render_run(spec, sound if spec.programme == "given" else None)
    features, labels, weights = [], [], []
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
        like = loop_like(found[0].features)
        rate = np.where(is_feedback | is_product, 1.0, np.where(like, 0.5, 0.05))
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
    longest = max(layer.history.window_samples for layer in layers)
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
            twin.history.push(opened)
            if found is None:
                continue
            places = found.bins + np.array([[-1], [0], [1]])
            level_db = twin.history.level_db(3)[:, places].max(axis=(0, 1))
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
    parser.add_argument("--runs", type=int, default=600, help="closed loops (default 600)")
    parser.add_argument("--copies", type=int, default=2, help="varied copies of each sound")
    parser.add_argument("--epochs", type=int, default=32)
    parser.add_argument("--rows", type=Path, help="keep collected rows in this file, or use them")
    asked = parser.parse_args()
    if asked.rows and asked.rows.exists():
        kept = np.load(asked.rows)
        features, labels, weights = kept["features"], kept["labels"], kept["weights"]
    else:
        pool = [sound for sound in sounds() if not sound.scored]
        without = _collect(
            [
                (sound.path.stem, rows_without_feedback, (sound, copy))
                for sound in pool
                for copy in range(asked.copies)
            ]
            + [(f"tones {i}", rows_of_tones, (i,)) for i in range(60)]
        )
        loops = _collect([(f"loop {i}", rows_with_feedback, (i,)) for i in range(asked.runs)])
        features, labels, weights = _balanced(without, loops)
        if asked.rows:
            np.savez(asked.rows, features=features, labels=labels, weights=weights)
    print(f"{len(labels)} rows, {int(labels.sum())} of feedback", file=sys.stderr)
    note = (
        f"Trained by tests/bench/train.py on {asked.runs} simulated closed loops and "
        f"{asked.copies} varied copies of the tuning part of the sounds (tests/bench/material.py "
        "says which); nothing of the scoring part was used."
    )
    weights_data = train(features, labels, weights, seed=1, epochs=asked.epochs, note=note)
    WEIGHTS_FILE.write_text(json.dumps(weights_data, separators=(",", ":")) + "\n", "utf-8")
    print(f"wrote {WEIGHTS_FILE}")


def _balanced(without: list[Rows], loops: list[Rows]) -> Rows:
    """All rows together; each loop's feedback counts alike, all of it a part of the rest."""
    parts = []
    for features, labels, weights in loops:
        is_feedback = labels > 0.0
        if is_feedback.any():
            weights = weights.copy()
            weights[is_feedback] *= np.clip(300.0 / is_feedback.sum(), 0.25, 4.0)
        parts.append((features, labels, weights))
    features, labels, weights = (
        np.concatenate([row[i] for row in [*without, *parts]]) for i in range(3)
    )
    is_feedback = labels > 0.0
    weights[is_feedback] *= FEEDBACK_PART * weights[~is_feedback].sum() / weights[is_feedback].sum()
    return features, labels, weights


if __name__ == "__main__":
    main()
