"""What to do about the rings of the moment, between two lines of a song: one line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from monitor.advice.equaliser import Equaliser
from monitor.advice.labels import decibels, written
from monitor.advice.margin import USUAL_EXCESS_DB, WANTED_MARGIN_DB, Excess, advised_pull_db
from monitor.advice.moves import is_on
from monitor.advice.pulls import Pull
from monitor.advice.single_pull import SinglePull, single_pull
from monitor.advice.sliders import LOW_CUT, STEP_DB
from monitor.listening.bands import third_octave_of

LINE_CHARACTERS = 21
"""What the small panel shows in one row; each slider has its own."""
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
ENOUGH_PART = 0.5
"""Where sliders give less than this part of what is needed, the fader comes first; our choice."""
_TURN_DOWN = "turn down 3"
_STEP_BACK = "step back from wedge"
_WAIT = "enough: wait a moment"
"""What was pulled since is expected to do: another pull on top would only cost tone."""


@dataclass(frozen=True, slots=True)
class RingNow:
    """One ring that is heard now; ``excess`` where its slope has told it.

    ``gained_db`` is by how much less gain there is at its frequency since that was heard.
    """

    frequency_hz: float
    excess: Excess | None = None
    gained_db: float = 0.0

    def needed_db(self, margin_db: float) -> float:
        """Return by how much the gain at its frequency is to come down yet; 0 if not at all."""
        depth_db = USUAL_EXCESS_DB + margin_db
        if self.excess is not None:
            # One that dies by itself has most of its margin: the smallest step is enough.
            depth_db = max(advised_pull_db(self.excess, margin_db=margin_db), STEP_DB)
        left_db = depth_db - self.gained_db
        return left_db if left_db >= 0.5 * STEP_DB else 0.0


@dataclass(frozen=True, slots=True)
class SetAdvice:
    """What to do now.

    ``line`` has at most 21 characters for each slider.  ``pulls`` are what the line asks for, the
    deepest first (none where it asks for something else), ``names`` what it calls them, ``second``
    one more slider: to be pulled too where ``second_too``, else in the place of what the line asks
    for.  ``hint`` is a likely cause ("" if none), ``why`` how it was found.
    """

    line: str
    pulls: tuple[Pull, ...]
    second: Pull | None
    hint: str
    why: str
    second_too: bool = False
    names: tuple[str, ...] = ()


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
        How often each ``asked_key`` was asked for earlier tonight, this ring not counted.
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
    depth_db = first.needed_db(margin_db)
    found = single_pull(equaliser, first.frequency_hz, depth_db or STEP_DB, standing)
    why = _why(first)
    hint = _hint(rings, level_step_db, standing)
    if len(rings) >= MANY:
        where = f"{len(rings)} ring at once: no single slider holds them"
        return SetAdvice(_TURN_DOWN, (), _first(found) if depth_db else None, hint, where)
    if depth_db == 0.0:
        done = f"{written(first.frequency_hz)}: {decibels(first.gained_db)} dB less should do"
        return SetAdvice(_WAIT, (), None, "", done)
    if not found.pulls:
        nothing = f"no slider is left for {written(first.frequency_hz)}"
        return SetAdvice(_TURN_DOWN, (), None, hint, nothing)
    main = max(found.pulls, key=lambda pull: pull.more_db)
    if found.at_end is not None:
        why = f"{found.at_end} is at its end; {why}"
    if not found.met:
        why = f"the sliders give {found.depth_db:.1f} of {depth_db:.1f} dB there; {why}"
    if found.depth_db < ENOUGH_PART * depth_db:
        return SetAdvice(_TURN_DOWN, (), main, hint, why, second_too=True)
    times = (asked or {}).get(asked_key(equaliser, main, first.frequency_hz), 0)
    if times >= MOST_ASKED:
        line = _STEP_BACK if first.frequency_hz >= LOW_HZ else _TURN_DOWN
        name = _name(equaliser, main)
        again = f"{name} was asked for {times} times tonight already: another cure"
        return SetAdvice(line, (), main, hint, again)
    pulls = tuple(sorted(found.pulls, key=lambda pull: -pull.more_db))
    names = tuple(_name(equaliser, pull) for pull in pulls)
    line = f"pull {', '.join(by(*one) for one in zip(names, pulls, strict=True))}"
    return SetAdvice(line, pulls, None, hint, why, names=names)


def by(name: str, pull: Pull) -> str:
    """Return what a line says of one slider: "2.5k by 4"."""
    return f"{name} by {decibels(pull.more_db)}"


def asked_key(equaliser: Equaliser, pull: Pull, frequency_hz: float) -> str:
    """Return what a pull counts as when it is asked for again: its slider.

    A filter that can be put anywhere is another one at another frequency, and any of them is
    the same one at the same: there the ring's third octave counts.
    """
    return third_octave_of(frequency_hz).label if _is_swept(equaliser, pull) else pull.label


def _is_swept(equaliser: Equaliser, pull: Pull) -> bool:
    return any(s.label == pull.label and s.is_swept for s in equaliser.sliders)


def _first(found: SinglePull) -> Pull | None:
    return max(found.pulls, key=lambda pull: pull.more_db, default=None)


def _name(equaliser: Equaliser, pull: Pull) -> str:
    """Return what is printed on the slider, or where a filter that can be put anywhere goes."""
    short = len(pull.label) <= LONGEST_LABEL and not _is_swept(equaliser, pull)
    return pull.label if short else written(pull.centre_hz)


def _why(ring: RingNow) -> str:
    if ring.excess is None:
        return f"{written(ring.frequency_hz)}: how far is not known yet, the usual is told"
    return f"{written(ring.frequency_hz)}: {ring.excess.why}"


def _hint(rings: Sequence[RingNow], level_step_db: float, standing: Sequence[Pull]) -> str:
    if abs(level_step_db) >= LEVEL_STEP_DB:
        return "perhaps a hand on the grille, or someone before the loudspeaker"
    frequency_hz = rings[0].frequency_hz
    if frequency_hz < LOW_HZ:
        cut = any(pull.label == LOW_CUT and is_on(pull.pull_db) for pull in standing)
        return f"low: stand, stage or wedge couple; lift the wedge{'' if cut else ', or a low cut'}"
    if frequency_hz >= HIGH_HZ:
        return "high: turn the microphone's back to the loudspeaker"
    return ""
