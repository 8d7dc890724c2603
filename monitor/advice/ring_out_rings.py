"""The rings of one ring-out on one ladder of gain, and what each needs of the equaliser.

Conventions
-----------
The ladder's 0 dB is the gain at which the first ring was heard; how far the fader has gone up
since is told by marks, by a ring that came back (its depth is known, so the gain is), and in
between guessed from the time spent raising.  ``limit_db`` of a ring is the mark on the ladder at
which it would begin to ring with the whole equaliser flat.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.advice.equaliser import Equaliser
from monitor.advice.growth import Slope
from monitor.advice.least_harm import REACH_SHARE
from monitor.advice.margin import USUAL_EXCESS_DB, Excess
from monitor.advice.pulls import Pull, standing_response_db
from monitor.advice.ring_out_state import Fate

SAME_RING_PART = 0.012
SAME_RING_HZ = 4.0
"""What rings at nearly the frequency of an earlier ring is that ring come back: a fifth of a tone,
at the bottom a fraction of a line's width; a pull turns the phase and shifts it a little."""
STEP_DB = 0.5
STEP_S = 1.0
RAISED_DB_PER_S = 0.25
"""How fast a fader goes up that is raised as is asked for, by half a decibel every two seconds, the
first step at once.  By least squares on 190 raises of steady hands it is 0.31 dB and 0.24 dB a
second (30 rooms, seeds 50000 to 50029); with rings that began while nobody raised among them it had
been 0.36 and 0.14.  The ladder then ends within 0.1 dB of the fader in the middle; with clumsy
hands, who raise twice as fast, 2.0 dB too low."""
OFF_DB = 1.5
"""What pulls elsewhere shift a ring by, their phase turning it, and what hands are off by."""


@dataclass(slots=True)
class KnownRing:
    """One frequency that rang; ``open`` while it is heard, ``skipped`` when it is left for good.

    ``undone``: its pull was taken back while it sounded, and it is left alone for a while.
    ``placed_gain_db`` is the ladder's gain when its limit was last reckoned.  ``holds_margin``: it
    stayed when it was pulled, and its excess is what to pull next, margin and all.  ``went_db`` is
    the mark on the ladder, with the whole equaliser flat, at which it last went by itself.
    """

    frequency_hz: float
    limit_db: float
    fate: Fate = "rings"
    times: int = 1
    excess: Excess | None = None
    slope: Slope | None = None
    open: bool = True
    skipped: bool = False
    undone: bool = False
    in_vain_db: float = 0.0
    placed_gain_db: float = 0.0
    holds_margin: bool = False
    went_db: float | None = None

    @property
    def held_by_db(self) -> float:
        """What it was heard to need, to stop just so, at the gain it was placed at."""
        return self.placed_gain_db - self.limit_db

    @property
    def placed_depth_db(self) -> float:
        """What it had of that when it was placed."""
        return self.held_by_db - excess_db(self)


