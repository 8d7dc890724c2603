"""What the rings of a set still need after what was pulled, and what was asked for how often.

No clock of its own.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from monitor.advice.growth import Slope
from monitor.advice.margin import LoopTimes
from monitor.advice.set_advice import RingNow
from monitor.adviser.followed import SHORT_S, Followed

HAND_S = 0.7
"""After a move a line may grow on for so long: the hand is still moving, or was told ahead."""


@dataclass(slots=True)
class _Need:
    """How a ring grew when that was heard last (None: not known), and what was won since.

    ``moved_s`` is when the desk was last moved since then, None where it was not.
    """

    climb: Slope | None = None
    gained_db: float = 0.0
    moved_s: float | None = None


class Needs:
    """How much of what each ring needs is still missing.

    A move of known size does not change what was heard, only how much of it is left: until the
    ring is gone, it grows again, or it has not fallen for a while.
    """

    def __init__(self) -> None:
        self._all: dict[int, _Need] = {}

    def clear(self) -> None:
        """Forget all: the loops are others."""
        self._all.clear()

    def moved(
        self, rings: Iterable[Followed], at_s: float, lost_db: Callable[[float], float]
    ) -> None:
        """The desk was moved; ``lost_db`` says how much gain a frequency in Hz has lost by it.

        To be told before the followings forget how the rings grew.
        """
        for ring in rings:
            need = self._heard(ring, at_s)
            need.gained_db += lost_db(ring.frequency_hz)
            need.moved_s = at_s

    def now(self, rings: Iterable[Followed], at_s: float, times: LoopTimes) -> list[RingNow]:
        """Return what is known of these rings; others are forgotten, a night has many."""
        found = []
        kept = {}
        for ring in rings:
            need = kept[ring.id] = self._heard(ring, at_s)
            excess = None
            if need.climb is not None:
                excess = times.estimate(need.climb, frequency_hz=ring.frequency_hz)
            found.append(RingNow(ring.frequency_hz, excess, need.gained_db))
        self._all = kept
        return found

    def _heard(self, ring: Followed, at_s: float) -> _Need:
        need = self._all.get(ring.id)
        if need is None:
            need = self._all[ring.id] = _Need(ring.climb)
        elif need.moved_s is None:
            need.climb = ring.climb
        elif ring.climb is not None and ring.climb.to_s >= need.moved_s + HAND_S:
            # Pushed further up a ring soon stands at an end stop, and hardly climbs: what was
            # heard before, and what was added, tell more.
            if need.climb is None or need.gained_db >= 0.0:
                need = self._all[ring.id] = _Need(ring.climb)
        elif ring.trace.lasts(at_s):
            # It was not enough, and how far it is from enough is not known.
            need = self._all[ring.id] = _Need()
        return need


class Asked:
    """How often each slider was asked for tonight, by ``asked_key``; a ring counts once."""

    def __init__(self, counts: Counter[str] | None = None) -> None:
        self.counts: Counter[str] = Counter() if counts is None else counts
        self._for: dict[int, set[str]] = {}

    def told(self, ring_id: int, keys: Iterable[str]) -> None:
        """A ring's advice asks for these."""
        self._for.setdefault(ring_id, set()).update(keys)

    def closed(self, ring: Followed) -> None:
        """A ring is over; one that went by itself, before anybody could pull, is not counted."""
        keys = self._for.pop(ring.id, set())
        if ring.closed_s is not None and ring.closed_s - ring.opened_s >= SHORT_S:
            self.counts.update(keys)

    def clear(self) -> None:
        """The rings of now are a ring-out's matter."""
        self._for.clear()
