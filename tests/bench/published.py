"""The literature beside us: each published criterion at its best threshold, on the same sounds.

Run with ``python -m tests.bench.published [--loops N] [--seconds S] [--sounds N] [--json FILE]``.
Thresholds are chosen on the tuning part, by loop seed and by sound package, and scored on the
scoring part: loops, sounds and terms are those of the detector's own table (``trials.py``,
``scoring.py``), though fewer sounds and less of each.

Two thresholds are chosen for every criterion: that of the highest F1 over episodes (a judged loop
caught is right, every false howl in loops and sounds is wrong), and the loosest that is as quiet
as our set way, by howls in the tuning part's sounds without feedback.
"""

from __future__ import annotations

from tests.bench import one_thread  # noqa: F401

# isort: split

import argparse
import json
import math
import os
import zlib
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, get_args

import numpy as np

from monitor.listening.rings import Way
from monitor.stage.provoke import Run, render_run
from monitor.stage.run_spec import random_spec
from tests.bench.criteria import THRESHOLDS, Points, alarm_count, alarms, answers
from tests.bench.figures import (
    LoopResult,
    Measure,
    loop_figures,
    rate,
)
from tests.bench.material import Sound, programme_for, sounds
from tests.bench.pool import run_all
from tests.bench.replay import PLAIN, listen
from tests.bench.report import cell, print_table
from tests.bench.results import finite
from tests.bench.scoring import (
    NEAR_HZ,
    NEAR_PART,
    Flagged,
    LoopFacts,
    LoopScore,
    Truth,
    facts_of,
    score_loop,
)
from tests.bench.sources import SCORED_SEEDS_FROM
from tests.bench.trials import PROGRAMME_S, render, samples_of

GROUPS = ("music", "speech", "singing", "steady")
WAYS: tuple[Way, ...] = get_args(Way)
LINES = (
    ("caught", "howls caught", "%"),
    ("howl_median_s", "after the overtake, median", "s"),
    ("howl_95_s", "  95 %", "s"),
    ("before_louder", "before louder than all the programme", "%"),
    ("false_howls", "howls where nothing rings", "/h"),
)
"""Of a row's figures over loops, those that a criterion has too."""

BEST, QUIET, STRICTEST, OURS = "best F1", "as quiet as set", "the strictest", "as it ships"


@dataclass(frozen=True, slots=True)
class LoopFindings:
    """One run: when each way caught its howl, s (NaN: never), and its false howls.

    Arrays [n_thresholds] under the way's name.
    """

    facts: LoopFacts
    howl_s: dict[str, np.ndarray]
    false_count: dict[str, np.ndarray]


@dataclass(frozen=True, slots=True)
class SoundFindings:
    """One sound without feedback: the howls of each way, all of them false."""

    group: str
    hours: float
    false_count: dict[str, np.ndarray]


@dataclass(frozen=True)
class Part:
    """The findings of the tuning or of the scoring part."""

    loops: Sequence[LoopFindings]
    sounds: Sequence[SoundFindings]

    def hours(self, group: str) -> float:
        """Hours of sound without feedback in a group."""
        return sum(sound.hours for sound in self.sounds if sound.group == group)

    def false_howls(self, way: str, groups: Sequence[str] = GROUPS) -> np.ndarray:
        """Howls in sound without feedback, at each threshold."""
        counts = [sound.false_count[way] for sound in self.sounds if sound.group in groups]
        total: np.ndarray = np.sum(counts, axis=0, dtype=int)
        return total

    def episodes(self, way: str) -> tuple[np.ndarray, np.ndarray, int]:
        """Howls caught and false howls anywhere, at each threshold; and how many were to catch."""
        judged = [loop for loop in self.loops if loop.facts.judged]
        caught = np.sum([np.isfinite(loop.howl_s[way]) for loop in judged], axis=0)
        in_loops = np.sum([loop.false_count[way] for loop in self.loops], axis=0)
        return caught, in_loops + self.false_howls(way), len(judged)

    def f1(self, way: str) -> np.ndarray:
        """F1 over episodes, at each threshold."""
        caught, false_count, wanted = self.episodes(way)
        score: np.ndarray = 2.0 * caught / (caught + false_count + wanted)
        return score


def judge(points: Points, thresholds: np.ndarray, truth: Truth) -> tuple[np.ndarray, np.ndarray]:
    """When a criterion catches the howl of a run, s, and its false howls, at each threshold.

    A point is at a frequency when its bin is: nobody is asked for less than half a bin.
    """
    slack_hz = points.bin_hz / 2.0
    at_true = _at(points.frequency_hz, truth.true_hz, slack_hz)
    excused = _at(points.frequency_hz, truth.near_hz, slack_hz)
    excused &= (points.time_s >= truth.first_s) & (points.time_s <= truth.last_s)
    howl_s = np.full(len(thresholds), np.nan)
    false_count = np.zeros(len(thresholds), int)
    for i, threshold in enumerate(thresholds):
        flagged = points.score >= threshold
        false_count[i] = alarm_count(points.part(flagged & ~excused))
        right_s = [
            truth.right_from_s(_ring_at(alarm.begin_s, alarm.end_s, truth), alarm.begin_s)
            for alarm in alarms(points.part(flagged & at_true))
        ]
        in_time = [at_s for at_s in right_s if at_s is not None and at_s <= truth.end_s]
        howl_s[i] = min(in_time, default=math.nan)
    return howl_s, false_count


