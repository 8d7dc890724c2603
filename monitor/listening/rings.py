"""Onset and sustain: from scored lines, hop by hop, to rings that open, deepen and close.

A line whose course makes feedback likely enough is *ringing*, at a second threshold it is a
*howl*.  A ring closes when its line falls away or sinks into its surroundings, not for doubts.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Literal, Protocol

import numpy as np

from monitor.listening.bands import Band, third_octave_of
from monitor.listening.courses import SAME_LINE_BINS
from monitor.listening.spectrum import SpectrumHistory
from monitor.listening.suspects import Suspected

Way = Literal["soundcheck", "set"]
Degree = Literal["ringing", "howl"]

CLOSE_PROMINENCE_DB = 4.0
CLOSE_S = 0.17
"""A ring is over when its line has not stood out for so long (one that has hardly left the noise
sinks for a window now and then) ..."""
CLOSE_FALL_DB = 10.0
"""... or has fallen this far below the highest it stood in the last half second ..."""
CLOSE_SLOPE_DB_PER_S = -25.0
CLOSE_SLOPE_FALL_DB = 5.0
"""... or has fallen half as far and is still falling steeply."""
HELD_S = 0.5
_SLOPE_HOPS = 4
"""The shorter window's length: sooner the same sound would be measured against itself."""
FALLS_FROM_DB = 15.0
"""Only what has stood so far out can be seen to fall: nearer to the noise a line's level goes up
and down with it."""


@dataclass(frozen=True, slots=True)
class DegreeThreshold:
    """What a line must bring to reach a degree.

    ``log_odds`` are those of its course; the line's power must also be at least these shares
    of all the sound and of the octave around it, in dB: what is far below the programme may
    be anything, and nobody hears it.
    """

    log_odds: float
    share_of_power_db: float
    share_of_octave_db: float


@dataclass(frozen=True, slots=True)
class Thresholds:
    """What ringing and howl take."""

    ringing: DegreeThreshold
    howl: DegreeThreshold


@dataclass(frozen=True, slots=True)
class Ring:
    """One episode of feedback at one frequency; times in seconds of the sample clock."""

    id: int
    degree: Degree
    frequency_hz: float
    band: Band
    level_dbfs: float
    growth_db_per_s: float
    start_s: float
    flagged_s: float
    end_s: float | None = None


@dataclass(frozen=True, slots=True)
class RingEvent:
    """``ringing`` and ``howl`` when a ring reaches that degree, ``closed`` when it ends."""

    kind: Literal["ringing", "howl", "closed"]
    ring: Ring
    at_s: float


@dataclass(slots=True)
class _Open:
    """An open ring, and where its line stands.

    One that is another's is not announced, only followed, until it has been alone for a while.
    """

    ring: Ring
    bin: int
    frequency_hz: float
    is_another_s: bool
    hops_alone: int = 0
    levels_db: deque[float] = field(default_factory=deque)
    floor_db: float = 0.0
    hops_sunk: int = 0


class Others(Protocol):
    """The open rings that have been told, by whichever resolution."""

    def own(self, frequency_hz: float, level_dbfs: float) -> bool:
        """Whether a line is one of theirs: the same seen otherwise, or a ring's distortion."""

    def hums(self, frequency_hz: float, now_s: float) -> bool:
        """Whether a line is the mains'."""

    def deepen(self, frequency_hz: float, now_s: float) -> list[RingEvent]:
        """The other resolution is sure of this line now: its ring is a howl."""


