"""The advice in a set: for the ring that leads, told anew only where that is worth saying."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence

import numpy as np

from monitor.advice.equaliser import Equaliser
from monitor.advice.margin import LoopTimes
from monitor.advice.pulls import Pull, standing_response_db
from monitor.advice.set_advice import RingNow, SetAdvice, asked_key, set_advice
from monitor.adviser.followed import JUMP_S, Followed, RestOfSound
from monitor.adviser.practice_desk import PracticeDesk
from monitor.adviser.set_rings import Asked, Needs

ANOTHER_PART = 0.5
"""The advice for the same rings changes only when the need of the first has moved by more than
this part of the margin since it was told: the pull that was told does nearly as well, and a number
that flickers cannot be followed."""


class SetCounsel:
    """What to do now about the rings of a set, as ``advice`` for the ring ``for_ring``.

    Parameters
    ----------
    equaliser : Equaliser
        The person's own.
    margin_db : float
        The margin wanted.
    asked : Counter of str, optional
        How often each slider was asked for earlier tonight.
    """

    def __init__(
        self, equaliser: Equaliser, *, margin_db: float, asked: Counter[str] | None = None
    ) -> None:
        self._equaliser = equaliser
        self._margin_db = margin_db
        self._asked = Asked(asked)
        self._needs = Needs()
        self._based_on: object = None
        self._told: RingNow | None = None
        self.advice: SetAdvice | None = None
        self.for_ring: int | None = None

    @property
    def asked(self) -> Counter[str]:
        """How often each slider was asked for tonight."""
        return self._asked.counts

    def moved(
        self, rings: Sequence[Followed], at_s: float, lost_db: Callable[[float], float]
    ) -> None:
        """See ``Needs.moved``."""
        self._needs.moved(rings, at_s, lost_db)

    def elsewhere(self) -> None:
        """The loops are others: what was won in the old ones says nothing."""
        self._needs.clear()

    def closed(self, ring: Followed) -> None:
        """A ring is over."""
        self._asked.closed(ring)

    def leave(self) -> None:
        """A ring-out looks after the rings."""
        self._asked.clear()
        self._rest()

    def _rest(self) -> None:
        self.advice, self.for_ring, self._based_on = None, None, None
        self._needs.clear()

    def advise(
        self,
        rings: Sequence[Followed],
        at_s: float,
        *,
        standing: Sequence[Pull],
        times: LoopTimes,
        rest: RestOfSound,
        desk: PracticeDesk,
    ) -> None:
        """Look after the rings of now, the one that leads first."""
        if not rings:
            self._rest()
            return
        now = self._needs.now(rings, at_s, times)
        first = rings[0]
        is_done = now[0].needed_db(self._margin_db) == 0.0
        based_on = (first.id, {ring.id for ring in rings}, list(standing), is_done)
        if based_on == self._based_on and self._is_told(now[0]):
            return
        self._based_on, self._told, self.for_ring = based_on, now[0], first.id
        self.advice = set_advice(
            self._equaliser,
            now,
            margin_db=self._margin_db,
            standing=standing,
            asked=self.asked,
            level_step_db=_step_db(rings, rest, desk),
        )
        if self.advice is not None and now[0].gained_db <= 0.0:
            # Later, while a hand is on its way, a neighbour may be asked for the rest.
            keys = [asked_key(self._equaliser, p, first.frequency_hz) for p in self.advice.pulls]
            self._asked.told(first.id, keys)

    def _is_told(self, now: RingNow) -> bool:
        """Whether this would be no news to somebody who did what was told last."""
        told = self._told
        if told is None or (now.excess is None) is not (told.excess is None):
            return False
        another_db = now.needed_db(self._margin_db) - told.needed_db(self._margin_db)
        return abs(another_db) <= ANOTHER_PART * self._margin_db


def _step_db(rings: Sequence[Followed], rest: RestOfSound, desk: PracticeDesk) -> float:
    """Return the step in level beside the first ring; none where the desk's own fader made it."""
    opened_s = rings[0].opened_s
    if desk.moved_fader(opened_s - 2.0 * JUMP_S):
        return 0.0
    return rest.jumped_db(opened_s, [ring.frequency_hz for ring in rings])


def gain_db(
    equaliser: Equaliser, standing: Sequence[Pull], fader_db: float | None, frequency_hz: float
) -> float:
    """Return what the desk gives a frequency as it stands, as far as that is known."""
    at = np.array([frequency_hz])
    return (fader_db or 0.0) + float(standing_response_db(equaliser, standing, at)[0])
