"""What to do about the rings of the moment, between two lines of a song: one line for the panel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from monitor.advice.equaliser import Equaliser
from monitor.advice.margin import Excess
from monitor.advice.pulls import Pull

LINE_CHARACTERS = 21
"""What the small panel shows in one row."""


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
    standing: Sequence[Pull] = (),
    asked: Mapping[str, int] | None = None,
    level_step_db: float = 0.0,
) -> SetAdvice | None:
    """Return what to do about the rings that are heard now; None when there are none.

    Parameters
    ----------
    rings : sequence of RingNow
        The one that matters most first.
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
    raise NotImplementedError
