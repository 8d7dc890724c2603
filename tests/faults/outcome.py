"""What came of a fault that was driven, and the table of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

GOAL_S = 2.0
"""Listening is back within this time; the requirement's own number."""
RESTART_GOAL_S = 5.0
"""The same where a process has to start again."""


@dataclass
class Outcome:
    """One fault: how often it was driven, how long each took to be over, what it cost.

    ``back_s`` are times in seconds, each from the fault's end (a plug that is back in, a process
    that was killed) to what ``back`` names.  ``broken`` holds whatever must not have happened.
    """

    name: str
    goal_s: float
    back: str = "hearing"
    driven: int = 0
    back_s: list[float] = field(default_factory=list)
    lost: str = ""
    remark: str = ""
    broken: list[str] = field(default_factory=list)

    @property
    def is_held(self) -> bool:
        """Whether every time was within the goal and nothing went wrong."""
        return not self.broken and bool(self.back_s) and max(self.back_s) <= self.goal_s

    @property
    def median_s(self) -> float:
        """The middle one of the times."""
        ordered = sorted(self.back_s)
        return ordered[len(ordered) // 2] if ordered else float("nan")

    def check(self, is_right: bool, otherwise: str) -> None:
        """Note that something went wrong, once each."""
        if not is_right and otherwise not in self.broken:
            self.broken.append(otherwise)

    def took(self, seconds: float | None) -> None:
        """Count one time it was driven; None means that it was not over in time."""
        self.driven += 1
        if seconds is None:
            self.check(False, "not back in time at all")
        else:
            self.back_s.append(seconds)

    def fields(self) -> dict[str, Any]:
        """Everything, for a file."""
        return {**asdict(self), "held": self.is_held}


def print_row(one: Outcome) -> None:
    """Print one fault."""
    worst_s = max(one.back_s, default=float("nan"))
    print(
        f"{one.name:24s}{one.driven:6d}  {one.back:22s}{one.median_s:7.2f} s{worst_s:7.2f} s"
        f"{one.goal_s:6.1f} s  {'held' if one.is_held else 'NOT HELD'}",
        flush=True,
    )
    for line in (*one.broken, one.lost, one.remark):
        if line:
            print(f"{'':30s}  {line}", flush=True)


def print_head() -> None:
    """Print what the columns are."""
    print(f"{'fault':24s}{'driven':>6s}  {'back is':22s}{'median':>9s}{'worst':>9s}{'goal':>8s}")


def all_held(outcomes: Sequence[Outcome]) -> bool:
    """Whether all of them were."""
    return all(one.is_held for one in outcomes)
