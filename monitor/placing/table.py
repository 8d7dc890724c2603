"""A reckoning as lines of text for a terminal: what limits, every pair, the changes, the doubts."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from monitor.counted import counted
from monitor.placing.changes import Change
from monitor.placing.ground import length_words
from monitor.placing.reckon import Gain, Pair, Reckoning
from monitor.placing.stage import UNIT_M, Stage
from monitor.placing.words import spare_words

WIDTH = 80
"""Signs in a line of prose, as many as terminals have; tables are as wide as the names need."""


def report(stage: Stage, reckoning: Reckoning) -> str:
    """Return everything that was reckoned of a stage, ready to print.

    Lengths are in the stage's own units; negative decibels are losses.
    """
    parts = [
        [_heading(stage)],
        _folded(reckoning.sentence),
        _gain_lines(reckoning.gain, stage),
        _pair_table(reckoning.pairs, stage),
        ["each change on its own:", *_change_lines(reckoning.changes)],
        ["not known:", *_points(reckoning.unknown)],
        ["mind:", *_points(reckoning.cautions)],
    ]
    return "\n\n".join("\n".join(lines) for lines in parts)


def _heading(stage: Stage) -> str:
    room = stage.room
    unit = "m" if stage.units == "metres" else "ft"
    size = " x ".join(f"{side / UNIT_M[stage.units]:.3g}" for side in room.size_m)
    said = "" if isinstance(room.reverberation, float | int) else f" ({room.reverberation})"
    return f"{stage.name or 'stage plan'}: {size} {unit}, rings on for {room.t60_s:g} s{said}"


def _gain_lines(gain: Gain, stage: Stage) -> list[str]:
    low, high = (_rounded(db) for db in (gain.low_db, gain.high_db))
    critical = length_words(gain.critical_distance_m, stage.units)
    return [
        f"gain      {gain.potential_db:.0f} dB possible 6 dB below ringing, "
        f"{gain.needed_db:.0f} dB needed: {spare_words(gain.spare_db)} (from {low} to {high} dB)",
        f"open      {counted(gain.open_microphones, 'microphone')}",
        f"room      direct and reverberant sound are equal {critical} from a loudspeaker",
    ]


def _rounded(value_db: float) -> str:
    """Return whole decibels, without the minus of a zero."""
    return f"{round(value_db):d}"


def _pair_table(pairs: Sequence[Pair], stage: Stage) -> list[str]:
    """Return a line for every pair, the one that limits first; names set the widths."""
    head = ("microphone", "loudspeaker", "distance", "mic turned", "speaker turned", "heard")
    rows = [
        (
            pair.microphone,
            pair.loudspeaker,
            length_words(pair.distance_m, stage.units),
            _loss(pair.off_microphone_db),
            _loss(pair.off_loudspeaker_db),
            "limits" if pair.limits else _loss(pair.feedback_db),
        )
        for pair in pairs
    ]
    widths = [max(len(row[i]) for row in (head, *rows)) for i in range(len(head))]
    lines = []
    for row in (head, *rows):
        cells = [
            cell.ljust(width) if i < 2 else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append("  ".join(cells).rstrip())
    return lines


def _loss(value_db: float) -> str:
    """Return a loss as it is read: "-8.4 dB", and "0 dB" where nothing is lost."""
    text = f"{value_db:.1f}"
    return "0 dB" if text in ("0.0", "-0.0") else f"{text} dB"


def _change_lines(changes: Sequence[Change]) -> list[str]:
    if not changes:
        return ["  none brings a decibel"]
    lines = []
    for change in changes:
        span = f"({_rounded(change.low_db)} to {_rounded(change.high_db)})"
        lines.append(f"  {f'+{change.gain_db:.1f}':>5} dB {span:>11}  {change.words}")
    return lines


def _points(lines: Sequence[str]) -> list[str]:
    return [part for line in lines for part in _folded(line, first="  - ", rest="    ")]


def _folded(text: str, *, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest)
