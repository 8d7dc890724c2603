"""What was done at a gig, each in a sentence; its notes; what the memory says."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from monitor.advice.labels import decibels
from monitor.counted import counted
from monitor.placing.reckon import reckon
from monitor.placing.stage_file import parse_stage
from monitor.report.curve import pulled_words
from monitor.report.evening import Evening, Happening
from monitor.report.timeline_parts import deaf_stretches
from monitor.report.title import ended_words
from monitor.report.words import EveningClock, capital, length_words, mapping_of, number, text
from monitor.soundcheck.words import step_words

_MOST_RING_OUTS = 3
_MOST_NOTES = 5
_MOST_MEMORY = 6


def done_lines(evening: Evening, clock: EveningClock) -> list[tuple[str, str]]:
    """Return pairs of a name and a sentence, in the order of an evening."""
    return [
        *_plan(evening),
        *_taken(evening, "level", "desk_level", "Level"),
        *_taken(evening, "low_cut", "low_cut", "Low cut"),
        *(("Ring-out", _ring_out(one, clock)) for one in evening.ring_outs()[-_MOST_RING_OUTS:]),
        *_sliders(evening),
        *_deaf(evening, clock),
        ("Gig", ended_words(evening)),
    ]


def _plan(evening: Evening) -> Iterator[tuple[str, str]]:
    plan, check = evening.last("plan"), evening.last("check")
    if plan is not None:
        yield "Plan", _plan_words(plan) or "a stage plan was saved"
    ticks = check.content.get("ticks") if check is not None else None
    if isinstance(ticks, list) and ticks:
        yield "Checklist", f"{counted(len(ticks), 'point')} ticked"


def _plan_words(plan: Happening) -> str:
    """Return the plan's sentence: as kept, else reckoned from the stage."""
    said, stage = text(plan.content.get("sentence"), 240), plan.content.get("stage")
    if said or not isinstance(stage, Mapping):
        return said
    try:
        return text(reckon(parse_stage(stage)).sentence, 240)
    except (ValueError, ArithmeticError, TypeError):
        return ""  # a plan of another release, or none


def _taken(evening: Evening, step: str, kind: str, name: str) -> Iterator[tuple[str, str]]:
    taken = evening.last(kind)
    if taken is None:
        return
    try:
        said = step_words(step, "done", taken.content, None)
    except (ValueError, TypeError, KeyError, OverflowError):
        said = "taken"  # of another release, or made by hand
    yield name, text(said, 120)


def _ring_out(one: Happening, clock: EveningClock) -> str:
    why = text(one.content.get("why"), 160)
    said = f"ended {clock.when(one.at_s)}: {ring_out_words(one)}"
    return f"{said}{f'. {capital(why)}' if why else ''}"


def ring_out_words(one: Happening) -> str:
    """Return what a ring-out won, how many sliders were pulled for it, and what that costs."""
    won_db = number(one.content.get("gain_won_db"), -60.0, 60.0)
    top_db = number(one.content.get("top_fader_db"), -200.0, 200.0)
    pulled = number(one.content.get("cut_count"), 0, 999)
    cost_db = number(one.content.get("tone_cost_db"), 0.0, 60.0)
    won = "gain not counted: the fader's marks were not given"
    if won_db is not None:
        won = f"{decibels(won_db)} dB won"
        if top_db is not None:
            won += f" (fader up to {decibels(top_db)} dB)"
    parts = [won]
    if pulled is not None:
        parts.append(f"{counted(int(pulled), 'slider')} pulled")
    if cost_db is not None:
        parts.append(f"costs {decibels(cost_db)} dB of tone on average")
    return ", ".join(parts)


def _sliders(evening: Evening) -> Iterator[tuple[str, str]]:
    name = f"{evening.equaliser}: " if evening.equaliser else ""
    yield "Equaliser at the end", f"{name}{pulled_words(evening) or 'no slider pulled'}"


def _deaf(evening: Evening, clock: EveningClock) -> Iterator[tuple[str, str]]:
    stretches = deaf_stretches(evening)
    if stretches:
        from_s, to_s = max(stretches, key=lambda one: one[1] - one[0])
        total_s = sum(b - a for a, b in stretches)
        longest = f", longest from {clock.at(from_s)} to {clock.at(to_s)}"
        said = f"{counted(len(stretches), 'time')}, {length_words(total_s)} in all"
        yield (
            "Could not hear",
            said + (longest if len(stretches) > 1 else f", {clock.when(from_s)}"),
        )


def notes(evening: Evening, clock: EveningClock) -> list[tuple[str, str]]:
    """Return the moments and words of the first notes, as many as a sheet has room for."""
    said = [
        (clock.at(one.at_s), text(one.content.get("text"), 160)) for one in evening.of_kind("note")
    ]
    return [(at, words) for at, words in said if words][:_MOST_NOTES]


def memory_lines(recollection: Mapping[str, Any] | None) -> list[str]:
    """Return what the memory says, line by line: of this venue, over all, and when it rang."""
    if not recollection:
        return []
    venue = mapping_of(recollection.get("venue"))
    lines = [
        *_lines(venue.get("words")),
        text(mapping_of(venue.get("gain")).get("words"), 240),
        *_lines(recollection.get("words")),
        *_lines(mapping_of(recollection.get("when")).get("words")),
    ]
    return [line for line in dict.fromkeys(lines) if line][:_MOST_MEMORY]


def _lines(value: Any) -> list[str]:
    return [text(line, 240) for line in value] if isinstance(value, list) else []
