"""How loud the spoken, the sung and the quiet parts are, in cells of 0.3 s.

Conventions
-----------
Levels are in dBFS with a full-scale sine at 0, peak and RMS alike, as everywhere in the house; the
crest factor is peak over true RMS, so a sine's is 3.0 dB.  The RMS is taken without the offset.

A meter's needle takes 0.3 s to come to its reading (IEC 60268-17, from memory), so the RMS
is taken over the last 0.3 s, at every hop.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from typing import Literal

Kind = Literal["sung", "spoken", "other"]

FLOOR_DBFS = -120.0
"""Below the noise of any converter: what silence reads."""

CELL_HOPS = 15
"""0.3 s of hops of 20 ms."""

KEPT_CELLS = 50
"""15 s of each kind: when the gain was turned and the line is sung again, the old is forgotten."""

RANK = 3
"""The reading is the third loudest cell's: a lone pop or a knock on the stand is not the voice."""

LEAST_CELLS = {"sung": 8, "spoken": 5, "other": 5}
"""Before anything is said of a kind: 2.4 s of singing, a short line, so that one drawn-out word is
not taken for it; 1.5 s of the rest."""

QUIET_CELLS = 200
"""A minute in which to look for the quietest moments."""


def dbfs(power: float) -> float:
    """Level of a mean square where a full-scale sine has 0.5, no less than ``FLOOR_DBFS``."""
    return max(10.0 * math.log10(2.0 * power), FLOOR_DBFS) if power > 0.0 else FLOOR_DBFS


def peak_dbfs(peak: float) -> float:
    """Level of a peak, no less than ``FLOOR_DBFS``."""
    return max(20.0 * math.log10(peak), FLOOR_DBFS) if peak > 0.0 else FLOOR_DBFS


@dataclass(frozen=True, slots=True)
class Hop:
    """What the levels need of one hop; ``mean`` is its offset, ``square`` its mean square."""

    peak: float
    mean: float
    square: float
    a_power: float
    is_active: bool
    is_voiced: bool
    is_clipped: bool


@dataclass(frozen=True, slots=True)
class Cell:
    """0.3 s of sound: its peak, its highest running mean square, the A-weighted mean and lowest
    one of it, and its shares of voice and of sound."""

    peak: float
    power: float
    a_power: float
    lowest_a_power: float
    voiced_share: float
    active_share: float
    is_clipped: bool


@dataclass(frozen=True, slots=True)
class Loudest:
    """The loudest of one kind of sound."""

    seconds: float
    peak_dbfs: float
    rms_dbfs: float
    a_dbfs: float
    is_clipped: bool


class Running:
    """Peak and RMS of the last 0.3 s, and the cell that is being filled."""

    def __init__(self) -> None:
        self._hops: deque[Hop] = deque(maxlen=CELL_HOPS)
        self.reset()

    def reset(self) -> None:
        """Begin a new cell after a gap."""
        self._hops.clear()
        self._filled: list[Hop] = []
        self._highest = 0.0

    @property
    def offset(self) -> float:
        """The mean of the last 0.3 s, in parts of full scale."""
        return sum(hop.mean for hop in self._hops) / max(len(self._hops), 1)

    @property
    def power(self) -> float:
        """The mean square of the last 0.3 s without its offset."""
        square = sum(hop.square for hop in self._hops) / max(len(self._hops), 1)
        return max(square - self.offset**2, 0.0)

    @property
    def peak(self) -> float:
        """The highest absolute sample of the last 0.3 s."""
        return max((hop.peak for hop in self._hops), default=0.0)

    def push(self, hop: Hop) -> Cell | None:
        """Take in a hop; return the cell that it completes."""
        self._hops.append(hop)
        self._filled.append(hop)
        if len(self._hops) == CELL_HOPS:
            self._highest = max(self._highest, self.power)
        if len(self._filled) < CELL_HOPS:
            return None
        filled, highest = self._filled, self._highest
        self._filled, self._highest = [], 0.0
        return Cell(
            peak=max(each.peak for each in filled),
            power=highest,
            a_power=sum(each.a_power for each in filled) / CELL_HOPS,
            lowest_a_power=min(each.a_power for each in filled),
            voiced_share=sum(each.is_voiced for each in filled) / CELL_HOPS,
            active_share=sum(each.is_active for each in filled) / CELL_HOPS,
            is_clipped=any(each.is_clipped for each in filled),
        )


class Parts:
    """The newest cells of each kind of sound, and of the quiet between."""

    def __init__(self, cell_s: float) -> None:
        self._cell_s = cell_s
        self._cells: dict[Kind, deque[Cell]] = {
            kind: deque(maxlen=KEPT_CELLS) for kind in ("sung", "spoken", "other")
        }
        self._counts: dict[Kind, int] = {"sung": 0, "spoken": 0, "other": 0}
        self._quiet: deque[Cell] = deque(maxlen=QUIET_CELLS)

    def push(self, cell: Cell, kind: Kind | None) -> None:
        """Take in a cell, None for one without sound worth a kind."""
        if cell.voiced_share == 0.0:
            self._quiet.append(cell)
        if kind is not None:
            self._cells[kind].append(cell)
            self._counts[kind] += 1

    def loudest(self, kind: Kind) -> Loudest | None:
        """The loudest of a kind within its newest 15 s, None while there is too little."""
        cells = self._cells[kind]
        if len(cells) < LEAST_CELLS[kind]:
            return None
        return Loudest(
            seconds=self._counts[kind] * self._cell_s,
            peak_dbfs=peak_dbfs(sorted(cell.peak for cell in cells)[-RANK]),
            rms_dbfs=dbfs(sorted(cell.power for cell in cells)[-RANK]),
            a_dbfs=dbfs(sorted(cell.a_power for cell in cells)[-RANK]),
            is_clipped=any(cell.is_clipped for cell in cells),
        )

    def noise(self) -> tuple[float, float] | None:
        """RMS and A-weighted level of the quietest tenth of the last minute's unvoiced cells.

        In dBFS; None until there were three such cells.
        """
        if len(self._quiet) < 3:
            return None
        place = len(self._quiet) // 10
        power = sorted(cell.power for cell in self._quiet)[place]
        a_power = sorted(cell.a_power for cell in self._quiet)[place]
        return dbfs(power), dbfs(a_power)
