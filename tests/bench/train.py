"""``make train``: make ``monitor/listening/scorer.json`` again from sounds and closed loops.

Two scorers: one of looks, one of courses, which judges how the first one's answers have gone.  On
what it was trained on the first is surer than on anything new, so the second learns from answers
that were never trained on: sources are dealt into two halves, and each half is judged by a scorer
that saw the other half only.

At the end each half is judged by both scorers of the other half (``held_back``): the table from
which the thresholds of ``monitor/listening/listener.py`` are chosen.
"""

from __future__ import annotations

from tests.bench import one_thread  # noqa: F401

# isort: split

import argparse
import json
import tempfile
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np

from monitor.listening.courses import COURSE_FEATURES
from monitor.listening.evidence import FEATURES
from monitor.listening.scorer import Scorer, Scorers
from tests.bench import numbers
from tests.bench.held_back import judge, table
from tests.bench.material import Sound, sounds
from tests.bench.pool import run_all
from tests.bench.rows import Rows, rows_of_courses, rows_of_looks
from tests.bench.sources import (
    is_together,
    streams_of_loop,
    streams_of_several,
    streams_of_sound,
    streams_of_tones,
)
from tests.bench.streams import Stream, read_streams, save_streams
from tests.bench.trees import COURSE_DEPTH, COURSE_TREES, LOOK_DEPTH, LOOK_TREES, train

WEIGHTS_FILE = Path(__file__).parents[2] / "monitor" / "listening" / "scorer.json"

FEEDBACK_PART = {"look": 0.15, "course": 0.3}
"""Weight of all feedback beside all else.  On the tuning part, packages held back: of looks 0.15
raised fewer false howls than 0.25 for as many caught, of courses 0.3 fewer than 0.15."""
Kind = Literal["look", "course"]
KINDS: dict[Kind, tuple[tuple[str, ...], int, int]] = {
    "look": (FEATURES, LOOK_TREES, LOOK_DEPTH),
    "course": (COURSE_FEATURES, COURSE_TREES, COURSE_DEPTH),
}
"""What each scorer asks, how many trees it has and how deep they are."""
SEVERAL = 400
"""Sets of several frequencies that go together: the practice stage's loops seldom have more than
one on its own feet, a room with a fast hand at the fader has."""
TONES = 900
"""Sets of tones: three hours, so that whatever is pure and steady is known as well as music."""
FULL_ROWS = 300
"""Rows of feedback that a loop brings to count fully; each loop counts much alike."""


@dataclass(frozen=True, slots=True)
class Job:
    """One source: what makes its streams, of what, its group, and which half it belongs to.

    Sounds of two groups together are a group of their own: what is flagged may be either's.
    """

    name: str
    group: str
    work: Callable[..., list[Stream]]
    given: tuple[Any, ...]
    half: int


def halves_of(pool: Sequence[Sound]) -> dict[str, int]:
    """The half that each package belongs to: the longest first, each where there is less of its
    groups so far, so that either half has some of all that there are two packages of."""
    groups = sorted({sound.group for sound in pool})
    package_s: dict[str, np.ndarray] = {}
    for sound in pool:
        seconds = package_s.setdefault(sound.package, np.zeros(len(groups)))
        seconds[groups.index(sound.group)] += sound.duration_s
    whole_s = np.sum(list(package_s.values()), axis=0)
    half_s = np.zeros((2, len(groups)))
    half_of = {}
    for package, its_s in sorted(package_s.items(), key=lambda one: (-one[1].sum(), one[0])):
        half_of[package] = int(np.argmin(half_s / whole_s @ (its_s / whole_s)))
        half_s[half_of[package]] += its_s
    return half_of