def _ring_at(begin_s: float, end_s: float, truth: Truth) -> Flagged:
    """An alarm that is known to be at a true frequency."""
    return Flagged(float(truth.true_hz[0]), 0, None, begin_s, end_s)


def _at(frequency_hz: np.ndarray, places_hz: np.ndarray, slack_hz: float) -> np.ndarray:
    """Whether each frequency [n] is one of the places, as in `is_at`, or within ``slack_hz``."""
    reach_hz = np.maximum(NEAR_PART * frequency_hz, max(NEAR_HZ, slack_hz))
    found = np.zeros(len(frequency_hz), bool)
    for place_hz in places_hz:
        found |= np.abs(frequency_hz - place_hz) <= reach_hz
    return found


def judge_loop(seed: int) -> LoopFindings:
    """Render loop ``seed`` and judge all ways on it."""
    run, programme = render(seed, stable=False) if seed >= SCORED_SEEDS_FROM else _tuning_run(seed)
    truth = Truth(run)
    howl_s: dict[str, np.ndarray] = {}
    false_count: dict[str, np.ndarray] = {}
    for name, points in answers(run.closed, sample_rate_hz=run.sample_rate_hz).items():
        howl_s[name], false_count[name] = judge(points, THRESHOLDS[name], truth)
    for way in WAYS:
        score = score_loop(truth, _ours(run.closed, way, run.sample_rate_hz))
        howl_s[way] = np.array([math.nan if score.howl_s is None else score.howl_s])
        false_count[way] = np.array([score.false_howls])
    return LoopFindings(facts_of(run, programme=programme), howl_s, false_count)


def _tuning_run(seed: int) -> tuple[Run, str]:
    """As `render`, with sounds of the tuning part."""
    sound = programme_for(seed, PROGRAMME_S, [sound for sound in sounds() if not sound.scored])
    programmes = ("silence",) if sound is None else ("given",)
    return render_run(random_spec(seed, programmes=programmes), sound), "tuning"


def _ours(samples: np.ndarray, way: Way, rate_hz: int) -> list[Flagged]:
    return listen(samples, sample_rate_hz=rate_hz, way=way, moves=(PLAIN,))[PLAIN]


def judge_sound(sound: Sound, seconds: float) -> SoundFindings:
    """Count the howls of all ways in a sound without feedback."""
    samples, rate_hz = samples_of(sound, seconds)
    false_count = {
        name: np.array(
            [alarm_count(points.part(points.score >= least)) for least in THRESHOLDS[name]]
        )
        for name, points in answers(samples, sample_rate_hz=rate_hz).items()
    }
    for way in WAYS:
        flagged = _ours(samples, way, rate_hz)
        false_count[way] = np.array([sum(ring.howl_s is not None for ring in flagged)])
    return SoundFindings(sound.group, len(samples) / rate_hz / 3600.0, false_count)


def best_threshold(part: Part, way: str) -> int:
    """Place of the threshold with the highest F1 over episodes; of equals the strictest."""
    f1 = part.f1(way)
    return len(f1) - 1 - int(np.argmax(f1[::-1]))


def quiet_threshold(part: Part, way: str) -> int | None:
    """Place of the loosest threshold as quiet as our set way; None if none is."""
    quiet = np.flatnonzero(part.false_howls(way) <= part.false_howls("set")[0])
    return int(quiet[0]) if len(quiet) else None


def row_of(part: Part, way: str, place: int, chosen: str) -> dict[str, Any]:
    """The figures of one way at one of its thresholds.

    ``threshold`` is None for ours; ``figures`` as in ``figures.py``; ``false_howls`` an hour of
    each group; ``precision`` and ``f1`` over episodes, 0 to 1.
    """
    row = (way, 1.0)
    loops = [LoopResult(loop.facts, {row: _score(loop, way, place)}) for loop in part.loops]
    found = loop_figures(loops, row)
    caught, false_count = (counts[place] for counts in part.episodes(way)[:2])
    return {
        "way": way,
        "chosen": chosen,
        "threshold": float(THRESHOLDS[way][place]) if way in THRESHOLDS else None,
        "figures": {key: found[key] for key, _, _ in LINES},
        "false_howls": {
            group: rate(int(part.false_howls(way, (group,))[place]), part.hours(group))
            for group in GROUPS
            if part.hours(group) > 0.0
        },
        "precision": float(caught / max(caught + false_count, 1)),
        "f1": float(part.f1(way)[place]),
    }


