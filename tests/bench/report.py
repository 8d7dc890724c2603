"""The tables of the benchmark.

Every percentage has its exact binomial interval beside it, every delay its bootstrap interval,
every rate the upper end of its interval (all of them two-sided, 95 %); ``figures.py`` names the
sources.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from importlib import resources

from tests.bench.figures import (
    HOWLS_AN_HOUR,
    LoopResult,
    Measure,
    SoundResult,
    axes_of,
    by,
    false_rates,
    loop_figures,
)
from tests.bench.material import Sound
from tests.bench.replay import PLAIN
from tests.bench.results import Results, curve
from tests.bench.sources import SCORED_SEEDS_FROM

WAYS = ("soundcheck", "set")


@dataclass(frozen=True, slots=True)
class Goal:
    """What a figure should reach, and in which rows that is asked."""

    limit: float
    at_least: bool = False
    rows: tuple[str, ...] = WAYS

    def met(self, value: float) -> bool:
        """Whether a value reaches it."""
        return value >= self.limit if self.at_least else value <= self.limit

    def __str__(self) -> str:
        where = "" if self.rows == WAYS else f" ({', '.join(self.rows)})"
        return f"{'>=' if self.at_least else '<='} {self.limit:g}{where}"


LINES: tuple[tuple[str, str, str, Goal | None], ...] = (
    ("caught", "howls caught before somebody acts", "%", Goal(99.5, at_least=True)),
    ("howl_median_s", "howl after the overtake, median", "s", Goal(0.10)),
    ("howl_95_s", "  95 %", "s", Goal(0.50)),
    ("caught_95_s", "  95 % of those caught", "s", None),
    ("before_louder", "howl before louder than all the programme", "%", Goal(85.0, at_least=True)),
    (
        "ringing_before",
        "ringing before the overtake",
        "%",
        Goal(75.0, at_least=True, rows=("soundcheck",)),
    ),
    ("ringing_median_s", "ringing after the overtake, median", "s", None),
    ("ringing_95_s", "  95 %", "s", None),
    ("right_band", "right third octave", "%", Goal(100.0, at_least=True)),
    ("cents_median", "frequency error, median", "cents", Goal(2.0)),
    ("cents_95", "  95 %", "cents", Goal(10.0)),
    ("closed_in_time", "rings closed within 0.3 s of their stop", "%", Goal(100.0, at_least=True)),
    ("close_median_s", "closed after the stop, median", "s", None),
    ("close_95_s", "  95 %", "s", Goal(0.30)),
    ("lit_whole", "howl shown without a gap until it stops", "%", None),
    ("false_howls", "howls at frequencies that do not ring", "/h", None),
    ("false_ringings", "ringing at frequencies that do not ring", "/h", None),
)
"""Key, words, unit and goal of each figure over loops that ring."""

FALSE_GOALS: dict[str, tuple[Goal | None, Goal | None]] = {
    "music": (Goal(0.2, rows=("set",)), Goal(6.0, rows=("set",))),
    "speech": (Goal(0.0, rows=("set",)), Goal(0.0, rows=("set",))),
    "steady": (Goal(2.0, rows=("set",)), None),
}
"""Howls and ringings an hour by group of sounds."""


def cell(measure: Measure, unit: str) -> str:
    """A figure in words, its interval beside it."""
    if math.isnan(measure.value):
        return "-"
    if unit == "/h":
        return f"{measure.value:.1f} ({measure.count}, < {measure.high:.1f})"
    digits = 2 if unit == "s" else 1
    return f"{_number(measure.value, digits)} ({_span(measure, digits)})"


def _span(measure: Measure, digits: int) -> str:
    return f"{_number(measure.low, digits)} to {_number(measure.high, digits)}"


def _number(value: float, digits: int) -> str:
    return "never" if math.isinf(value) else f"{value:.{digits}f}"


def verdict(goal: Goal | None, row: str, measure: Measure) -> str:
    """What stands beside a figure that has a goal in this row."""
    if goal is None or row not in goal.rows or math.isnan(measure.value):
        return ""
    return " met" if goal.met(measure.value) else " short"


def print_table(title: str, header: Sequence[str], lines: Iterable[Sequence[str]]) -> None:
    """A table with its columns aligned: words to the left, figures to the right of the first."""
    body = [header, *lines]
    widths = [max(len(line[i]) for line in body) for i in range(len(header))]
    print(f"\n{title}")
    for line in body:
        parts = [
            f"{text:<{width}}" if i == 0 else f"{text:>{width}}"
            for i, (text, width) in enumerate(zip(line, widths, strict=True))
        ]
        print(f"  {'   '.join(parts)}".rstrip())


def print_all(results: Results, material: Sequence[Sound], *, rows: Sequence[str]) -> None:
    """Every table, in the order in which one asks."""
    print_split(results, material)
    print_loops(results.loops, rows)
    print_axes(results.loops)
    print_calm(results.calm, rows)
    print_false(results.sounds, rows)
    print_packages(results.sounds)
    print_curve(results)


def print_split(results: Results, material: Sequence[Sound]) -> None:
    """What is tuned on and what is scored on."""
    note = json.loads(resources.files("monitor.listening").joinpath("scorer.json").read_text())
    print(f"weights: {note['note']}")
    used = by(results.sounds, lambda sound: sound.package)
    lines = []
    for package in sorted({sound.package for sound in material}):
        mine = [sound for sound in material if sound.package == package]
        hours = sum(sound.duration_s for sound in mine) / 3600.0
        scored_hours = sum(sound.hours for sound in used.get(package, []))
        groups = ", ".join(sorted({sound.group for sound in mine}))
        lines.append(
            (
                package,
                groups,
                "-" if mine[0].scored else f"{hours:.2f} h",
                f"{scored_hours:.2f} h" if mine[0].scored else "-",
            )
        )
    print_table(
        "sounds without feedback, by package: each is tuned on or scored on, never both",
        ("package", "groups", "tuned on", "scored on"),
        lines,
    )
    seeds = [loop.facts.seed for loop in (*results.loops, *results.calm)]
    hours = sum(loop.facts.length_s for loop in (*results.loops, *results.calm)) / 3600.0
    print(
        f"\nclosed loops, by seed of room and run: tuned on below {SCORED_SEEDS_FROM}, scored on "
        f"{min(seeds, default=0)} to {max(seeds, default=0)} ({len(seeds)} runs, {hours:.2f} h)"
    )


def print_loops(loops: Sequence[LoopResult], rows: Sequence[str]) -> None:
    """The figures over loops that ring, with their goals."""
    judged = sum(loop.facts.judged for loop in loops)
    found = {row: loop_figures(loops, (row, PLAIN)) for row in rows}
    lines = []
    for key, words, unit, goal in LINES:
        cells = [cell(found[row][key], unit) + verdict(goal, row, found[row][key]) for row in rows]
        lines.append((words, unit, str(goal) if goal else "", *cells))
    print_table(
        f"closed loops that ring: {len(loops)}, of which {judged} overtake the programme in time "
        "(figure, 95 % interval; a howl never flagged counts as never)",
        ("", "", "goal", *rows),
        lines,
    )


def print_axes(loops: Sequence[LoopResult]) -> None:
    """How the runs cover what is varied, and where the weak spots are."""
    lines = []
    for axis in axes_of(loops):
        for name in axis.bins:
            mine = [loop for loop in loops if axis.bin_of(loop.facts) == name]
            judged = sum(loop.facts.judged for loop in mine)
            found = {way: loop_figures(mine, (way, PLAIN)) for way in WAYS}
            cells = []
            for way in WAYS:
                values = found[way]
                cells += [
                    _short(values["caught"], 0),
                    _short(values["howl_median_s"], 2),
                    _short(values["caught_95_s"], 2),
                ]
            cells.append(_short(found["soundcheck"]["ringing_before"], 0))
            lines.append((axis.name, name, str(len(mine)), str(judged), *cells))
    each = ("caught %", "median s", "95 % s")
    print_table(
        "the same loops along each axis: soundcheck, then set (95 % of those caught), then ringing "
        "before the overtake at soundcheck",
        ("axis", "", "runs", "judged", *each, *each, "early %"),
        lines,
    )


def _short(measure: Measure, digits: int) -> str:
    return "-" if math.isnan(measure.value) else _number(measure.value, digits)


def print_calm(calm: Sequence[LoopResult], rows: Sequence[str]) -> None:
    """Loops that never ring: every flag is false but those for nearly unstable frequencies."""
    found = {row: loop_figures(calm, (row, PLAIN)) for row in rows}
    hours = sum(loop.facts.length_s for loop in calm) / 3600.0
    print_table(
        f"closed loops that never ring: {len(calm)}, {hours:.2f} h; flags an hour at frequencies "
        "stable by 1.5 dB or more (count, upper end of the 95 % interval)",
        ("", *rows),
        [
            (words, *(cell(found[row][key], "/h") for row in rows))
            for key, words in (("false_howls", "howls"), ("false_ringings", "ringing"))
        ],
    )


def print_false(sounds: Sequence[SoundResult], rows: Sequence[str]) -> None:
    """False flags an hour by group of sounds, and by kind within each."""
    lines = []
    for group, mine in sorted(by(sounds, lambda sound: sound.group).items()):
        kinds = by(mine, lambda sound: sound.kind)
        goals = FALSE_GOALS.get(group, (None, None))
        for words, part in [(group, mine), *((f"  {kind}", kinds[kind]) for kind in sorted(kinds))]:
            if part is not mine and len(kinds) == 1:
                continue
            hours = sum(sound.hours for sound in part)
            for degree, goal in enumerate(goals):
                goal = goal if part is mine else None
                cells = []
                for row in rows:
                    found = false_rates(part, (row, PLAIN))[degree]
                    silent = degree == 1 and row not in WAYS
                    cells.append("-" if silent else cell(found, "/h") + verdict(goal, row, found))
                name = (words, f"{hours:.2f} h") if degree == 0 else ("", "")
                lines.append((*name, ("howl", "ringing")[degree], str(goal or ""), *cells))
    print_table(
        "false flags an hour in sounds without feedback (count, upper end of the 95 % interval)",
        ("group, kind", "", "", "goal", *rows),
        lines,
    )


def print_packages(sounds: Sequence[SoundResult]) -> None:
    """False howls and ringings by package, and the worst of each group by name."""
    lines = []
    worst: list[str] = []
    for group, mine in sorted(by(sounds, lambda sound: sound.group).items()):
        packages = by(mine, lambda sound: sound.package)
        for package in sorted(packages):
            part = packages[package]
            cells = [
                cell(measure, "/h") for way in WAYS for measure in false_rates(part, (way, PLAIN))
            ]
            hours = sum(sound.hours for sound in part)
            lines.append((group, package, f"{hours:.2f} h", *cells))

        def badness(package: str, packages: dict[str, list[SoundResult]] = packages) -> list[float]:
            rates = [false_rates(packages[package], (way, PLAIN)) for way in reversed(WAYS)]
            return [howl.value for howl, _ in rates] + [ringing.value for _, ringing in rates]

        name = max(packages, key=badness)
        values = badness(name)
        worst.append(
            f"{group}: {name}, {values[0]:.1f} howls an hour in set, {values[1]:.1f} at soundcheck"
            if any(values)
            else f"{group}: none flagged anything"
        )
    print_table(
        "the same by package: soundcheck howl and ringing, set howl and ringing",
        ("group", "package", "", "howl", "ringing", "howl", "ringing"),
        lines,
    )
    print("worst packages:")
    for line in worst:
        print(f"  {line}")


def print_curve(results: Results) -> None:
    """The trade-off: what other thresholds would give."""
    points = curve(results)
    groups = sorted({group for point in points for group in point.false_howls})
    lines = [
        (
            f"{point.row[0]} {point.row[1]:+g}",
            f"{point.caught:.1f}",
            _number(point.median_s, 2),
            _number(point.late_s, 2),
            "-" if math.isnan(point.ringing_before) else f"{point.ringing_before:.0f}",
            *(
                f"{point.false_howls[group].value:.1f} ({point.precision[group]:.0f})"
                for group in groups
            ),
        )
        for point in points
    ]
    print_table(
        "with the log-odds asked for moved: howls caught, delay, ringing before the overtake; "
        f"false howls an hour (precision in %, with {HOWLS_AN_HOUR:g} howls an hour to be found)",
        ("", "caught %", "median s", "95 % s", "early %", *groups),
        lines,
    )
    print("Nothing may be tuned on this table: thresholds are chosen on the tuning part.")