def jobs_of(*, runs: int, copies: int, pool: Sequence[Sound]) -> list[Job]:
    """All sources; a package's sounds are all in one half, also where they come with another's."""
    half_of = halves_of(pool)
    halves = [[sound for sound in pool if half_of[sound.package] == half] for half in (0, 1)]

    def other(sound: Sound, copy: int) -> Sound:
        rng = np.random.default_rng([zlib.crc32(sound.path.name.encode()), copy, 3])
        half = halves[half_of[sound.package]]
        return half[int(rng.integers(len(half)))]

    found = [
        Job(
            f"{sound.path.stem} {copy}",
            "together" if is_together(copy) else sound.group,
            streams_of_sound,
            (sound, copy, other(sound, copy)),
            half_of[sound.package],
        )
        for place, sound in enumerate(pool)
        # Copies go by turns of four: where there are fewer, each sound begins at the next pair.
        for copy in range(2 * place % 4, 2 * place % 4 + copies)
    ]
    for group, work, n, run_of_halves in (
        ("tones", streams_of_tones, TONES, 16),
        ("loop", streams_of_loop, runs, 1),
        ("several", streams_of_several, SEVERAL, 1),
    ):
        found += [Job(f"{group} {i}", group, work, (i,), i // run_of_halves % 2) for i in range(n)]
    return found


def collect(job: Job, path: Path) -> None:
    """Make the streams of a source, unless they are there."""
    if not path.is_file():
        part = path.with_suffix(".part.npz")
        save_streams(job.work(*job.given), part)
        part.rename(path)


def looks_in(path: Path, seed: int) -> Rows:
    """Rows of looks of a source."""
    rng = np.random.default_rng([seed, 61])
    return _joined([rows_of_looks(stream, rng) for stream in read_streams(path)])


def courses_in(path: Path, scorer_file: Path) -> Rows:
    """Rows of courses of a source, judged by a scorer of looks."""
    scorer = Scorer(json.loads(scorer_file.read_text("utf-8")), FEATURES)
    return _joined([rows_of_courses(stream, scorer) for stream in read_streams(path)])


def _joined(rows: Sequence[Rows]) -> Rows:
    features, labels, weights = (np.concatenate([row[i] for row in rows]) for i in range(3))
    return features, labels, weights


def balanced(rows: Sequence[Rows], *, feedback_part: float) -> Rows:
    """All rows together; each loop's feedback counts alike, all of it a part of the rest."""
    parts = []
    for features, labels, weights in rows:
        is_feedback = labels > 0.0
        if is_feedback.any():
            weights = weights.copy()
            weights[is_feedback] *= np.clip(FULL_ROWS / weights[is_feedback].sum(), 0.25, 4.0)
        parts.append((features, labels, weights))
    features, labels, weights = _joined(parts)
    is_feedback = labels > 0.0
    weights[is_feedback] *= feedback_part * weights[~is_feedback].sum() / weights[is_feedback].sum()
    print(f"   {len(labels)} rows, {int(labels.sum())} of feedback", flush=True)
    return features, labels, weights


def _scorer_of(kind: Kind, rows: Sequence[Rows]) -> dict[str, Any]:
    names, trees, depth = KINDS[kind]
    together = balanced(rows, feedback_part=FEEDBACK_PART[kind])
    return train(together, names, trees=trees, depth=depth)


def _of_halves(kind: Kind, jobs: Sequence[Job], rows: Sequence[Rows], folder: Path) -> list[Path]:
    """The files of the scorers of either half."""
    files = []
    for half in (0, 1):
        own = [row for job, row in zip(jobs, rows, strict=True) if job.half == half]
        files.append(folder / f"{kind}_{half}.json")
        files[-1].write_text(json.dumps(_scorer_of(kind, own)), "utf-8")
    return files


def main() -> None:
    """Collect, train looks and then courses, write the weights, judge what was held back."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument("--runs", type=int, default=4800, help="closed loops (default 4800)")
    parser.add_argument("--copies", type=int, default=4, help="copies of each sound (default 4)")
    parser.add_argument("--output", type=Path, default=WEIGHTS_FILE, help="where the weights go")
    parser.add_argument(
        "--keep", type=Path, help="keep what was collected here, and use what is there already"
    )
    asked = parser.parse_args()
    pool = [sound for sound in sounds() if not sound.scored and sound.group != "apart"]
    jobs = jobs_of(runs=asked.runs, copies=asked.copies, pool=pool)
    with tempfile.TemporaryDirectory() as passing:
        folder = asked.keep or Path(passing)
        folder.mkdir(parents=True, exist_ok=True)
        weights, judges = _trained(jobs, folder)
        weights["note"] = (
            f"Trained by tests/bench/train.py on {asked.runs} simulated closed loops, "
            f"{asked.copies} varied copies of each of {len(pool)} sounds of the tuning part "
            f"(tests/bench/material.py says which), {TONES} sets of tones and {SEVERAL} of several "
            "lines; nothing of the scoring part was used."
        )
        # Before the judging, which takes long: they can be scored meanwhile.
        asked.output.write_text(json.dumps(weights, separators=(",", ":")) + "\n", "utf-8")
        print(f"wrote {asked.output}", flush=True)
        if asked.output == WEIGHTS_FILE:
            numbers.write()
        print(table(run_all(judge, judges, name="held back")))


def _trained(
    jobs: Sequence[Job], folder: Path
) -> tuple[dict[str, Any], list[tuple[Path, str, Path, Path]]]:
    """Both scorers, and who judges which source held back; what is on the way is in the folder."""
    paths = [folder / f"{job.name.replace('/', '_')}.npz" for job in jobs]
    run_all(collect, list(zip(jobs, paths, strict=True)), name="streams")
    seeds = [zlib.crc32(job.name.encode()) for job in jobs]
    looks = run_all(looks_in, list(zip(paths, seeds, strict=True)), name="looks")
    look_files = _of_halves("look", jobs, looks, folder)
    look = _scorer_of("look", looks)
    del looks
    judged_by = [look_files[1 - job.half] for job in jobs]
    courses = run_all(courses_in, list(zip(paths, judged_by, strict=True)), name="courses")
    course_files = _of_halves("course", jobs, courses, folder)
    course = _scorer_of("course", courses)
    del courses
    judges = [
        (path, job.group, look_files[1 - job.half], course_files[1 - job.half])
        for job, path in zip(jobs, paths, strict=True)
    ]
    weights = {"note": "", "look": look, "course": course}
    Scorers.of(weights)
    return weights, judges


if __name__ == "__main__":
    main()
