"""A gig's rings by the slider of the person's own equaliser, the worst first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.listening.bands import third_octave_of
from monitor.report.evening import Evening, Ring


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


def rings_by_slider(evening: Evening) -> list[SliderRings]:
    """Return the sliders that something rang for, most howls first, then most rings."""
    found: dict[str, list[Ring]] = {}
    for ring in evening.rings:
        found.setdefault(slider_of(ring), []).append(ring)
    stood = {one.label: one.pull_db for one in evening.standing}
    grouped = [SliderRings(k, tuple(rings), stood.get(k, 0.0)) for k, rings in found.items()]
    return sorted(grouped, key=_most_first)


def slider_of(ring: Ring) -> str:
    """Return the slider that was named for a ring; its third octave where none was kept."""
    return ring.slider or third_octave_of(ring.frequency_hz).label


def after(rings: Sequence[Ring], at_s: float) -> list[Ring]:
    """Return the rings that began after a moment."""
    return [ring for ring in rings if ring.at_s > at_s]


def _most_first(one: SliderRings) -> tuple[int, int, float]:
    return -one.howl_count, -len(one.rings), one.span_hz[0]
