"""What the benchmark found: the trade-off curve of every detector, and all of it as JSON."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from tests.bench.figures import (
    LoopResult,
    Measure,
    Row,
    SoundResult,
    by,
    false_rates,
    loop_figures,
    precision,
)


@dataclass(frozen=True, slots=True)
class Results:
    """Runs that ring, runs that do not, and sounds without feedback."""

    loops: Sequence[LoopResult]
    calm: Sequence[LoopResult]
    sounds: Sequence[SoundResult]


@dataclass(frozen=True, slots=True)
class Point:
    """One setting of a detector: what it catches, how late, and how often it is wrong."""

    row: Row
    caught: float
    median_s: float
    late_s: float
    ringing_before: float
    false_howls: dict[str, Measure]
    false_ringings: dict[str, Measure]
    precision: dict[str, float]


def curve(results: Results) -> list[Point]:
    """Every setting of every detector, each group of sounds apart."""
    rows = sorted({row for result in (*results.loops, *results.sounds) for row in _rows(result)})
    groups = by(results.sounds, lambda sound: sound.group)
    points = []
    for row in rows:
        found = loop_figures(results.loops, row)
        rates = {group: false_rates(mine, row) for group, mine in sorted(groups.items())}
        caught = found["caught"].value
        points.append(
            Point(
                row=row,
                caught=caught,
                median_s=found["howl_median_s"].value,
                late_s=found["howl_95_s"].value,
                ringing_before=found["ringing_before"].value,
                false_howls={group: howls for group, (howls, _) in rates.items()},
                false_ringings={group: ringings for group, (_, ringings) in rates.items()},
                precision={g: precision(caught, howls.value) for g, (howls, _) in rates.items()},
            )
        )
    return points


def _rows(result: LoopResult | SoundResult) -> Iterable[Row]:
    return result.scores if isinstance(result, LoopResult) else result.flagged


def as_json(results: Results) -> str:
    """All results: figures, curve, every run and every false flag; "never" is null."""

    def named(scores: dict[Row, Any], value_of: Callable[[Any], Any]) -> dict[str, Any]:
        return {f"{name} {move:+g}": value_of(score) for (name, move), score in scores.items()}

    rows = sorted({row for loop in results.loops for row in loop.scores})
    content = {
        "figures": {
            f"{name} {move:+g}": {
                key: asdict(measure)
                for key, measure in loop_figures(results.loops, (name, move)).items()
            }
            for name, move in rows
        },
        "curve": [asdict(point) for point in curve(results)],
        "loops": [
            {
                **asdict(loop.facts),
                "judged": loop.facts.judged,
                "scores": named(loop.scores, asdict),
            }
            for loop in (*results.loops, *results.calm)
        ],
        "sounds": [
            {
                "name": sound.name,
                "package": sound.package,
                "group": sound.group,
                "kind": sound.kind,
                "hours": sound.hours,
                "flagged": named(sound.flagged, lambda rings: [asdict(ring) for ring in rings]),
            }
            for sound in results.sounds
        ],
    }
    return json.dumps(finite(content), indent=1, allow_nan=False) + "\n"


def finite(value: Any) -> Any:
    """The same with null for what JSON has no word for."""
    if isinstance(value, dict):
        return {key: finite(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [finite(one) for one in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
