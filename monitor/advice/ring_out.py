"""The guided ring-out: raise, it rings, pull, gone, raise again; until the room has no more.

A state machine without a clock: every call says when it is.  It never waits for a button where
the ear of the box can tell: a ring that has gone was pulled, one that stays is asked deeper.
This is its gate; what happens behind it is in ``ring_out_turns``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from monitor.advice.equaliser import Equaliser
from monitor.advice.margin import WANTED_MARGIN_DB, LoopTimes
from monitor.advice.pulls import Pull, stood
from monitor.advice.ring_out_course import Course
from monitor.advice.ring_out_kept import course_of, kept_of
from monitor.advice.ring_out_rings import RingLadder
from monitor.advice.ring_out_state import LEADING, Phase, RingNews, RingOutState
from monitor.advice.ring_out_turns import Turns
from monitor.advice.ring_out_view import Moment, commands_of, state_of
from monitor.advice.ring_out_ways import Ways

MOST_CUTS = 14
"""Common practice is five to seven (no source), by ear and without knowing how far.  Of 31 sliders
seven end at 4.3 dB in the middle, fourteen at 6.9, more at no more (steady hands in 20 simulated
rooms, seeds 50000 to 50019)."""
_HEARD_ALREADY: dict[str, tuple[Phase, ...]] = {
    "pulled": ("raise", "listen"),
    "turned_down": ("done",),
}
"""The box may hear that a ring has gone, or see the fader down, in the moment in which the person
says so."""


class RingOut:
    """One guided ring-out.

    Parameters
    ----------
    equaliser : Equaliser
        The person's own.
    margin_db : float
        What each ring is left below ringing in the end, backed off.
    standing : sequence of Pull
        What is pulled already.
    most_cuts : int
        After so many sliders it ends.
    loop_times : LoopTimes, optional
        What is believed of this room's loops; it learns.

    Raises
    ------
    ValueError
        For standing pulls that cannot be, or figures out of range; one clear line.
    """

    def __init__(
        self,
        equaliser: Equaliser,
        *,
        margin_db: float = WANTED_MARGIN_DB,
        standing: Sequence[Pull] = (),
        most_cuts: int = MOST_CUTS,
        loop_times: LoopTimes | None = None,
    ) -> None:
        if not (math.isfinite(margin_db) and 0.0 < margin_db <= 12.0):
            raise ValueError(f"margin_db={margin_db:g} must be more than 0 and at most 12 dB")
        if most_cuts < 1:
            raise ValueError(f"most_cuts={most_cuts} must be 1 or more")
        stood(equaliser, standing)
        already = tuple(p for p in standing if p.pull_db > 0.0)
        self.equaliser = equaliser
        self.margin_db = margin_db
        self.most_cuts = most_cuts
        self.loop_times = LoopTimes() if loop_times is None else loop_times
        self._take(Course(pulls=already, begun_with=len(already)), RingLadder(equaliser))

    def _take(self, course: Course, ladder: RingLadder) -> None:
        self._ways = Ways(
            self.equaliser,
            margin_db=self.margin_db,
            most_cuts=self.most_cuts,
            course=course,
            ladder=ladder,
            loop_times=self.loop_times,
        )
        self._turns = Turns(self._ways)
        self._shown: tuple[int, RingOutState] | None = None

    @classmethod
    def restored(
        cls, kept: dict[str, Any], equaliser: Equaliser, *, loop_times: LoopTimes | None = None
    ) -> RingOut:
        """Return the ring-out that ``kept`` came from, paused where it had not ended.

        Raises
        ------
        ValueError
            If it is damaged, or of another equaliser; one clear line.
        """
        course, ladder, put_back, figures = course_of(kept, equaliser)
        found = cls(
            equaliser,
            margin_db=figures["margin_db"],
            most_cuts=int(figures["most_cuts"]),
            loop_times=loop_times,
        )
        found._take(course, ladder)
        found._ways.moment = Moment(put_back=put_back)
        if course.phase in LEADING:
            found._turns.pause()
        return found

    def kept(self) -> dict[str, Any]:
        """Return all that is needed to go on after a restart, ready for JSON."""
        figures = {"margin_db": self.margin_db, "most_cuts": self.most_cuts}
        ways = self._ways
        return kept_of(ways.course, ways.ladder, ways.undone_put_back, self.equaliser, figures)

    @property
    def state(self) -> RingOutState:
        """Where it stands."""
        ways = self._ways
        if self._shown is None or self._shown[0] != ways.changes:
            # Asked for many times a second and seldom another.
            found = state_of(
                self.equaliser, ways.course, ways.ladder, ways.moment, is_up=ways.is_up
            )
            self._shown = (ways.changes, found)
        return self._shown[1]

    def command(self, name: str, at_s: float, **values: float) -> None:
        """Take in what the person did; ``fader`` wants ``fader_db``.

        Raises
        ------
        ValueError
            For a command that makes no sense now; one clear line, and nothing has changed.
        """
        course = self._ways.course
        may = commands_of(course, self._ways.moment.asks)
        if name not in may:
            if course.steps and course.phase in _HEARD_ALREADY.get(name, ()):
                return
            # A person sees it, who knows the sentence and not the commands; programs have ``may``.
            said = name.replace("_", " ")
            raise ValueError(f'"{said}" makes no sense now: it says "{self.state.say}"')
        if name != "fader":
            self._turns.do(name, at_s)
            return
        fader_db = values.get("fader_db", math.nan)
        if not (math.isfinite(fader_db) and -120.0 <= fader_db <= 40.0):
            raise ValueError(f"fader_db={fader_db:g} is no mark; give one from -120 to 40 dB")
        self._turns.mark(fader_db, at_s)

    def stand(self, pulls: Sequence[Pull], *, is_up: bool = False) -> None:
        """Take in how the sliders stand where the desk tells it; the advice counts from there.

        ``is_up``: the fader is at its upper end, and cannot be raised.
        """
        self._turns.stand(tuple(p for p in pulls if p.pull_db > 0.0), is_up=is_up)

    def told(self, pulls: Sequence[Pull]) -> None:
        """Take in how somebody says the sliders stand, in a pause; what is asked for after it
        counts from there."""
        self._turns.told(tuple(p for p in pulls if p.pull_db > 0.0))

    def elsewhere(self) -> None:
        """The things stand elsewhere: what rang so far were other loops, and it ends."""
        if self._ways.course.phase in ("raise", "pull", "listen", "paused"):
            self._turns.elsewhere()

    def heard(self, news: RingNews) -> None:
        """Take in what was heard of a ring."""
        self._turns.heard(news)

    def passed(self, at_s: float) -> None:
        """Time went by; call it about ten times a second."""
        self._turns.passed(at_s)
