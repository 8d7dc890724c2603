"""The lines of open and just closed rings: how they grew, and how they died.

Sample clock in, carried on as monotonic time; no clock of its own.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from monitor.advice.growth import LineTrace, Slope
from monitor.listening.bands import THIRD_OCTAVES, third_octave_of
from monitor.news import LineHeard, RingSaid

CLOSING_S = 0.4
"""A ring's end is told this much later: its fall has to be heard to tell what margin it left."""
SHORT_S = 0.6
"""What was over sooner went by itself: nobody pulled, and there is no fall to listen to."""
FORGET_S = 4.0
ECHO_S = 0.8
ECHO_PART = 0.012
"""A dying line is flagged again now and then (seen within 0.1 s of its end, over within 0.2 s, on
the practice stage): at nearly the same frequency it must grow, or last, before it counts."""
KEPT_RISE = 0.5
"""A later stretch takes the place of an earlier one if it rises at least half as far: at the end
stop a line stands still, and would seem to have no excess at all."""
PEAK_DB = 1.0
LEVELS_S = 3.0
BEFORE_S = 0.6
SETTLED_S = 0.2
"""The high bands are measured over the last 171 ms."""
JUMP_S = 1.0
_LOWEST_BAND = 11
"""250 Hz: below it the levels are measured over 0.7 s and come too late."""
_REST = 6
"""With fewer bands left of it, nothing is said of the rest."""


@dataclass(slots=True)
class Followed:
    """One ring, its line so far and the slope that tells its excess."""

    id: int
    frequency_hz: float
    level_dbfs: float
    trace: LineTrace = field(default_factory=LineTrace)
    climb: Slope | None = None
    degree: Literal["ringing", "howl"] = "ringing"
    opened_s: float = 0.0
    closed_s: float | None = None
    peak_s: float = 0.0
    peak_dbfs: float = -200.0
    told_open: bool = False
    told_closed: bool = False

    @property
    def is_open(self) -> bool:
        """Whether it still rings."""
        return self.closed_s is None

    def push(self, line: LineHeard) -> None:
        """Take in new hops."""
        hops = zip(
            line.times_s.tolist(), line.level_dbfs.tolist(), line.floor_dbfs.tolist(), strict=True
        )
        for at_s, level_dbfs, floor_dbfs in hops:
            self.trace.push(at_s, level_dbfs, floor_dbfs)
            if level_dbfs >= self.peak_dbfs - PEAK_DB:
                self.peak_s = at_s
            self.peak_dbfs = max(self.peak_dbfs, level_dbfs)
            self.level_dbfs = level_dbfs

    def look(self, at_s: float) -> bool:
        """Look for a better climb; true where there is one."""
        found = self.trace.climb(at_s)
        if found is None or found == self.climb:
            return False
        if self.climb is not None and _rise_db(found) < KEPT_RISE * _rise_db(self.climb):
            return False
        self.climb = found
        return True

    def fall(self, at_s: float) -> Slope | None:
        """Return how it died since it last stood at its highest, None where that is not heard."""
        answer = self.trace.answer(self.peak_s, at_s)
        return answer if answer is not None and answer.db_per_s < 0.0 else None

    def moved(self) -> None:
        """Fader or sliders were moved: what it grew like says nothing of the gain now."""
        self.climb = None
        self.trace.reset()
        self.peak_dbfs = -200.0


def _rise_db(slope: Slope) -> float:
    return slope.db_per_s * (slope.to_s - slope.from_s)


