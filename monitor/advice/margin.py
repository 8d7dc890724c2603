"""How far: by how much the gain at one frequency is too high, and how far to pull.

A loop with the loop time T and L dB too much gain grows by L / T dB/s.  The slope is heard; the
loop time is not, and it differs from room to room and between frequencies of one room.  What is
believed of it starts from rooms of the practice stage and is mended by every slope that answers
a pull or a fader move of known size: the same loop at two gains gives its loop time.

All beliefs are normal in the logarithm: loop time = common of the room x own of the ring.  The
loop time meant is the one at the limit; above it a growing line weighs the loop's early part
more, below it the late part, so that the relation bends a little.

Conventions
-----------
Spreads are one standard deviation of the natural logarithm.  Intervals hold 80 %.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

from monitor.advice.answers import MOST_SPREAD, Answer, Answers, joined
from monitor.advice.growth import Slope

WANTED_MARGIN_DB = 3.0
"""2 to 3 dB avoid audible ringing (T. van Waterschoot, M. Moonen, Proc. IEEE 99(2), 2011, II)."""

# Loop times: the 115 frequencies that the listening first called in 120 random runs of the
# practice stage (seeds 30000 to 30059 and 31000 to 31059).  The spread within a room and the
# exponents: 352 unstable frequencies, up to four a room, of 150 rooms (seeds 40000 to 40149),
# least squares on the logarithm.
LOOP_TIME_S = 0.033
"""Median at 1 kHz where nothing is known of the room.  All that could ring has 0.044 s: what
rings first and is heard first is quicker."""
LOOP_TIME_T60_S = 0.040
"""The same in a room with a T60 of 0.6 s."""
BY_FREQUENCY = -0.27
"""Higher frequencies have shorter loop times: air and walls take them sooner."""
BY_T60 = 0.87
WITHIN_ROOM = 0.34
BETWEEN_ROOMS = 0.61
BETWEEN_ROOMS_OF_T60 = 0.38
"""With the spread within a room these make the 0.70 and 0.51 that 300 rooms have at the ring that
grows fastest (``tests.bench.excess_grounds``, which also says what does not help: distance, and
the spacing of what rings together)."""
BEND_PER_DB = 0.04
"""Poles of the two most critical frequencies in 40 of those rooms (seeds 22000 to 22039), gain
moved by hand: excess / growth is 1.31 loop times 4 dB below the limit, 1.01 at 1 dB above,
0.84 at 6 dB above."""
ROOMS_OWN_PART = 1.2
ROOMS_OWN_MARGIN_DB = 6.0
"""What dies nearly as fast as the room itself has this margin or more, and no decay says how
much: simulated rooms, medians of 4 (computed for this project)."""
MOST_MARGIN_DB = 20.0
"""Beyond this the loop changes the sound by less than 1 dB: 20 lg(1 / (1 - 10^(-20/20)))."""

USUAL_EXCESS_DB = 1.6
USUAL_EXCESS_SPREAD = 1.5
"""People push faders in small steps and stop at the first howl: between 0.3 and 9 dB in three of
four cases, a weak belief.  Common practice, no source.  The estimates hardly rest on it: on the
115 rings above a spread of 0.85 or 5 changed no share of hits by more than 3 in 100, but the
narrow one made intervals too narrow."""
ANSWER_SPREAD = 0.4
"""How far one answer's loop time lies from the true one beside what its slopes' own
uncertainties explain (8 in 10 of 110 within -0.38 and +0.76): after a pull other frequencies
and the room die along with the ring."""
FARTHEST = 2.5
"""An answer further off than so many spreads is blamed on the programme and counts for less."""


@dataclass(frozen=True, slots=True)
class Excess:
    """By how many dB the gain is too high (negative: the margin that is left), and why.

    ``low_db`` and ``high_db`` hold the truth in 80 % of cases.
    """

    db: float
    low_db: float
    high_db: float
    why: str


def excess_of(db_per_s: float, loop_time_s: float) -> float:
    """Return the excess in dB that makes a loop grow so fast; negative for one that dies."""
    straight = db_per_s * loop_time_s
    return straight / max(1.0 + BEND_PER_DB * straight, 0.2)


def growth_of(excess_db: float, loop_time_s: float) -> float:
    """Return the growth in dB/s of a loop with so much excess: the inverse of ``excess_of``."""
    return excess_db / max(1.0 - BEND_PER_DB * excess_db, 0.2) / loop_time_s


def loop_time_of(before_db_per_s: float, after_db_per_s: float, moved_db: float) -> float | None:
    """Return the loop time in s that explains two slopes, the gain changed by a known amount.

    ``moved_db`` is the change at that frequency: negative for a pull.  None where the slope did
    not answer in its direction.
    """
    steeper, flatter = before_db_per_s, after_db_per_s
    if moved_db > 0.0:
        steeper, flatter = flatter, steeper
    if steeper <= flatter or moved_db == 0.0:
        return None
    low_s, high_s = 1e-4, 10.0
    for _ in range(60):
        middle_s = math.sqrt(low_s * high_s)
        if excess_of(steeper, middle_s) - excess_of(flatter, middle_s) < abs(moved_db):
            low_s = middle_s
        else:
            high_s = middle_s
    return math.sqrt(low_s * high_s)


class LoopTimes:
    """What is believed of the loop times of one room.

    Parameters
    ----------
    t60_s : float, optional
        Reverberation time of the room, if somebody knows it.

    Raises
    ------
    ValueError
        If it is no room's; one clear line.
    """

    def __init__(self, *, t60_s: float | None = None) -> None:
        self._answers = Answers()
        self.reset(t60_s=t60_s)

    @property
    def answers(self) -> int:
        """How many answers of slopes to known moves it rests on."""
        return len(self._answers)

    def reset(self, *, t60_s: float | None = None) -> None:
        """Another room, or everything was moved."""
        if t60_s is not None and not 0.05 <= t60_s <= 10.0:
            raise ValueError(f"t60_s={t60_s:g} must lie between 0.05 and 10 s")
        self._t60_s = t60_s
        self._answers.clear()

    def at(self, frequency_hz: float) -> tuple[float, float]:
        """Return the median loop time in s at a frequency, and its spread."""
        mean, variance = self._room(frequency_hz)
        mean += BY_FREQUENCY * math.log(frequency_hz / 1000.0)
        own = self._answers.at(frequency_hz)
        mean, variance = joined([(mean, variance + WITHIN_ROOM**2), *own])
        return math.exp(mean), math.sqrt(variance)

    def kept(self) -> list[tuple[float, float, float]]:
        """Return what was learnt, ready for JSON: (Hz, natural logarithm of s, spread) a row."""
        return self._answers.kept()

    def restore(self, rows: Sequence[Sequence[float]]) -> None:
        """Take back what ``kept`` returned, of the same room.

        Raises
        ------
        ValueError
            For what is no such rows; one clear line, and nothing has changed.
        """
        self._answers.restore(rows)

    def learn(self, *, frequency_hz: float, before: Slope, after: Slope, moved_db: float) -> None:
        """Take in how a ring's slope answered a move of known size.

        Nothing is learnt where the slope did not answer in the move's direction, or by far less
        than it is known to: a line at its end stop stands still before and after.
        ``moved_db`` is the change of gain at the ring's frequency: negative for a pull.
        """
        loop_time_s = loop_time_of(before.db_per_s, after.db_per_s, moved_db)
        if loop_time_s is None:
            return
        error = math.hypot(before.spread_db_per_s, after.spread_db_per_s)
        spread = math.hypot(error / abs(before.db_per_s - after.db_per_s), ANSWER_SPREAD)
        if spread > MOST_SPREAD:
            return
        believed_s, doubt = self.at(frequency_hz)
        off = abs(math.log(loop_time_s / believed_s))
        if off > FARTHEST * math.hypot(spread, doubt):
            spread = off / FARTHEST
        self._answers.add(Answer(frequency_hz, math.log(loop_time_s), spread))

    def estimate(
        self, slope: Slope, *, frequency_hz: float, at_least_db: float | None = None
    ) -> Excess:
        """Return the excess of a ring from its slope; for one that dies, its margin.

        ``slope`` must be from before anything limits: a ring at the end stop stands still at any
        excess.  ``at_least_db`` is how much was already pulled in vain since that slope.
        """
        if slope.db_per_s == 0.0:
            return Excess(0.0, -WANTED_MARGIN_DB, USUAL_EXCESS_DB, "it neither grows nor dies")
        if self._dies_like_the_room(slope):
            why = "it dies about as fast as the room itself"
            return Excess(-ROOMS_OWN_MARGIN_DB, -MOST_MARGIN_DB, -WANTED_MARGIN_DB, why)
        loop_time_s, doubt = self.at(frequency_hz)
        rate = abs(slope.db_per_s)
        heard = (
            math.log(rate * loop_time_s),
            doubt**2 + (slope.spread_db_per_s / rate) ** 2,
        )
        usual = (math.log(USUAL_EXCESS_DB), USUAL_EXCESS_SPREAD**2)
        mean, variance = joined([heard, usual])
        return self._told(slope, mean, math.sqrt(variance), at_least_db)

    def _dies_like_the_room(self, slope: Slope) -> bool:
        if self._t60_s is None or slope.db_per_s >= 0.0:
            return False
        return 60.0 / -slope.db_per_s <= ROOMS_OWN_PART * self._t60_s

    def _told(self, slope: Slope, mean: float, spread: float, at_least_db: float | None) -> Excess:
        sign = 1.0 if slope.db_per_s > 0.0 else -1.0
        believed = NormalDist(mean, spread)
        below = 0.0
        if at_least_db is not None and at_least_db > 0.0:
            # Not so little: what is left of the belief lies above.
            below = min(believed.cdf(math.log(growth_of(at_least_db, 1.0))), 0.999)
        low, middle, high = (
            excess_of(sign * math.exp(believed.inv_cdf(below + (1.0 - below) * part)), 1.0)
            for part in (0.1, 0.5, 0.9)
        )
        verb = "grows" if sign > 0.0 else "dies"
        known = self._grounds()
        rate = abs(slope.db_per_s)
        by = f"{rate:.0f}" if rate >= 1.0 else "less than 1"
        why = f"it {verb} by {by} dB a second, loop time {known}"
        return Excess(middle, min(low, high), max(low, high), why)

    def _grounds(self) -> str:
        if self._answers:
            count = len(self._answers)
            return "measured once" if count == 1 else f"measured {count} times"
        return "usual" if self._t60_s is None else f"as in rooms of T60 {self._t60_s:.1f} s"

    def _room(self, frequency_hz: float) -> tuple[float, float]:
        """Mean and variance of the room's common term, at 1 kHz, from all lines but this one."""
        if self._t60_s is None:
            prior = (math.log(LOOP_TIME_S), BETWEEN_ROOMS**2)
        else:
            mean = math.log(LOOP_TIME_T60_S) + BY_T60 * math.log(self._t60_s / 0.6)
            prior = (mean, BETWEEN_ROOMS_OF_T60**2)
        lines = [
            (mean - BY_FREQUENCY * math.log(hz / 1000.0), variance + WITHIN_ROOM**2)
            for hz, (mean, variance) in self._answers.elsewhere(frequency_hz)
        ]
        return joined([prior, *lines])


def advised_pull_db(excess: Excess, *, margin_db: float = WANTED_MARGIN_DB) -> float:
    """Return how far to pull, in dB at the ring's frequency: its excess and the wanted margin.

    Never negative.  The margin also covers what the estimate may lack.
    """
    return max(0.0, excess.db + margin_db)