class RingBook:
    """The open rings of one resolution.

    Parameters
    ----------
    history : SpectrumHistory
        Where the levels of open rings are read from, candidate or not.
    hop_s : float
        Time between two calls of ``advance``.
    new_id : callable
        Gives each new ring its number.
    exact_hz : callable
        Exact frequency of the line near a frequency, from the newest samples.
    others : Others
        The rings that are told already.
    """

    def __init__(
        self,
        history: SpectrumHistory,
        *,
        hop_s: float,
        new_id: Callable[[], int],
        exact_hz: Callable[[float], float],
        others: Others,
    ) -> None:
        self._history = history
        self._hop_s = hop_s
        self._held_hops = max(2, round(HELD_S / hop_s))
        self._close_hops = round(CLOSE_S / hop_s)
        self._new_id = new_id
        self._exact_hz = exact_hz
        self._others = others
        self._open_rings: list[_Open] = []

    @property
    def open_rings(self) -> list[Ring]:
        """Rings that have not closed."""
        return [one.ring for one in self._open_rings if not one.is_another_s]

    def close_all(self, now_s: float) -> list[RingEvent]:
        """End every ring, as when the sound stops."""
        closed, self._open_rings = self._open_rings, []
        return [_closing(one, now_s) for one in closed if not one.is_another_s]

    def advance(
        self,
        suspected: Suspected | None,
        log_odds: np.ndarray,
        thresholds: Thresholds,
        *,
        now_s: float,
    ) -> list[RingEvent]:
        """Take in one hop's suspicious lines (log-odds float [n]); return what changed."""
        events: list[RingEvent] = []
        if suspected is not None:
            events = self._take(suspected, log_odds, thresholds, now_s)
        for one in self._open_rings:
            self._follow(one)
        over = [one for one in self._open_rings if self._is_over(one) or self._stands_alone(one)]
        if over:
            self._open_rings = [one for one in self._open_rings if one not in over]
            events += [_closing(one, now_s) for one in over if not one.is_another_s]
        return events

    def _take(
        self, suspected: Suspected, log_odds: np.ndarray, thresholds: Thresholds, now_s: float
    ) -> list[RingEvent]:
        """Give each line to its ring; open rings for likely ones, deepen those that are sure."""
        events: list[RingEvent] = []
        if not self._open_rings and log_odds.max() < thresholds.ringing.log_odds:
            return events
        rings, howls = (
            (log_odds >= least.log_odds)
            & (suspected.share_of_power_db >= least.share_of_power_db)
            & (suspected.share_of_octave_db >= least.share_of_octave_db)
            for least in (thresholds.ringing, thresholds.howl)
        )
        waiting = list(self._open_rings)
        for i in np.argsort(-suspected.level_db):
            frequency_hz = float(suspected.frequency_hz[i])
            one = self._nearest(waiting, frequency_hz)
            if one is not None:
                waiting.remove(one)
                one.bin, one.frequency_hz = int(suspected.bins[i]), frequency_hz
                if one.ring.degree == "ringing":
                    slope = float(suspected.slope_db_per_s[i])
                    one.ring = replace(one.ring, growth_db_per_s=slope)
            elif (
                rings[i]
                and not self._dies_away(int(suspected.bins[i]))
                and not self._others.hums(frequency_hz, now_s)
            ):
                one = self._opened(suspected, int(i), now_s)
                self._open_rings.append(one)
                if not one.is_another_s:
                    events.append(RingEvent("ringing", one.ring, now_s))
            if one is None or not howls[i]:
                continue
            if one.is_another_s:
                events += self._others.deepen(frequency_hz, now_s)
            else:
                events += self._deepened(one, now_s)
        return events

    def deepen(self, ring_id: int, now_s: float) -> list[RingEvent]:
        """Make a ring a howl, if it is none yet."""
        return [
            event
            for one in self._open_rings
            if one.ring.id == ring_id
            for event in self._deepened(one, now_s)
        ]

    def _deepened(self, one: _Open, now_s: float) -> list[RingEvent]:
        if one.ring.degree == "howl":
            return []
        exact_hz = self._exact_hz(one.frequency_hz)
        one.ring = replace(
            one.ring,
            degree="howl",
            frequency_hz=exact_hz,
            band=third_octave_of(exact_hz),
            flagged_s=now_s,
        )
        return [RingEvent("howl", one.ring, now_s)]

    def _nearest(self, rings: list[_Open], frequency_hz: float) -> _Open | None:
        """The ring whose line this is, or None."""
        tolerance_hz = SAME_LINE_BINS * self._history.bin_hz
        near = [one for one in rings if abs(one.frequency_hz - frequency_hz) <= tolerance_hz]
        return min(near, key=lambda one: abs(one.frequency_hz - frequency_hz), default=None)

    def _opened(self, suspected: Suspected, i: int, now_s: float) -> _Open:
        line_bin, near_hz = int(suspected.bins[i]), float(suspected.frequency_hz[i])
        standing = (self._history.level_db()[:, line_bin] - self._history.floor_db()[:, line_bin])[
            ::-1
        ] > CLOSE_PROMINENCE_DB
        hops = len(standing) if standing.all() else int(np.argmin(standing))
        level_dbfs = self._level_dbfs(line_bin)
        is_another_s = self._others.own(near_hz, level_dbfs)
        frequency_hz = near_hz if is_another_s else self._exact_hz(near_hz)
        ring = Ring(
            id=0 if is_another_s else self._new_id(),
            degree="ringing",
            frequency_hz=frequency_hz,
            band=third_octave_of(frequency_hz),
            level_dbfs=level_dbfs,
            growth_db_per_s=float(suspected.slope_db_per_s[i]),
            start_s=max(0.0, now_s - hops * self._hop_s),
            flagged_s=now_s,
        )
        return _Open(ring, line_bin, near_hz, is_another_s)

    def _follow(self, one: _Open) -> None:
        """Note where an open ring's line stands now."""
        level_db = self._level_dbfs(one.bin)
        one.floor_db = float(self._history.floor_db(1)[0, one.bin])
        sunk = level_db - one.floor_db < CLOSE_PROMINENCE_DB
        one.hops_sunk = one.hops_sunk + 1 if sunk else 0
        one.levels_db.append(level_db)
        while len(one.levels_db) > self._held_hops:
            one.levels_db.popleft()
        if level_db > one.ring.level_dbfs:
            one.ring = replace(one.ring, level_dbfs=level_db)

    def _stands_alone(self, one: _Open) -> bool:
        """Whether a line that was another ring's has outlived that one, and is a ring by itself."""
        if not one.is_another_s:
            return False
        is_alone = not self._others.own(one.frequency_hz, one.levels_db[-1])
        one.hops_alone = one.hops_alone + 1 if is_alone else 0
        return one.hops_alone >= self._held_hops

    def _is_over(self, one: _Open) -> bool:
        """Whether the line of an open ring has sunk or is falling away."""
        if one.hops_sunk >= self._close_hops:
            return True
        return self._has_fallen(list(one.levels_db), one.floor_db)

    def _dies_away(self, line_bin: int) -> bool:
        """Whether what is at a bin has been louder in the last half second and falls: the rest of
        what rang, with whatever frequency the room leaves it, begins no ring."""
        levels_db = self._levels_dbfs(line_bin, self._held_hops)
        floor_db = float(self._history.floor_db(1)[0, line_bin])
        return self._has_fallen(levels_db, floor_db) and self._slope_db_per_s(levels_db) < 0.0

    def _has_fallen(self, levels_db: list[float], floor_db: float) -> bool:
        """Whether a line with these levels of late has fallen far, or less far but steeply."""
        highest_db = max(levels_db)
        if highest_db - floor_db < FALLS_FROM_DB:
            return False
        fall_db = highest_db - levels_db[-1]
        return fall_db >= CLOSE_FALL_DB or (
            fall_db >= CLOSE_SLOPE_FALL_DB
            and self._slope_db_per_s(levels_db) <= CLOSE_SLOPE_DB_PER_S
        )

    def _slope_db_per_s(self, levels_db: list[float]) -> float:
        """Over the last hops of a window."""
        back = min(_SLOPE_HOPS, len(levels_db) - 1)
        return (levels_db[-1] - levels_db[-1 - back]) / (back * self._hop_s) if back else 0.0

    def _level_dbfs(self, line_bin: int) -> float:
        return self._levels_dbfs(line_bin, 1)[-1]

    def _levels_dbfs(self, line_bin: int, hops: int) -> list[float]:
        """The level of a line over the last hops, oldest first."""
        lobe_db = self._history.level_db(hops)[:, line_bin - 1 : line_bin + 2]
        levels_db: list[float] = lobe_db.max(axis=1).tolist()
        return levels_db


def _closing(one: _Open, now_s: float) -> RingEvent:
    return RingEvent("closed", replace(one.ring, end_s=now_s), now_s)
