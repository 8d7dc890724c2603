"""What to do about the rings of the moment, between two lines of a song: one line for the panel."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from monitor.advice.equaliser import Equaliser
from monitor.advice.labels import written
from monitor.advice.margin import USUAL_EXCESS_DB, WANTED_MARGIN_DB, Excess, advised_pull_db
from monitor.advice.pulls import Pull
from monitor.advice.single_pull import SinglePull, single_pull
from monitor.advice.sliders import STEP_DB

LINE_CHARACTERS = 21
"""What the small panel shows in one row."""
LONGEST_LABEL = 8
"""Longer typed ones are told by their frequency, or the line would not fit."""
MANY = 3
"""Three rings at once are the room's limit; common practice, no source."""
MOST_ASKED = 2
"""A third time the same slider: it is not the slider that is wrong."""
LEVEL_STEP_DB = 3.0
"""A step in level that is heard beside a new ring: a hand on the grille, or someone who stands
before the loudspeaker.  Three decibels are a doubling of power; our choice."""
LOW_HZ = 250.0
HIGH_HZ = 2500.0
"""Stand, stage and wedge couple low down; a microphone's pattern and a horn's beam decide high up:
common practice, no source; the borders are our choice."""
_TURN_DOWN = "turn down 3"
_STEP_BACK = "step back from wedge"


@dataclass(frozen=True, slots=True)
class RingNow:
    """One ring that is heard now; ``excess`` where its slope has told it."""

    frequency_hz: float
    excess: Excess | None = None


@dataclass(frozen=True, slots=True)
class SetAdvice:
    """What to do now.

    ``line`` has at most 21 characters.  ``pulls`` are what the line asks for (none where it asks
    for something else), ``second`` the next best slider where the first is at its end or the
    line asks for something else, ``hint`` a likely cause ("" if none), ``why`` how it was found.
    """

    line: str
    pulls: tuple[Pull, ...]
    second: Pull | None
    hint: str
    why: str


def set_advice(
    equaliser: Equaliser,
    rings: Sequence[RingNow],
    *,
    margin_db: float = WANTED_MARGIN_DB,
    standing: Sequence[Pull] = (),
    asked: Mapping[str, int] | None = None,
    level_step_db: float = 0.0,
) -> SetAdvice | None:
    """Return what to do about the rings that are heard now; None when there are none.

    Parameters
    ----------
    rings : sequence of RingNow
        The one that matters most first.
    margin_db : float, optional
        How far below ringing the first one is to be brought.
    standing : sequence of Pull
        What is pulled already.
    asked : mapping of str to int, optional
        How often each slider's label was asked for earlier tonight, this ring not counted.
    level_step_db : float
        By how much the level of all the rest jumped within a second of the first ring.

    Raises
    ------
    ValueError
        For a frequency that is none, or standing pulls that cannot be; one clear line.
    """
    if not rings:
        return None
    first = rings[0]
    depth_db = USUAL_EXCESS_DB + margin_db
    if first.excess is not None:
        # One that dies by itself has most of its margin: the smallest step is enough.
        depth_db = max(advised_pull_db(first.excess, margin_db=margin_db), STEP_DB)
    found = single_pull(equaliser, first.frequency_hz, depth_db, standing)
    why = _why(first)
    hint = _hint(rings, level_step_db)
    if len(rings) >= MANY:
        where = f"{len(rings)} ring at once: no single slider holds them"
        return SetAdvice(_TURN_DOWN, (), _first(found), hint, where)
    if not found.pulls:
        nothing = f"no slider is left for {written(first.frequency_hz)}"
        return SetAdvice(_TURN_DOWN, (), None, hint, nothing)
    main = max(found.pulls, key=lambda pull: pull.more_db)
    times = (asked or {}).get(main.label, 0)
    if times >= MOST_ASKED:
        line = _STEP_BACK if first.frequency_hz >= LOW_HZ else _TURN_DOWN
        again = f"{main.label} is asked for the {_nth(times + 1)} time tonight: another cure"
        return SetAdvice(line, (), main, hint, again)
    line, pulls = _line(equaliser, found.pulls)
    second = next((pull for pull in found.pulls if pull not in pulls), None)
    if found.at_end is not None:
        second = second or main
        why = f"{found.at_end} is at its end; {why}"
    return SetAdvice(line, pulls, second, hint, why)


def _first(found: SinglePull) -> Pull | None:
    return max(found.pulls, key=lambda pull: pull.more_db, default=None)


def _line(equaliser: Equaliser, pulls: Sequence[Pull]) -> tuple[str, tuple[Pull, ...]]:
    """Return "pull 2.5k by 4", or "pull 2.5k 3, 3.15k 2" where two share, and what it asks for."""
    ordered = sorted(pulls, key=lambda pull: -pull.more_db)
    if len(ordered) > 1:
        parts = [f"{_name(equaliser, pull)} {_decibels(pull.more_db)}" for pull in ordered]
        both = f"pull {', '.join(parts)}"
        if len(both) <= LINE_CHARACTERS:
            return both, tuple(ordered)
    first = ordered[0]
    return f"pull {_name(equaliser, first)} by {_decibels(first.more_db)}", (first,)


def _name(equaliser: Equaliser, pull: Pull) -> str:
    """Return what is printed on the slider, or where a filter that can be put anywhere goes."""
    swept = any(s.label == pull.label and s.is_swept for s in equaliser.sliders)
    short = len(pull.label) <= LONGEST_LABEL and not swept
    return pull.label if short else written(pull.centre_hz)


def _decibels(value_db: float) -> str:
    return f"{value_db:.1f}".removesuffix(".0")


def _nth(count: int) -> str:
    return {3: "third", 4: "fourth", 5: "fifth"}.get(count, f"{count}th")


def _why(ring: RingNow) -> str:
    if ring.excess is None:
        return f"{written(ring.frequency_hz)}: how far is not known yet, the usual is told"
    return f"{written(ring.frequency_hz)}: {ring.excess.why}"


def _hint(rings: Sequence[RingNow], level_step_db: float) -> str:
    if math.isfinite(level_step_db) and abs(level_step_db) >= LEVEL_STEP_DB:
        return "a hand on the grille, or someone before the loudspeaker"
    frequency_hz = rings[0].frequency_hz
    if frequency_hz < LOW_HZ:
        return "low: stand, stage or wedge couple; lift the wedge, or a low cut"
    if frequency_hz >= HIGH_HZ:
        return "high: turn the microphone's back to the loudspeaker"
    return ""
