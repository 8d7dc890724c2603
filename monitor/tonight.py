"""What rang tonight: open rings, the last ones, and how often each band has come back.

Times are seconds of ``time.monotonic()``; the sample clock of the listening is translated on
the way in, because it begins afresh whenever the microphone changes its rate.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from monitor.advice.equaliser import Equaliser, Slider
from monitor.listening.bands import Band, third_octave_of
from monitor.listening.rings import Ring, RingEvent

RECENT = 12
LEADS_DB = 3.0
"""The ring that stands first stays there until it ends, another howls where it does not, or is
louder by this: a name that changes with every breath cannot be followed.  Our choice."""


@dataclass(frozen=True, slots=True)
class Shown:
    """A ring as it is shown and kept: the listening's ring, its slider, and its history."""

    id: int
    degree: Literal["ringing", "howl"]
    frequency_hz: float
    band: Band
    slider: Slider
    level_dbfs: float
    growth_db_per_s: float
    started_mono_s: float
    again: int
    ended_mono_s: float | None = None


@dataclass(frozen=True, slots=True)
class PastRing:
    """A ring of this evening from the journal, ``ended_mono_s`` before this process if need be."""

    id: int
    degree: Literal["ringing", "howl"]
    frequency_hz: float
    level_dbfs: float
    growth_db_per_s: float
    started_mono_s: float
    ended_mono_s: float


class Tonight:
    """Open and recent rings; feed it every event of the listening."""

    def __init__(self, equaliser: Equaliser) -> None:
        self._equaliser = equaliser
        self._open: dict[int, Shown] = {}
        self._first_id: int | None = None
        self._recent: deque[Shown] = deque(maxlen=RECENT)
        self._counts: Counter[str] = Counter()
        self._next_id = 1
        self.last_end_mono_s: float | None = None
        self.has_rung = False

    @property
    def open_rings(self) -> tuple[Shown, ...]:
        """Rings that have not closed: howls first, then the louder one; the first keeps its place
        until another leads by ``LEADS_DB``."""

        def order(ring: Shown) -> tuple[bool, float]:
            held_db = LEADS_DB if ring.id == self._first_id else 0.0
            return ring.degree != "howl", -ring.level_dbfs - held_db

        return tuple(sorted(self._open.values(), key=order))

    @property
    def first_id(self) -> int | None:
        """Number of the ring that stands first, None while nothing rings."""
        return self._first_id

    @property
    def recent(self) -> tuple[Shown, ...]:
        """The last rings that have closed, newest first."""
        return tuple(reversed(self._recent))

    def take(self, event: RingEvent, *, clock_offset_s: float) -> Shown:
        """Take in an event; return the ring as it stands after it.

        ``clock_offset_s`` is what has to be added to the sample clock to get monotonic time.
        """
        ring = event.ring
        before = self._open.get(ring.id)
        shown = self._begin(ring, clock_offset_s) if before is None else before
        shown = replace(
            shown,
            degree=ring.degree,
            frequency_hz=ring.frequency_hz,
            band=ring.band,
            slider=self._equaliser.nearest(ring.frequency_hz),
            level_dbfs=ring.level_dbfs,
            growth_db_per_s=ring.growth_db_per_s,
        )
        if event.kind == "closed":
            self._open.pop(ring.id, None)
            end_s = event.at_s if ring.end_s is None else ring.end_s
            shown = replace(shown, ended_mono_s=end_s + clock_offset_s)
            self._recent.append(shown)
            self.last_end_mono_s = shown.ended_mono_s
        else:
            self._open[ring.id] = shown
        self._choose_first()
        return shown

    def follow(self, rings: Sequence[Ring]) -> None:
        """Take the present level and growth of open rings between events.

        Frequency and band stay as they were flagged: a name must not flicker on the panel.
        """
        for ring in rings:
            shown = self._open.get(ring.id)
            if shown is not None:
                self._open[ring.id] = replace(
                    shown, level_dbfs=ring.level_dbfs, growth_db_per_s=ring.growth_db_per_s
                )
        self._choose_first()

    def _choose_first(self) -> None:
        rings = self.open_rings
        self._first_id = rings[0].id if rings else None

    def _begin(self, ring: Ring, clock_offset_s: float) -> Shown:
        self.has_rung = True
        self._counts[ring.band.label] += 1
        number, self._next_id = self._next_id, self._next_id + 1
        return Shown(
            id=number,
            degree=ring.degree,
            frequency_hz=ring.frequency_hz,
            band=ring.band,
            slider=self._equaliser.nearest(ring.frequency_hz),
            level_dbfs=ring.level_dbfs,
            growth_db_per_s=ring.growth_db_per_s,
            started_mono_s=ring.start_s + clock_offset_s,
            again=self._counts[ring.band.label],
        )

    def begin_at(self, begun_mono_s: float) -> None:
        """Forget what had ended before the gig that is on began, and count without it."""
        kept = [r for r in self._recent if r.ended_mono_s is None or r.ended_mono_s >= begun_mono_s]
        if len(kept) == len(self._recent):
            return
        counts: Counter[str] = Counter()

        def counted(ring: Shown) -> Shown:
            counts[ring.band.label] += 1
            return replace(ring, again=counts[ring.band.label])

        self._recent = deque(map(counted, kept), maxlen=RECENT)
        self._open = {key: counted(ring) for key, ring in self._open.items()}
        self._counts = counts

    def remember(self, past: Sequence[PastRing], *, next_id: int) -> None:
        """Put back what the journal knows of this evening, oldest first, behind what is new."""
        new = list(self._recent)
        self._recent.clear()
        counts: Counter[str] = Counter()
        for ring in past:
            band = third_octave_of(ring.frequency_hz)
            counts[band.label] += 1
            self._recent.append(
                Shown(
                    id=ring.id,
                    degree=ring.degree,
                    frequency_hz=ring.frequency_hz,
                    band=band,
                    slider=self._equaliser.nearest(ring.frequency_hz),
                    level_dbfs=ring.level_dbfs,
                    growth_db_per_s=ring.growth_db_per_s,
                    started_mono_s=ring.started_mono_s,
                    again=counts[band.label],
                    ended_mono_s=ring.ended_mono_s,
                )
            )
            if self.last_end_mono_s is None or ring.ended_mono_s > self.last_end_mono_s:
                self.last_end_mono_s = ring.ended_mono_s
        self._recent.extend(replace(r, again=r.again + counts[r.band.label]) for r in new)
        self._open = {
            key: replace(r, again=r.again + counts[r.band.label]) for key, r in self._open.items()
        }
        self._counts.update(counts)
        self._next_id = max(self._next_id, next_id)
