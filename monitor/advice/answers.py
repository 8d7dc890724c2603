"""Loop times that a room has answered with, line by line, and how they are kept.

Conventions
-----------
A belief is a pair (mean, variance) of the natural logarithm of a loop time in seconds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import astuple, dataclass

SAME_LINE_PART = 0.012
"""A ring at nearly the frequency of an earlier one is that ring come back: a fifth of a tone."""
MOST_ANSWERS = 64
MOST_SPREAD = 1e3
"""An answer less sure than this says nothing: any loop time is well inside."""

Belief = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Answer:
    """The loop time that one ring answered a move of known size with, and its spread.

    ``log_time`` is the natural logarithm of seconds, ``spread`` one standard deviation of it.
    """

    frequency_hz: float
    log_time: float
    spread: float

    def __post_init__(self) -> None:
        figures = (self.frequency_hz, self.log_time, self.spread)
        if not all(isinstance(one, float | int) and math.isfinite(one) for one in figures):
            raise ValueError(f"an answer of {figures} is no frequency, time and spread")
        # 1e-4 to 10 s: what ``margin.loop_time_of`` can find.
        if not (1.0 <= self.frequency_hz <= 1e5 and abs(self.log_time) <= 10.0):
            raise ValueError(f"an answer of {figures} is no frequency and loop time of a room")
        if not 0.0 < self.spread <= MOST_SPREAD:
            raise ValueError(
                f"a spread of {self.spread:g} must be more than 0 and at most {MOST_SPREAD:g}"
            )


class Answers:
    """The newest answers, at most ``MOST_ANSWERS``."""

    def __init__(self) -> None:
        self._all: list[Answer] = []

    def __len__(self) -> int:
        return len(self._all)

    @property
    def all(self) -> tuple[Answer, ...]:
        """Oldest first."""
        return tuple(self._all)

    def add(self, answer: Answer) -> None:
        """Take one in; the oldest is forgotten where there are too many."""
        self._all.append(answer)
        del self._all[:-MOST_ANSWERS]

    def clear(self) -> None:
        """Forget all."""
        self._all.clear()

    def at(self, frequency_hz: float) -> list[Belief]:
        """Return what the line at this frequency answered."""
        return [_belief(a) for a in self._all if _same_line(a.frequency_hz, frequency_hz)]

    def elsewhere(self, frequency_hz: float) -> list[tuple[float, Belief]]:
        """Return every other line's frequency in Hz and the joined belief of its answers."""
        lines: list[list[Answer]] = []
        for answer in self._all:
            if _same_line(answer.frequency_hz, frequency_hz):
                continue
            for line in lines:
                if _same_line(line[0].frequency_hz, answer.frequency_hz):
                    line.append(answer)
                    break
            else:
                lines.append([answer])
        return [(line[0].frequency_hz, joined([_belief(a) for a in line])) for line in lines]

    def kept(self) -> list[tuple[float, float, float]]:
        """Return them ready for JSON."""
        return [astuple(answer) for answer in self._all]

    def restore(self, rows: Sequence[Sequence[float]]) -> None:
        """Take back what ``kept`` returned.

        Raises
        ------
        ValueError
            For what is no such rows; one clear line, and nothing has changed.
        """
        try:
            found = [Answer(*row) for row in rows]
        except (TypeError, OverflowError):
            raise ValueError(f"{rows!r:.60} are no answers of loop times") from None
        self._all = found[-MOST_ANSWERS:]


def joined(beliefs: Sequence[Belief]) -> Belief:
    """Return mean and variance of independent normal beliefs of the same thing."""
    weight = sum(1.0 / variance for _, variance in beliefs)
    return sum(mean / variance for mean, variance in beliefs) / weight, 1.0 / weight


def _belief(answer: Answer) -> Belief:
    return answer.log_time, answer.spread**2


def _same_line(a_hz: float, b_hz: float) -> bool:
    return abs(a_hz - b_hz) <= SAME_LINE_PART * max(a_hz, b_hz)
