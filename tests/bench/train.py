"""``make train``: make ``monitor/listening/scorer.json`` again from sounds and closed loops.

Two scorers: one of looks, one of courses, which judges how the first one's answers have gone.  On
what it was trained on the first is surer than on anything new, so the second learns from answers
that were never trained on: sources are dealt into two halves, and each half is judged by a scorer
that saw the other half only.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import zlib
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from monitor.listening.courses import COURSE_FEATURES
from monitor.listening.evidence import FEATURES
from tests.bench.material import Sound, sounds
from tests.bench.rows import (
    Rows,
    rows_of_several,
    rows_of_tones,
    rows_with_feedback,
    rows_without_feedback,
)
from tests.bench.trees import COURSE_TREES, LOOK_TREES, train

WEIGHTS_FILE = Path(__file__).parents[2] / "monitor" / "listening" / "scorer.json"

FEEDBACK_PART = {"look": 0.15, "course": 0.3}
"""Weight of all feedback beside all else.  On the tuning part, packages held back: of looks 0.15
raised fewer false howls than 0.25 for as many caught, of courses 0.3 fewer than 0.15."""
SEVERAL = 400
"""Sets of several frequencies that go together: the practice stage's loops seldom have more than
one on its own feet, a room with a fast hand at the fader has."""
TONES = 600
"""Sets of tones: two hours, so that whatever is pure and steady is known as well as music."""
FULL_ROWS = 300
"""Rows of feedback that a loop brings to count fully; each loop counts much alike."""


@dataclass(frozen=True, slots=True)
class Job:
    """One source of rows: what makes them, of what, and which half it belongs to."""

    name: str
    work: Callable[..., Rows]
    given: tuple[Any, ...]
    half: int


def jobs_of(*, runs: int, copies: int, pool: Sequence[Sound]) -> list[Job]:
    """All sources; a package's sounds are all in one half."""
    rng = np.random.default_rng(1)
    found = [
        Job(
            sound.path.stem,
            rows_without_feedback,
            (sound, copy, pool[int(rng.integers(len(pool)))]),
            zlib.crc32(sound.package.encode()) % 2,
        )
        for sound in pool
        for copy in range(copies)
    ]
    found += [Job(f"tones {i}", rows_of_tones, (i,), i // 16 % 2) for i in range(TONES)]
    found += [Job(f"loop {i}", rows_with_feedback, (i,), i % 2) for i in range(runs)]
    found += [Job(f"several {i}", rows_of_several, (i,), i % 2) for i in range(SEVERAL)]
    return found


def collect(jobs: Sequence[Job], scorer_files: Sequence[Path] | None = None) -> list[Rows]:
    """Run the jobs on all processors, with progress; with scorers of both halves, of courses."""
    rows = []
    with ProcessPoolExecutor() as pool:
        waiting = [
            pool.submit(job.work, *job.given, scorer_files[1 - job.half] if scorer_files else None)
            for job in jobs
        ]
        for done, (job, future) in enumerate(zip(jobs, waiting, strict=True), start=1):
            rows.append(future.result())
            print(f"\r   {done} of {len(jobs)}: {job.name[:50]:<50}", end="", flush=True)
    print()
    return rows


def balanced(rows: Sequence[Rows], *, feedback_part: float) -> Rows:
    """All rows together; each loop's feedback counts alike, all of it a part of the rest."""
    parts = []
    for features, labels, weights in rows:
        is_feedback = labels > 0.0
        if is_feedback.any():
            weights = weights.copy()
            weights[is_feedback] *= np.clip(FULL_ROWS / weights[is_feedback].sum(), 0.25, 4.0)
        parts.append((features, labels, weights))
    features, labels, weights = (np.concatenate([row[i] for row in parts]) for i in range(3))
    is_feedback = labels > 0.0
    weights[is_feedback] *= feedback_part * weights[~is_feedback].sum() / weights[is_feedback].sum()
    print(f"   {len(labels)} rows, {int(labels.sum())} of feedback")
    return features, labels, weights


def _of_looks(rows: Sequence[Rows]) -> Rows:
    return balanced(rows, feedback_part=FEEDBACK_PART["look"])


def main() -> None:
    """Collect rows and train, looks and then courses; write the weights."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument("--runs", type=int, default=3000, help="closed loops (default 3000)")
    parser.add_argument("--copies", type=int, default=4, help="copies of each sound (default 4)")
    parser.add_argument("--output", type=Path, default=WEIGHTS_FILE, help="where the weights go")
    asked = parser.parse_args()
    pool = [sound for sound in sounds() if not sound.scored and sound.group != "apart"]
    jobs = jobs_of(runs=asked.runs, copies=asked.copies, pool=pool)
    print("looks at lines")
    looks = collect(jobs)
    look = train(_of_looks(looks), FEATURES, trees=LOOK_TREES)
    with tempfile.TemporaryDirectory() as folder:
        files = [Path(folder) / f"half_{half}.json" for half in (0, 1)]
        for half, file in enumerate(files):
            rows = [found for job, found in zip(jobs, looks, strict=True) if job.half == half]
            file.write_text(json.dumps(train(_of_looks(rows), FEATURES, trees=LOOK_TREES)), "utf-8")
        del looks
        print("courses of lines")
        courses = collect(jobs, files)
    course = train(
        balanced(courses, feedback_part=FEEDBACK_PART["course"]),
        COURSE_FEATURES,
        trees=COURSE_TREES,
    )
    note = (
        f"Trained by tests/bench/train.py on {asked.runs} simulated closed loops and "
        f"{asked.copies} varied copies of the tuning part of the sounds (tests/bench/material.py "
        "says which); nothing of the scoring part was used."
    )
    weights = {"note": note, "look": look, "course": course}
    asked.output.write_text(json.dumps(weights, separators=(",", ":")) + "\n", "utf-8")
    print(f"wrote {asked.output}")


if __name__ == "__main__":
    main()