class Followings:
    """All rings that are followed, oldest first."""

    def __init__(self) -> None:
        self._rings: dict[int, Followed] = {}

    @property
    def open(self) -> list[Followed]:
        """Those that surely ring: howls first, then the louder one."""
        rings = [ring for ring in self._rings.values() if ring.is_open and ring.told_open]
        return sorted(rings, key=lambda ring: (ring.degree != "howl", -ring.level_dbfs))

    def opening(self, at_s: float) -> list[Followed]:
        """Return rings that have now surely opened, each once."""
        found = [
            ring
            for ring in self._rings.values()
            if ring.is_open and not ring.told_open and not self._is_echo(ring, at_s)
        ]
        for ring in found:
            ring.told_open = True
        return found

    def _is_echo(self, ring: Followed, at_s: float) -> bool:
        if at_s >= ring.opened_s + ECHO_S:
            return False
        for other in self._rings.values():
            if (
                other.closed_s is not None
                and ring.opened_s - other.closed_s < ECHO_S
                and abs(other.frequency_hz - ring.frequency_hz) <= ECHO_PART * ring.frequency_hz
            ):
                return ring.climb is None or ring.climb.from_s < other.closed_s
        return False

    def closing(self, at_s: float, *, at_once: bool = False) -> list[Followed]:
        """Return rings whose end has now been listened to, each once; forget the old ones."""
        found = []
        for ring in list(self._rings.values()):
            if ring.closed_s is None:
                continue
            if not ring.told_open:
                del self._rings[ring.id]
            elif not ring.told_closed and (
                at_once
                or ring.closed_s - ring.opened_s < SHORT_S
                or at_s >= ring.closed_s + CLOSING_S
            ):
                ring.told_closed = True
                found.append(ring)
            elif ring.told_closed and at_s > ring.closed_s + FORGET_S:
                del self._rings[ring.id]
        return found

    def get(self, number: int) -> Followed | None:
        """Return a ring that is still followed."""
        return self._rings.get(number)

    def take(self, said: RingSaid) -> None:
        """Take in an event."""
        ring = self._rings.get(said.id)
        if ring is None:
            ring = Followed(said.id, said.frequency_hz, said.level_dbfs, opened_s=said.at_s)
            self._rings[said.id] = ring
        if said.kind == "closed":
            ring.closed_s = said.at_s
        else:
            ring.degree, ring.frequency_hz = said.kind, said.frequency_hz
            ring.level_dbfs = said.level_dbfs

    def look(self, at_s: float) -> list[Followed]:
        """Look for better climbs; return the rings that have one."""
        return [ring for ring in self._rings.values() if ring.is_open and ring.look(at_s)]

    def hear(self, lines: Iterable[LineHeard]) -> None:
        """Take in new hops of lines that are followed."""
        for line in lines:
            ring = self._rings.get(line.id)
            if ring is not None:
                ring.push(line)

    def moved(self) -> None:
        """Fader or sliders were moved."""
        for ring in self._rings.values():
            if ring.is_open:
                ring.moved()

    def lost(self) -> None:
        """Samples were lost: no line runs on over the gap."""
        for ring in self._rings.values():
            ring.trace.reset()


class RestOfSound:
    """How loud everything but the rings was over the last seconds, in third octaves."""

    def __init__(self) -> None:
        self._levels: deque[tuple[float, np.ndarray]] = deque()

    def push(self, at_s: float, third_octave_dbfs: np.ndarray) -> None:
        """Take in the present levels [31]."""
        self._levels.append((at_s, third_octave_dbfs))
        while self._levels[0][0] < at_s - LEVELS_S:
            self._levels.popleft()

    def reset(self) -> None:
        """Forget everything."""
        self._levels.clear()

    def fell_db(self, peak_s: float, frequencies_hz: Iterable[float]) -> float:
        """Return by how much it fell when a ring did; 0 where that cannot be told."""
        after_s = peak_s + SETTLED_S
        change = self._change_db(peak_s - BEFORE_S, peak_s, after_s, np.inf, frequencies_hz)
        return max(0.0, -change)

    def jumped_db(self, opened_s: float, frequencies_hz: Iterable[float]) -> float:
        """Return by how much it rose in the second before a ring; 0 where that is not known."""
        before_s = opened_s - JUMP_S
        return max(
            0.0, self._change_db(before_s - JUMP_S, before_s, opened_s, np.inf, frequencies_hz)
        )

    def _change_db(
        self, from_s: float, to_s: float, then_s: float, end_s: float, rings_hz: Iterable[float]
    ) -> float:
        before = [levels for at_s, levels in self._levels if from_s <= at_s <= to_s]
        after = [levels for at_s, levels in self._levels if then_s <= at_s <= end_s]
        rest = _rest(rings_hz)
        if not before or not after or np.count_nonzero(rest) < _REST:
            return 0.0
        change = np.median(after, axis=0) - np.median(before, axis=0)
        return float(np.median(change[rest]))


def _rest(rings_hz: Iterable[float]) -> np.ndarray:
    """Bands that no ring and none of its clipped overtones fill."""
    labels = [band.label for band in THIRD_OCTAVES]
    rest = np.arange(len(labels)) >= _LOWEST_BAND
    for frequency_hz in rings_hz:
        for times in (1.0, 2.0, 3.0):
            if frequency_hz * times < THIRD_OCTAVES[-1].upper_hz:
                place = labels.index(third_octave_of(frequency_hz * times).label)
                rest[max(0, place - 1) : place + 2] = False
    return rest
