"""A gig's rings by the slider of the person's own equaliser, the worst first."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import median

from monitor.advice.labels import is_frequency
from monitor.advice.sliders import LOW_CUT
from monitor.listening.bands import third_octave_of
from monitor.report.evening import Evening, Move, Pulled, Ring

REACH_OCTAVES = 1.0 / 6.0
"""Nearer than half a third-octave slider's way is the same place."""


@dataclass(frozen=True, slots=True)
class SliderRings:
    """All rings for one slider, in order; ``pull_db`` is how it stood at the end."""

    label: str
    rings: tuple[Ring, ...]
    pull_db: float

    @property
    def howl_count(self) -> int:
        """How many of them howled."""
        return sum(ring.degree == "howl" for ring in self.rings)

    @property
    def middle_hz(self) -> float:
        """The middle one of their frequencies."""
        return median(ring.frequency_hz for ring in self.rings)

    @property
    def span_hz(self) -> tuple[float, float]:
        """The lowest and the highest frequency."""
        heard = [ring.frequency_hz for ring in self.rings]
        return min(heard), max(heard)

    @property
    def loudest_dbfs(self) -> float | None:
        """The highest level, None where none was kept."""
        return max((r.level_dbfs for r in self.rings if r.level_dbfs is not None), default=None)

    @property
    def longest_s(self) -> float | None:
        """The longest time, None where none was kept."""
        return max((r.lasted_s for r in self.rings if r.lasted_s is not None), default=None)


def rings_by_slider(evening: Evening, rings: Sequence[Ring]) -> list[SliderRings]:
    """Return the sliders that these rings are for, most howls first, then most rings."""
    found: dict[str, list[Ring]] = {}
    for ring in rings:
        found.setdefault(slider_of(ring), []).append(ring)
    grouped = [_group(evening, label, tuple(each)) for label, each in found.items()]
    return sorted(grouped, key=_most_first)


def _group(evening: Evening, label: str, rings: tuple[Ring, ...]) -> SliderRings:
    group = SliderRings(label, rings, 0.0)
    stands = [one.pull_db for one in evening.standing if is_for(one, group)]
    return replace(group, pull_db=max(stands, default=0.0))


def is_for(slider: Pulled | Move, group: SliderRings) -> bool:
    """Return whether this is the slider of these rings: by its label, a filter by its place."""
    if slider.label == group.label:
        return True
    if slider.centre_hz is None or slider.label == LOW_CUT or is_frequency(slider.label):
        return False
    return are_near(slider.centre_hz, group.middle_hz)


def are_near(one_hz: float, other_hz: float) -> bool:
    """Return whether two frequencies are the same place."""
    return abs(math.log2(one_hz / other_hz)) <= REACH_OCTAVES


def slider_of(ring: Ring) -> str:
    """Return the slider that was named for a ring; its third octave where none was kept."""
    return ring.slider or third_octave_of(ring.frequency_hz).label


def after(rings: Sequence[Ring], at_s: float) -> list[Ring]:
    """Return the rings that began after a moment."""
    return [ring for ring in rings if ring.at_s > at_s]


def _most_first(one: SliderRings) -> tuple[int, int, float]:
    return -one.howl_count, -len(one.rings), one.span_hz[0]
