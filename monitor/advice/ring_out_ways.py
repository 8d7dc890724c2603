"""The ways of a ring-out from one phase to another, and what each takes for granted.

Who takes which way, and when, is decided in ``ring_out_turns``.
"""

from __future__ import annotations

from collections.abc import Sequence

from monitor.advice.equaliser import Equaliser
from monitor.advice.margin import LoopTimes
from monitor.advice.moves import Move, astray, moved, moves
from monitor.advice.pulls import Pull, differ, stood
from monitor.advice.ring_out_course import Course
from monitor.advice.ring_out_ear import RingEar
from monitor.advice.ring_out_marks import FaderMarks
from monitor.advice.ring_out_next import next_step
from monitor.advice.ring_out_rings import RingLadder
from monitor.advice.ring_out_state import Phase
from monitor.advice.ring_out_steps import Doubt, remember
from monitor.advice.ring_out_view import Moment
from monitor.advice.ring_out_waits import HOLD_S, Waits

MOST_IMPATIENT = 2
"""After so many times deeper without a sign nobody is there to pull: it waits for a button."""
MEANT_DB = 0.5
"""A pull that makes a frequency deeper by this was meant for it, among others."""


class Ways:
    """A ring-out's course with all that belongs to its moment.

    Parameters
    ----------
    equaliser : Equaliser
    margin_db : float
        What each ring is left below ringing in the end, backed off.
    most_cuts : int
        After so many sliders it ends.
    course : Course
    ladder : RingLadder
        Both new, or from before a restart.
    loop_times : LoopTimes

    Attributes
    ----------
    changes : int
        Goes up with everything that may be shown otherwise.
    desk : tuple of Pull, optional
        How the sliders stand, where the desk tells it.
    is_up : bool
        The desk tells that the fader is at its upper end.
    deepens : bool
        A ring has stayed in spite of the pull before.
    impatient : int
        How often it was asked deeper without a sign.
    was_turned_down : bool
        The advice stands, although what rang may have gone.
    """

    def __init__(
        self,
        equaliser: Equaliser,
        *,
        margin_db: float,
        most_cuts: int,
        course: Course,
        ladder: RingLadder,
        loop_times: LoopTimes,
    ) -> None:
        self.course, self.ladder = course, ladder
        self.ear = RingEar(ladder, loop_times)
        self.marks = FaderMarks(course, ladder)
        self.waits = Waits()
        self.moment = Moment()
        self.changes = 0
        self.desk: tuple[Pull, ...] | None = None
        self.is_up = self.deepens = self.was_turned_down = False
        self.impatient = 0
        self._equaliser = equaliser
        self._margin_db, self._most_cuts = margin_db, most_cuts
        self._made: tuple[Pull, ...] = ()
        self._doubt: Doubt | None = None

    def go(
        self, phase: Phase, moment: Moment | None = None, *, asked: tuple[Pull, ...] = ()
    ) -> None:
        """Go to a phase; what was asked for before is over."""
        self.course.phase, self.course.asked = phase, asked
        self.moment = Moment() if moment is None else moment
        self.changes += 1
        self.waits.enter(phase)
        self.deepens = False
        if phase != "pull":
            self.impatient, self.was_turned_down = 0, False

    def advise(self) -> None:
        """Say what to pull now, or that it ends."""
        on_its_way = self._on_its_way()
        found = next_step(
            self._equaliser,
            self.course,
            self.ladder,
            standing=on_its_way or self.course.pulls,
            open_count=len(self.ear.open()),
            margin_db=self._margin_db,
            most_cuts=self._most_cuts,
        )
        if found.plan is not None:
            if differ(self.course.asked, found.plan.pulls):
                self.waits.asked()
            self.course.asked, self.course.hints = found.plan.pulls, found.plan.hints
        elif (found.at_once or not on_its_way) and not (found.is_at_end and self._ask_twice()):
            self.end(found.why_ended)
        self.changes += 1

    def _on_its_way(self) -> tuple[Pull, ...]:
        """Return what is asked for, once a hand is on its way to it: it stays asked for whatever
        rings besides, for it may be done already."""
        return self.course.asked if self.waits.waited_s > HOLD_S else ()

    def _ask_twice(self) -> bool:
        """Ask once more for what takes most from each ring and is at its end; whether there is any.

        So it does where a ring stayed, and before it ends for want of sliders.

        Where no desk tells, a slider that a hand left short of its end, or the one beside it,
        sounds like a room that wants more, and others would be pulled for it.
        """
        course, rings = self.course, self.ear.open()
        if self.desk is not None:
            return False
        asked, ends = course.pulls, self._at_their_ends()
        labels = {self.ladder.pulled_for(ring, asked) for ring in rings}
        if not labels <= ends:
            return False  # what another ring needs cannot wait
        for label in sorted(labels.difference(course.asked_twice)):
            course.asked_twice += (label,)
            course.pulls = course.without_last_pull_of(label)
        if not moves(course.pulls, asked):
            return False
        for ring in rings:
            self.ear.given_back(ring, course.pulls, asked)
        again_hz = tuple(ring.frequency_hz for ring in rings)
        self.go("pull", Moment(again_hz=again_hz, asks_twice=True), asked=asked)
        self.deepens = True
        return True

    def put_off_look(self) -> None:
        """Something else has begun to ring and comes first: what was to be looked at is taken to
        stand where it should, and is asked for again where its ring stays on."""
        course = self.course
        labels = moved(course.pulls, course.asked)
        course.asked_twice = tuple(one for one in course.asked_twice if one not in labels)
        course.pulls = course.asked
        self.ear.stayed(course.pulls, least_db=self._margin_db / 2.0)
        self.go("listen")

    def _at_their_ends(self) -> set[str]:
        there, pulls_db = stood(self._equaliser, self.course.pulls)
        return {
            slider.label
            for slider, pull_db in zip(there.sliders, pulls_db, strict=True)
            if len(slider.steps_db(pull_db)) == 1
        }

    def pulled(self) -> None:
        """The advised pull was made, or is taken to be."""
        course, ladder = self.course, self.ladder
        rings = tuple(
            place
            for place, ring in enumerate(ladder.rings)
            if ladder.deeper_db(course.pulls, course.asked, ring.frequency_hz) >= MEANT_DB
        )
        for ring in (ladder.rings[place] for place in rings):
            if not ring.open and ring.fate != "left":
                ring.fate = "gone"  # in a pause, with nobody listening
        course.pulls_first(ladder.gain_db)
        self.remember(rings, deepens=self.deepens)
        self._made = course.asked
        course.pulls = course.asked if self.desk is None else self.desk
        self.go("listen")

    def remember(
        self, rings: tuple[int, ...], *, deepens: bool = False, skips: bool = False
    ) -> None:
        """Note how all stands before a step for these rings (their places on the ladder)."""
        remember(self._equaliser, self.course, self.ladder, rings, deepens=deepens, skips=skips)

    def ask_again(self) -> None:
        """What was taken as pulled, and what was asked for after it, was not: it is wanted now."""
        if self.course.phase == "listen":
            self.course.pulls = self.course.steps.pop().before
            self.go("pull", asked=self._made)
        elif self.impatient and self._doubt is not None:
            self._doubt.go_back()
            self.impatient = 0
            self.go("pull", self._doubt.moment, asked=self._doubt.asked)
        self.waits.again()
        self.was_turned_down = True

    @property
    def undone_put_back(self) -> tuple[Move, ...]:
        """What was undone and is to be put back; it is told on over a pause and a restart.

        What the desk sees moved instead of what is asked for may stand over them.
        """
        is_astray = self.course.phase == "pull" and self.desk is not None
        return () if is_astray else self.moment.put_back

    def is_untouched(self) -> bool:
        """Whether the desk tells that nobody has pulled yet."""
        return self.desk is not None and not differ(self.desk, self.course.pulls)

    def is_waited_for(self) -> bool:
        """Whether the desk tells that nothing of what is asked for has been moved."""
        if self.desk is None:
            return False
        pulls, asked = self.course.pulls, self.course.asked
        return moved(pulls, asked).isdisjoint(moved(pulls, self.desk))

    def deepen(self) -> None:
        """A ring stayed in spite of its pull."""
        course, ear = self.course, self.ear
        before = course.steps[-1].before
        ear.stayed(course.pulls, least_db=self._margin_db / 2.0)
        if self.desk is not None:
            self._leave_out_astray(before)
        again_hz = tuple(ring.frequency_hz for ring in ear.open())
        self.go("pull", Moment(again_hz=again_hz))
        self.deepens = True
        if not self._ask_twice():
            self.advise()

    def _leave_out_astray(self, before: Sequence[Pull]) -> None:
        """What was moved and not asked for is to be put back, and what it took is wanted on top."""
        pulls = self.course.pulls
        labels = {move.label for move in astray(pulls, before, self._made)}
        if not labels:
            return
        without = tuple(
            [pull for pull in pulls if pull.label not in labels]
            + [pull for pull in before if pull.label in labels]
        )
        for ring in self.ear.open():
            self.ear.given_back(ring, without, pulls)
        self.course.pulls = without

    def deepen_impatiently(self) -> None:
        """Nobody said anything: it is taken as pulled in vain, unless nothing deeper can be asked.

        No ring-out ends because somebody is slow: then the advice stands and waits for a button.
        """
        impatient, doubt = self.impatient + 1, Doubt(self.course, self.ladder, self.moment)
        if impatient == 1:
            self._doubt = doubt
        self.pulled()
        self.deepen()
        if self.course.phase == "back_off":
            doubt.go_back()
            self.go("pull", doubt.moment, asked=doubt.asked)
            impatient = MOST_IMPATIENT
        self.impatient = impatient

    def end(self, why: str) -> None:
        """It ends: the fader is to come down."""
        self.course.why_ended = why
        self.marks.ended()
        if self.course.ended_gain_db is None:
            self.course.ended_gain_db = self.ladder.gain_db
        self.go("back_off")
