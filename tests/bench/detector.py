"""Score the detector: closed loops it has not seen, and sound without feedback.

Run with ``python -m tests.bench.detector [--loops N] [--json FILE] [--pictures DIR]``.  Truth
comes from the Nyquist criterion and the twin run with the loop opened, never from the detector.
What counts as right, false and stopped stands at the top of ``scoring.py``.
"""

from __future__ import annotations

from tests.bench import one_thread  # noqa: F401

# isort: split

import argparse
import os
import sys
from importlib.util import find_spec
from pathlib import Path

from tests.bench import report
from tests.bench.material import sounds
from tests.bench.pool import run_all
from tests.bench.results import Results, as_json
from tests.bench.sources import SCORED_SEEDS_FROM
from tests.bench.trials import (
    STABLE_SEEDS_FROM,
    detectors,
    score_run,
    score_sound,
)

MATPLOTLIB_MISSING = (
    "pictures need matplotlib: pip install 'howl-lantern[bench]', or leave --pictures out"
)


def main() -> None:
    """Score, print the tables, write what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument("--loops", type=int, default=320, help="that ring (default 320)")
    parser.add_argument("--stable", type=int, help="that do not (default: a quarter as many)")
    parser.add_argument(
        "--seconds", type=float, default=float("inf"), help="of each sound (default: all)"
    )
    parser.add_argument("--processes", type=int, default=os.cpu_count())
    parser.add_argument("--json", type=Path, metavar="FILE", help="write all results here")
    parser.add_argument("--pictures", type=Path, metavar="DIR", help="draw curves and worst cases")
    parser.add_argument("--worst", type=int, default=6, help="cases of a kind drawn (default 6)")
    asked = parser.parse_args()
    if asked.pictures and find_spec("matplotlib") is None:
        sys.exit(MATPLOTLIB_MISSING)
    material = sounds()
    results = _scored(
        loops=asked.loops,
        stable=asked.loops // 4 if asked.stable is None else asked.stable,
        seconds=asked.seconds,
        processes=asked.processes,
    )
    report.print_all(results, material, rows=tuple(detectors()))
    if asked.json:
        asked.json.parent.mkdir(parents=True, exist_ok=True)
        asked.json.write_text(as_json(results), "utf-8")
        print(f"wrote {asked.json}", file=sys.stderr)
    if asked.pictures:
        _draw(results, asked.pictures, asked.worst, asked.seconds, asked.processes)
        print(f"drew into {asked.pictures}", file=sys.stderr)


def _scored(*, loops: int, stable: int, seconds: float, processes: int) -> Results:
    runs = run_all(
        score_run,
        [(SCORED_SEEDS_FROM + i, False) for i in range(loops)]
        + [(STABLE_SEEDS_FROM + i, True) for i in range(stable)],
        name="closed loops",
        processes=processes,
    )
    scored = [sound for sound in sounds() if sound.scored]
    heard = run_all(
        score_sound,
        [(sound, seconds) for sound in scored],
        name="sounds",
        processes=processes,
        weights=[min(sound.duration_s, seconds) for sound in scored],
    )
    return Results(runs[:loops], runs[loops:], heard)


def _draw(results: Results, folder: Path, worst: int, seconds: float, processes: int) -> None:
    from tests.bench import gallery, pictures

    pictures.draw_curves(results, folder)
    by_name = {sound.path.name: sound for sound in sounds()}
    misses = [
        (loop, folder / f"miss-{place}-loop-{loop.facts.seed}.png")
        for place, loop in enumerate(gallery.worst_misses(results, worst), start=1)
    ]
    alarms = [
        (alarm, by_name[alarm.sound], seconds, folder / f"false-{place}-{alarm.stem}.png")
        for place, alarm in enumerate(gallery.worst_false_alarms(results.sounds, worst), start=1)
    ]
    run_all(gallery.draw_miss, misses, name="misses drawn", processes=processes)
    run_all(gallery.draw_false_alarm, alarms, name="false alarms drawn", processes=processes)


if __name__ == "__main__":
    main()
