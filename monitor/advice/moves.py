"""What the hand does at the sliders: from how they stand to how they are to stand."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal

from monitor.advice.labels import is_frequency, with_unit
from monitor.advice.pulls import Pull, same_place
from monitor.advice.sliders import LOW_CUT, LOW_CUT_DB, place_words

MoveKind = Literal["pull", "put", "switch"]


@dataclass(frozen=True, slots=True)
class Move(Pull):
    """One slider's way to where it is to stand; ``more_db`` is negative where it goes up.

    ``kind`` is "pull" where it goes deeper in its place, or begins; "put" where it goes up, or a
    filter that works already goes elsewhere; "switch" for a low cut, on or off.  ``is_elsewhere``
    where its place is new although it was pulled before.  ``is_swept`` where a person knows it by
    its frequency more than by its label.
    """

    kind: MoveKind = "pull"
    is_elsewhere: bool = False
    is_swept: bool = False

    @property
    def is_on(self) -> bool:
        """Whether a low cut works."""
        return is_on(self.pull_db)


def is_on(pull_db: float) -> bool:
    """Return whether a low cut works at this pull: from half its way."""
    return pull_db >= LOW_CUT_DB / 2.0


def moves(
    before: Sequence[Pull], after: Sequence[Pull], swept: Collection[str] = ()
) -> tuple[Move, ...]:
    """Return what differs between how sliders stand and how they are to stand.

    Parameters
    ----------
    before, after : sequence of Pull
        A slider that is in neither, or at 0 dB, is flat.
    swept : collection of str
        Labels of filters that are known by their frequency.
    """
    was = {pull.label: pull for pull in before if pull.pull_db > 0.0}
    will = {pull.label: pull for pull in after if pull.pull_db > 0.0}
    found = (_move(was.get(label), will.get(label), swept) for label in {**was, **will})
    return tuple(move for move in found if move is not None)


def moved(before: Sequence[Pull], after: Sequence[Pull]) -> set[str]:
    """Return the labels of the sliders that stand otherwise before and after."""
    return {move.label for move in moves(before, after)}


def astray(
    stands: Sequence[Pull], before: Sequence[Pull], asked: Sequence[Pull]
) -> tuple[Move, ...]:
    """Return what is to be put back where it stood ``before``: moved, and not asked for."""
    wanted = moved(before, asked)
    return tuple(move for move in moves(stands, before) if move.label not in wanted)


def _move(old: Pull | None, new: Pull | None, swept: Collection[str]) -> Move | None:
    there = new or old
    if there is None:
        return None
    before_db = 0.0 if old is None else old.pull_db
    pull_db = 0.0 if new is None else new.pull_db
    more_db = pull_db - before_db
    is_elsewhere = old is not None and new is not None and not same_place(old, new)
    # What is printed on a slider does not move, however its place was told.
    is_elsewhere = is_elsewhere and not is_frequency(there.label)
    kind: MoveKind = "put" if is_elsewhere or more_db < 0.0 else "pull"
    if there.label == LOW_CUT:
        kind = "switch"
        if is_on(before_db) == is_on(pull_db) and not is_elsewhere:
            return None
    elif round(more_db, 1) == 0.0 and not is_elsewhere:
        return None
    return Move(
        there.label,
        pull_db,
        there.centre_hz,
        there.q,
        more_db,
        kind=kind,
        is_elsewhere=is_elsewhere,
        is_swept=there.label in swept,
    )


def place_of(pull: Pull) -> str:
    """Return where a filter is to be put."""
    return place_words(pull.label, pull.centre_hz, pull.q)


def switched(move: Move) -> str:
    """Return "low cut on" or "low cut off"; with its frequency if that can be chosen."""
    at = f" at {with_unit(move.centre_hz)}" if move.is_swept and move.is_on else ""
    return f"{move.label} {'on' if move.is_on else 'off'}{at}"