class RingLadder:
    """All rings so far, the gain they rang at, and the needs that follow.

    ``gain_db`` is where the fader is taken to stand, ``higher_db`` how much higher it may be.
    """

    def __init__(self, equaliser: Equaliser) -> None:
        self._equaliser = equaliser
        self.rings: list[KnownRing] = []
        self.gain_db = self.higher_db = 0.0
        self._raised_from = 0.0, 0.0

    def depth_db(self, pulls: Sequence[Pull], frequency_hz: float) -> float:
        """Return what these pulls take away at a frequency."""
        at = np.array([frequency_hz])
        return -float(standing_response_db(self._equaliser, pulls, at)[0])

    def depths_db(self, pulls: Sequence[Pull]) -> np.ndarray:
        """Return what these pulls take away at every ring."""
        at = np.array([ring.frequency_hz for ring in self.rings], float)
        return -standing_response_db(self._equaliser, pulls, at)

    def same(self, frequency_hz: float) -> KnownRing | None:
        """Return the ring that this is, or None for a new one."""
        near = max(SAME_RING_HZ, SAME_RING_PART * frequency_hz)
        found = [r for r in self.rings if abs(r.frequency_hz - frequency_hz) <= near]
        return min(found, key=lambda r: abs(r.frequency_hz - frequency_hz), default=None)

    def deeper_db(
        self, before: Sequence[Pull], after: Sequence[Pull], frequency_hz: float
    ) -> float:
        """Return how much deeper a frequency is with some pulls than with others."""
        return self.depth_db(after, frequency_hz) - self.depth_db(before, frequency_hz)

    def pulled_for(self, ring: KnownRing, pulls: Sequence[Pull]) -> str:
        """Return the pulled slider that takes most from a ring, "" where none reaches it."""
        taken_db = {pull: self.depth_db((pull,), ring.frequency_hz) for pull in pulls}
        found = max(pulls, key=lambda pull: taken_db[pull], default=None)
        if found is None or taken_db[found] < REACH_SHARE * found.pull_db:
            return ""
        return found.label

    def rang(self, frequency_hz: float) -> KnownRing:
        """Take in a ring that began, new or come back."""
        ring = self.same(frequency_hz)
        if ring is None:
            ring = KnownRing(frequency_hz, 0.0)
            self.rings.append(ring)
        else:
            ring.times += 1
            ring.fate = "left" if ring.skipped else "came back"
            ring.excess, ring.slope, ring.in_vain_db = None, None, 0.0
            ring.holds_margin = False
        ring.open, ring.undone = True, False
        return ring

    def placed(self, ring: KnownRing, pulls: Sequence[Pull]) -> None:
        """Put a ring that is heard where it belongs on the ladder."""
        depth_db = self.depth_db(pulls, ring.frequency_hz)
        ring.limit_db = self.gain_db - depth_db - excess_db(ring)
        ring.placed_gain_db = self.gain_db

    def known(self, gain_db: float) -> None:
        """Take in where the fader stands: it was told."""
        self.gain_db, self.higher_db = gain_db, 0.0

    def stands(self) -> None:
        """Remember where the fader stands: ``raised`` counts from here, however often told."""
        self._raised_from = self.gain_db, self.higher_db

    def raised(self, seconds: float, pulls: Sequence[Pull], ring: KnownRing) -> None:
        """Reckon how far the fader went up before a ring that was just heard began.

        Never beyond where a known ring would surely have come back: of many rings whose limits
        are a little off, the lowest is too low, and would hold the ladder down for good.  Twice as
        fast as asked for is the most that is believed, but all the way since the gain was known:
        a ring that comes back tells what was guessed too low before it as well.
        """
        depths_db = self.depths_db(pulls).tolist()
        ceilings = [
            r.limit_db + depth_db + OFF_DB
            for r, depth_db in zip(self.rings, depths_db, strict=True)
            if r is not ring and not r.skipped and not r.open
        ]
        rise_db = raised_db(seconds)
        from_db, higher_db = self._raised_from
        most_db = from_db + higher_db + 2.0 * rise_db
        if ring.times > 1 and ring.went_db is None:
            # Beyond that the slider does not stand where it should.
            back_db = ring.limit_db + self.depth_db(pulls, ring.frequency_hz) + excess_db(ring)
            self.known(min(max(back_db, from_db), most_db))
        else:
            self.gain_db = max(from_db, min([from_db + rise_db, *ceilings]))
            is_first = len(self.rings) == 1
            self.higher_db = 0.0 if is_first else most_db - self.gain_db

    def went(self, ring: KnownRing, pulls: Sequence[Pull]) -> None:
        """Take in that a ring went by itself: at the gain of now it does not ring."""
        ring.went_db = self.gain_db - self.depth_db(pulls, ring.frequency_hz)
        ring.limit_db = max(ring.limit_db, ring.went_db)

    def bound(self, ring: KnownRing, pulls: Sequence[Pull]) -> None:
        """Believe no more excess of a ring than the fader went up since it went by itself.

        Somebody who counts into the microphone makes what nearly rings climb as fast as a word
        does, which says nothing of its excess.
        """
        if ring.went_db is None or ring.excess is None:
            return
        flat_db = self.gain_db - self.depth_db(pulls, ring.frequency_hz)
        most_db = max(flat_db + self.higher_db - ring.went_db, 0.0) + STEP_DB
        if ring.excess.db > most_db:
            ring.excess = Excess(most_db, 0.0, most_db, "it went by itself a little lower")

    def needs(self, pulls: Sequence[Pull], *, margin_db: float) -> list[tuple[float, float]]:
        """Return what each ring needs in total for the margin.

        Rings that are gone keep what they have: a quiet one that should be back by the ladder is
        where the ladder is wrong, or its slider deeper than was asked for.  What was given to such
        ones was 12 of 66 dB of cut with clumsy hands and 31 sliders, 17 of 60 with 9 (15 rooms,
        seeds 50000 to 50014); one that only waits for another to be pulled gets its own pull then.
        What sounds needs what it was heard to need and no more, whatever was pulled since: it may
        be dying.
        """
        found = []
        for ring, depth_db in zip(self.rings, self.depths_db(pulls).tolist(), strict=True):
            if ring.skipped or ring.undone or (ring.fate == "left" and not ring.open):
                continue
            need_db = depth_db
            if ring.open:
                need_db = ring.held_by_db + (0.0 if ring.holds_margin else margin_db)
            found.append((ring.frequency_hz, max(need_db, 0.0)))
        return found


def excess_db(ring: KnownRing) -> float:
    """Return the excess to reckon with, the usual one where no slope has told it."""
    if ring.excess is not None:
        return max(ring.excess.db, 0.0)
    return USUAL_EXCESS_DB


def raised_db(seconds: float) -> float:
    """Return how far a fader goes up in some time, raised as is asked for."""
    return STEP_DB * min(seconds / STEP_S, 1.0) + RAISED_DB_PER_S * max(seconds - STEP_S, 0.0)
