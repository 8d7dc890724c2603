"""What a ring-out hears: from news to rings on the ladder, their excess, and what is learnt."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.advice.margin import Excess, LoopTimes
from monitor.advice.pulls import Pull
from monitor.advice.ring_out_course import Step
from monitor.advice.ring_out_rings import KnownRing, RingLadder
from monitor.advice.ring_out_state import RingNews


class RingEar:
    """Which news belongs to which ring.

    Parameters
    ----------
    ladder : RingLadder
        Where the rings are kept.
    loop_times : LoopTimes
        What is believed of this room's loops; it learns.
    """

    def __init__(self, ladder: RingLadder, loop_times: LoopTimes) -> None:
        self._ladder = ladder
        self._loop_times = loop_times
        self._places: dict[int, int] = {}
        self.sounding: dict[int, RingNews] = {}

    def open(self) -> list[KnownRing]:
        """Return the rings that are heard and not left alone."""
        return [
            ring
            for ring in self._ladder.rings
            if ring.open and not ring.skipped and not ring.undone
        ]

    def deafen(self) -> None:
        """Forget which news belongs to which ring, as for a pause; none is open."""
        self._places.clear()
        for ring in self._ladder.rings:
            ring.open = ring.undone = False

    def knows(self, news: RingNews) -> bool:
        """Whether this is of a ring that has begun already."""
        return news.id in self._places

    def opened(self, news: RingNews, *, mends: bool) -> tuple[KnownRing, bool, bool]:
        """Return the ring, whether it has just begun, and whether its excess is news.

        ``mends``: what is heard of a ring that sounds already may be another excess than it was
        taken to have.  Once a hand is on its way, or there, nobody knows of which gain it tells.
        """
        is_new = not self.knows(news)
        if is_new:
            ring = self._ladder.rang(news.frequency_hz)
            self._places[news.id] = self._ladder.rings.index(ring)
        ring = self._ladder.rings[self._places[news.id]]
        excess = self._excess_of(news) if is_new or mends else None
        if ring.holds_margin and news.excess is None and news.slope == ring.slope:
            excess = None  # an old climb says nothing of a ring that was pulled since
        if excess is not None:
            ring.excess, ring.holds_margin = excess, False
        ring.slope = news.slope or ring.slope
        return ring, is_new, excess is not None

    def closed(self, news: RingNews) -> int | None:
        """Return the place of the ring that has gone; None if nobody knew of it."""
        self.sounding.pop(news.id, None)
        place = self._places.pop(news.id, None)
        if place is not None and place not in self._places.values():
            ring = self._ladder.rings[place]
            ring.open = ring.undone = False
            ring.fate = "left" if ring.fate == "left" else "gone"
        return place

    def learn(self, place: int, news: RingNews, step: Step, pulls: Sequence[Pull]) -> None:
        """A ring's fall after a pull of known size tells its loop time."""
        ring = self._ladder.rings[place]
        if place not in step.rings or ring.slope is None:
            return
        if news.slope is None or news.slope.db_per_s >= 0.0:
            return
        hz = ring.frequency_hz
        moved_db = ring.in_vain_db + self._ladder.deeper_db(step.before, pulls, hz)
        if moved_db > 0.0:
            self._loop_times.learn(
                frequency_hz=hz, before=ring.slope, after=news.slope, moved_db=-moved_db
            )

    def stayed(self, pulls: Sequence[Pull], *, least_db: float) -> None:
        """What rings in spite of its pull has more excess than was thought.

        It is not given its margin once more: the pull had one, and a hand that is late or on the
        wrong slider leaves a ring as often as a pull too small (of 48 that stayed with clumsy
        hands 23 were dying by then, 12 had the wrong slider; 30 rooms, seeds 50000 to 50029).
        """
        for ring in self.open():
            depth_db = self._ladder.depth_db(pulls, ring.frequency_hz)
            ring.in_vain_db += max(depth_db - ring.placed_depth_db, 0.0)
            left_db = least_db
            if ring.slope is not None:
                told = self._loop_times.estimate(
                    ring.slope, frequency_hz=ring.frequency_hz, at_least_db=ring.in_vain_db
                )
                left_db = max(told.db - ring.in_vain_db, least_db)
            ring.excess = Excess(left_db, 0.0, 2.0 * left_db, "it stayed when it was pulled")
            ring.holds_margin = True
            self._ladder.placed(ring, pulls)

    def given_back(self, ring: KnownRing, before: Sequence[Pull], pulls: Sequence[Pull]) -> None:
        """What a ring was pulled in vain and is given back again, it has too much on top."""
        back_db = self._ladder.deeper_db(before, pulls, ring.frequency_hz)
        back_db = min(max(back_db, 0.0), ring.in_vain_db)
        ring.in_vain_db -= back_db
        if ring.excess is not None and ring.holds_margin:
            told = ring.excess
            ring.excess = Excess(
                told.db + back_db, told.low_db + back_db, told.high_db + back_db, told.why
            )

    def _excess_of(self, news: RingNews) -> Excess | None:
        if news.excess is not None or news.slope is None or news.slope.db_per_s <= 0.0:
            return news.excess
        return self._loop_times.estimate(news.slope, frequency_hz=news.frequency_hz)
