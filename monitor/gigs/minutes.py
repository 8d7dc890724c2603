"""What was heard, minute by minute: whether there is sound, and how loud it was.  Pure.

The box's microphone is not calibrated, so sound is what stands well above the quietest minute that
was heard here, and nothing is said about how loud that is.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

MINUTE_S = 60.0
LOUD_DB = 15.0
"""Speech or music on a stage stands further above an empty room; a bar's talk mostly does not.
Common practice, no source."""
LOUD_S = 20.0
"""Of a minute: a door, a cough or a box that is set down are shorter."""
MOST_MINUTES = 720
"""Twelve hours of quietest minutes: one evening's."""
LEAST_S = 30.0
"""Heard of a minute, before it can be the quietest one."""
SILENCE_DBFS = -140.0
"""Below this nothing is connected: the last bit of 24 is at -144 dBFS."""


@dataclass(frozen=True, slots=True)
class Minute:
    """A minute that has passed; levels are dB re a full-scale sine, bands the 31 third octaves."""

    begun_s: float
    level_dbfs: float
    peak_dbfs: float
    loud: bool
    third_octave_dbfs: tuple[float, ...]

    @property
    def ended_s(self) -> float:
        """When it had passed: what is kept of it stands for the time before."""
        return self.begun_s + MINUTE_S

    def fields(self) -> dict[str, Any]:
        """Return what is kept of it."""
        return {
            "level_dbfs": round(self.level_dbfs, 1),
            "peak_dbfs": round(self.peak_dbfs, 1),
            "loud": self.loud,
            "third_octave_dbfs": [round(level, 1) for level in self.third_octave_dbfs],
        }


@dataclass(slots=True)
class _Sum:
    """``levels`` are pairs of dBFS and for how long; ``energies`` powers times seconds."""

    begun_s: float
    levels: list[tuple[float, float]]
    energies: list[float]
    peak_dbfs: float = SILENCE_DBFS
    loud_s: float = 0.0


class Minutes:
    """Takes in levels once or a few times a second; each stands for the time since the last."""

    def __init__(self) -> None:
        self._sum: _Sum | None = None
        self._quiet_dbfs: deque[float] = deque(maxlen=MOST_MINUTES)
        self._loud: deque[tuple[float, float]] = deque()
        self._last_s: float | None = None

    @property
    def quietest_dbfs(self) -> float | None:
        """The level of the quietest minute, None before one has passed."""
        return min(self._quiet_dbfs, default=None)

    @property
    def sound_since_s(self) -> float | None:
        """When it began to be loud, if there is sound now; None otherwise."""
        loud_s = sum(seconds for _, seconds in self._loud)
        return self._loud[0][0] if loud_s >= LOUD_S else None

    def push(
        self, at_s: float, *, level_dbfs: float, peak_dbfs: float, bands_dbfs: Sequence[float]
    ) -> Minute | None:
        """Take in the levels at an instant; return the minute that they complete, if one."""
        step_s = 0.0 if self._last_s is None else min(max(0.0, at_s - self._last_s), 2.0)
        self._last_s = at_s
        quietest_dbfs = self.quietest_dbfs
        is_loud = quietest_dbfs is not None and level_dbfs >= quietest_dbfs + LOUD_DB
        while self._loud and self._loud[0][0] <= at_s - MINUTE_S:
            self._loud.popleft()
        if is_loud:
            self._loud.append((at_s, step_s))
        done = None
        if self._sum is not None and not 0.0 <= at_s - self._sum.begun_s < MINUTE_S:
            done = self._closed(self._sum)
            self._sum = None
        if self._sum is None:
            self._sum = _Sum(at_s, [], [0.0] * len(bands_dbfs))
        found = self._sum
        found.levels.append((level_dbfs, step_s))
        found.peak_dbfs = max(found.peak_dbfs, peak_dbfs)
        found.energies = [
            energy + step_s * 10.0 ** (level / 10.0)
            for energy, level in zip(found.energies, bands_dbfs, strict=True)
        ]
        found.loud_s += step_s * is_loud
        return done

    def lost(self) -> None:
        """Nothing is heard any more: a minute that was begun is not one."""
        self._sum, self._last_s = None, None
        self._loud.clear()

    def _closed(self, found: _Sum) -> Minute | None:
        heard_s = sum(step_s for _, step_s in found.levels)
        if heard_s < LEAST_S:
            return None
        middle_dbfs = _median(found.levels)
        if middle_dbfs > SILENCE_DBFS:
            self._quiet_dbfs.append(middle_dbfs)
        energy = sum(step_s * 10.0 ** (level / 10.0) for level, step_s in found.levels)
        return Minute(
            begun_s=found.begun_s,
            level_dbfs=_db(energy / heard_s),
            peak_dbfs=found.peak_dbfs,
            loud=found.loud_s >= LOUD_S,
            third_octave_dbfs=tuple(_db(energy / heard_s) for energy in found.energies),
        )


def _median(levels: Sequence[tuple[float, float]]) -> float:
    """The level that was exceeded for half of the time."""
    half_s, upto_s = 0.5 * sum(step_s for _, step_s in levels), 0.0
    for level, step_s in sorted(levels):
        upto_s += step_s
        if upto_s >= half_s:
            return level
    return SILENCE_DBFS


def _db(power: float) -> float:
    return max(SILENCE_DBFS, 10.0 * math.log10(max(power, 1e-15)))
