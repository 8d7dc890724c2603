"""Onset and sustain: from scored lines, hop by hop, to rings that open, deepen and close.

Every line that looks suspicious gathers evidence, a one-sided cumulative sum of its log-odds
(E. S. Page, "Continuous inspection schemes", Biometrika 41, 1954): sure signs add up quickly,
doubtful ones slowly, and contrary ones take away.  At a first threshold the line is *ringing*,
at a second it is a *howl*.  A ring closes when its line falls away or sinks into its
surroundings.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from monitor.listening.bands import Band, third_octave_of
from monitor.listening.evidence import Candidates
from monitor.listening.spectrum import SpectrumHistory

Way = Literal["soundcheck", "set"]
Degree = Literal["ringing", "howl"]

LOG_ODDS_LIMIT = 6.0
"""No single hop may count for more than this: hops overlap and are not independent."""
MISSED_PENALTY = 3.0
"""What one hop without the line takes away."""

SAME_LINE_BINS = 1.2
"""Two peaks of one hop cannot be closer than about two bins (the Hann main lobe)."""

CLOSE_PROMINENCE_DB = 4.0
CLOSE_HOPS = 4
"""A ring is over when its line has not stood out for this many hops ..."""
CLOSE_FALL_DB = 10.0
"""... or has fallen this far below the highest it stood in the last half second ..."""
CLOSE_SLOPE_DB_PER_S = -25.0
CLOSE_SLOPE_FALL_DB = 5.0
"""... or has fallen half as far and is still falling steeply."""
HELD_S = 0.5


@dataclass(frozen=True, slots=True)
class DegreeThreshold:
    """What a line must bring to reach a degree.

    ``evidence`` is the sum of log-odds; the line's power must also be at least these shares
    of all the sound and of the octave around it, in dB: what is far below the programme may
    be anything, and nobody hears it.
    """

    evidence: float
    share_of_power_db: float
    share_of_octave_db: float


@dataclass(frozen=True, slots=True)
class Thresholds:
    """What ringing and howl take; ``drift`` is what every hop costs the evidence."""

    drift: float
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
class _Line:
    bin: int
    frequency_hz: float
    evidence: float = 0.0
    growth_db_per_s: float = 0.0
    share_of_power_db: float = -np.inf
    share_of_octave_db: float = -np.inf
    ring: Ring | None = None
    levels_db: deque[float] = field(default_factory=deque)
    hops_sunk: int = 0

    def reaches(self, threshold: DegreeThreshold) -> bool:
        return (
            self.evidence >= threshold.evidence
            and self.share_of_power_db >= threshold.share_of_power_db
            and self.share_of_octave_db >= threshold.share_of_octave_db
        )


class RingBook:
    """The lines of one resolution that are suspicious or ringing.

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
    rings_elsewhere : callable
        Whether another resolution has an open ring at a frequency: where two resolutions
        overlap, one ring is one ring.
    """

    def __init__(
        self,
        history: SpectrumHistory,
        *,
        hop_s: float,
        new_id: Callable[[], int],
        exact_hz: Callable[[float], float],
        rings_elsewhere: Callable[[float], bool] = lambda _: False,
    ) -> None:
        self._history = history
        self._hop_s = hop_s
        self._held_hops = max(2, round(HELD_S / hop_s))
        self._new_id = new_id
        self._exact_hz = exact_hz
        self._rings_elsewhere = rings_elsewhere
        self._lines: list[_Line] = []

    @property
    def open_rings(self) -> list[Ring]:
        """Rings that have not closed."""
        return [line.ring for line in self._lines if line.ring is not None]

    def close_all(self, now_s: float) -> list[RingEvent]:
        """End every ring, as when the sound stops."""
        lines, self._lines = self._lines, []
        return [self._close(line, now_s) for line in lines if line.ring is not None]

    def advance(
        self,
        candidates: Candidates | None,
        log_odds: np.ndarray,
        thresholds: Thresholds,
        *,
        now_s: float,
    ) -> list[RingEvent]:
        """Take in one hop's scored candidates (log-odds float [n]); return what changed."""
        events: list[RingEvent] = []
        matched = self._match(candidates, log_odds, thresholds)
        kept: list[_Line] = []
        for line in self._lines:
            if id(line) not in matched:
                line.evidence -= MISSED_PENALTY
            line.evidence = min(line.evidence, 1.5 * thresholds.howl.evidence)
            if line.ring is not None:
                # An open ring is closed by its line's end, not by doubts about a line that stands.
                line.evidence = max(line.evidence, 0.0)
            else:
                if line.evidence <= 0.0:
                    continue
                if line.reaches(thresholds.ringing):
                    if self._rings_elsewhere(line.frequency_hz):
                        line.evidence = 0.0
                    else:
                        events.append(self._open(line, now_s))
            if line.ring is not None:
                if line.ring.degree == "ringing" and line.reaches(thresholds.howl):
                    line.ring = replace(
                        line.ring,
                        degree="howl",
                        frequency_hz=self._exact_hz(line.frequency_hz),
                        flagged_s=now_s,
                    )
                    events.append(RingEvent("howl", line.ring, now_s))
                self._follow(line, line.ring)
                if self._is_over(line):
                    events.append(self._close(line, now_s))
                    continue
            kept.append(line)
        self._lines = kept
        return events

    def _match(
        self, candidates: Candidates | None, log_odds: np.ndarray, thresholds: Thresholds
    ) -> set[int]:
        """Give each candidate's evidence to its line; begin lines for the suspicious ones."""
        matched: set[int] = set()
        if candidates is None:
            return matched
        gain = np.minimum(np.maximum(log_odds, -LOG_ODDS_LIMIT), LOG_ODDS_LIMIT) - thresholds.drift
        tolerance_hz = SAME_LINE_BINS * self._history.bin_hz
        for i in np.argsort(-candidates.level_db):
            frequency_hz = float(candidates.frequency_hz[i])
            near = [
                line
                for line in self._lines
                if abs(line.frequency_hz - frequency_hz) <= tolerance_hz and id(line) not in matched
            ]
            if near:
                line = min(near, key=lambda line: abs(line.frequency_hz - frequency_hz))
            elif gain[i] > 0.0:
                line = _Line(int(candidates.bins[i]), frequency_hz)
                self._lines.append(line)
            else:
                continue
            line.bin = int(candidates.bins[i])
            line.frequency_hz = frequency_hz
            line.evidence += float(gain[i])
            line.growth_db_per_s = float(candidates.slope_db_per_s[i])
            line.share_of_power_db = float(candidates.share_of_power_db[i])
            line.share_of_octave_db = float(candidates.share_of_octave_db[i])
            matched.add(id(line))
        return matched

    def _open(self, line: _Line, now_s: float) -> RingEvent:
        standing = (self._history.level_db()[:, line.bin] - self._history.floor_db()[:, line.bin])[
            ::-1
        ] > CLOSE_PROMINENCE_DB
        hops = len(standing) if standing.all() else int(np.argmin(standing))
        frequency_hz = self._exact_hz(line.frequency_hz)
        line.ring = Ring(
            id=self._new_id(),
            degree="ringing",
            frequency_hz=frequency_hz,
            band=third_octave_of(frequency_hz),
            level_dbfs=self._level_dbfs(line),
            growth_db_per_s=line.growth_db_per_s,
            start_s=max(0.0, now_s - hops * self._hop_s),
            flagged_s=now_s,
        )
        return RingEvent("ringing", line.ring, now_s)

    def _follow(self, line: _Line, ring: Ring) -> None:
        """Note where an open ring's line stands now."""
        level_db = self._level_dbfs(line)
        prominence_db = level_db - float(self._history.floor_db(1)[0, line.bin])
        line.hops_sunk = line.hops_sunk + 1 if prominence_db < CLOSE_PROMINENCE_DB else 0
        line.levels_db.append(level_db)
        while len(line.levels_db) > self._held_hops:
            line.levels_db.popleft()
        line.ring = replace(
            ring,
            level_dbfs=max(level_db, ring.level_dbfs),
            growth_db_per_s=line.growth_db_per_s
            if ring.degree == "ringing"
            else ring.growth_db_per_s,
        )

    def _is_over(self, line: _Line) -> bool:
        """Whether the line of an open ring has sunk or is falling away."""
        level_db = line.levels_db[-1]
        fall_db = max(line.levels_db) - level_db
        back = min(4, len(line.levels_db) - 1)
        falling_db_per_s = (
            (level_db - line.levels_db[-1 - back]) / (back * self._hop_s) if back else 0.0
        )
        return (
            line.hops_sunk >= CLOSE_HOPS
            or fall_db >= CLOSE_FALL_DB
            or (fall_db >= CLOSE_SLOPE_FALL_DB and falling_db_per_s <= CLOSE_SLOPE_DB_PER_S)
        )

    def _level_dbfs(self, line: _Line) -> float:
        return float(self._history.level_db(1)[0, line.bin - 1 : line.bin + 2].max())

    def _close(self, line: _Line, now_s: float) -> RingEvent:
        if line.ring is None:
            raise RuntimeError("only a ring can be closed")
        return RingEvent("closed", replace(line.ring, end_s=now_s), now_s)