def _score(loop: LoopFindings, way: str, place: int) -> LoopScore:
    howl_s = float(loop.howl_s[way][place])
    return LoopScore(
        howl_s=None if math.isnan(howl_s) else howl_s,
        ringing_s=None,
        cents=None,
        right_band=None,
        false_howls=int(loop.false_count[way][place]),
        false_ringings=0,
        close_s=(),
        lit_part=None,
    )


def table(tuning: Part, scoring: Part) -> list[dict[str, Any]]:
    """Rows of our ways, then two of every criterion, chosen on ``tuning`` alone.

    Where no threshold is as quiet as our set way the second row is the strictest of those tried.
    """
    found = [row_of(scoring, way, 0, OURS) for way in WAYS]
    for way, thresholds in THRESHOLDS.items():
        found.append(row_of(scoring, way, best_threshold(tuning, way), BEST))
        quiet = quiet_threshold(tuning, way)
        if quiet is None:
            found.append(row_of(scoring, way, len(thresholds) - 1, STRICTEST))
        else:
            found.append(row_of(scoring, way, quiet, QUIET))
    return found


def rows(
    n_loops: int, seconds: float, *, n_sounds: int = 30, processes: int | None = None
) -> list[dict[str, Any]]:
    """Choose thresholds, score, and return the rows of `table`; progress on stderr.

    Parameters
    ----------
    n_loops : int
        Closed loops to score on; half as many are tuned on.
    seconds : float
        Of each sound without feedback.
    n_sounds : int
        Of each group in each part.
    processes : int, optional
        One a processor by default.
    """
    tuning = _part(range((n_loops + 1) // 2), False, seconds, n_sounds, processes)
    seeds = range(SCORED_SEEDS_FROM, SCORED_SEEDS_FROM + n_loops)
    return table(tuning, _part(seeds, True, seconds, n_sounds, processes))


def _part(
    seeds: Sequence[int], scored: bool, seconds: float, n_sounds: int, processes: int | None
) -> Part:
    name = "scored" if scored else "tuned"
    loops = run_all(
        judge_loop, [(seed,) for seed in seeds], name=f"loops {name} on", processes=processes
    )
    chosen = some_of([sound for sound in sounds() if sound.scored == scored], n_sounds)
    heard = run_all(
        judge_sound,
        [(sound, seconds) for sound in chosen],
        name=f"sounds {name} on",
        processes=processes,
        weights=[min(sound.duration_s, seconds) for sound in chosen],
    )
    return Part(loops, heard)


def some_of(pool: Sequence[Sound], count: int) -> list[Sound]:
    """``count`` sounds of each group, as evenly over its packages as they go."""
    chosen: list[Sound] = []
    for group in GROUPS:
        turns: dict[str, int] = {}
        queue = []
        for sound in sorted(pool, key=lambda one: zlib.crc32(one.path.name.encode())):
            if sound.group == group:
                turns[sound.package] = turns.get(sound.package, 0) + 1
                queue.append((turns[sound.package], sound.package, sound))
        queue.sort(key=lambda one: one[:2])
        chosen += [sound for _, _, sound in queue[:count]]
    return chosen


def print_rows(found: Sequence[dict[str, Any]]) -> None:
    """Print the table."""
    groups = [group for group in GROUPS if group in found[0]["false_howls"]]
    header = ["", "chosen", "threshold", *(words.strip() for _, words, _ in LINES), "F1"]
    lines = [
        [
            row["way"],
            row["chosen"],
            "" if row["threshold"] is None else f"{row['threshold']:.5g}",
            *(cell(row["figures"][key], unit) for key, _, unit in LINES),
            f"{row['f1']:.3f}",
        ]
        for row in found
    ]
    print_table("the literature beside us: closed loops", header, lines)
    lines = [
        [row["way"], row["chosen"], *(cell(row["false_howls"][group], "/h") for group in groups)]
        for row in found
    ]
    print_table("false howls an hour, the same thresholds", ["", "chosen", *groups], lines)


def as_json(found: Sequence[dict[str, Any]]) -> str:
    """The rows as JSON; "never" is null."""

    def plain(value: Any) -> Any:
        if isinstance(value, Measure):
            return asdict(value)
        return {k: plain(v) for k, v in value.items()} if isinstance(value, dict) else value

    return json.dumps(finite([plain(row) for row in found]), indent=1, allow_nan=False) + "\n"


def main() -> None:
    """Print the table, write what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument("--loops", type=int, default=120, help="to score on (default 120)")
    parser.add_argument("--seconds", type=float, default=20.0, help="of each sound (default 20)")
    parser.add_argument("--sounds", type=int, default=30, help="of each group (default 30)")
    parser.add_argument("--processes", type=int, default=os.cpu_count())
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the rows here")
    asked = parser.parse_args()
    found = rows(asked.loops, asked.seconds, n_sounds=asked.sounds, processes=asked.processes)
    print_rows(found)
    if asked.json:
        asked.json.parent.mkdir(parents=True, exist_ok=True)
        asked.json.write_text(as_json(found), "utf-8")


if __name__ == "__main__":
    main()
