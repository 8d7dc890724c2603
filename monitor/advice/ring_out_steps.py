"""The steps of a ring-out, and how they are taken back."""

from __future__ import annotations

from dataclasses import replace

from monitor.advice.equaliser import Equaliser
from monitor.advice.moves import Move, moves
from monitor.advice.ring_out_course import Course, Step
from monitor.advice.ring_out_ear import RingEar
from monitor.advice.ring_out_plan import tone_cost_db
from monitor.advice.ring_out_rings import KnownRing, RingLadder
from monitor.advice.ring_out_view import Moment


def remember(
    equaliser: Equaliser,
    course: Course,
    ladder: RingLadder,
    rings: tuple[int, ...],
    *,
    deepens: bool = False,
    skips: bool = False,
) -> None:
    """Note how all stands before a step for these rings (their places on the ladder)."""
    cost_db = tone_cost_db(equaliser, course.pulls)
    course.steps.append(
        Step(course.pulls, cost_db, ladder.gain_db, rings, deepens, skips, course.top_fader_db)
    )


def take_back(course: Course, ladder: RingLadder, ear: RingEar) -> tuple[Move, ...]:
    """Take the last step back; return what the hand has to put back.

    The rings it was for are left alone for a while if they sound, for good if they do not.
    """
    step = course.steps.pop()
    for ring in (ladder.rings[place] for place in step.rings):
        ring.fate, ring.undone = "left", ring.open and not step.skips
        if step.skips:
            ring.skipped = False
        else:
            ear.given_back(ring, step.before, course.pulls)
    put_back = () if step.skips else moves(course.pulls, step.before)
    course.pulls, course.why_ended, course.hints = step.before, "", ()
    course.ended_gain_db, course.silent_db = None, 0.0
    course.top_fader_db = step.top_fader_db
    return put_back


class Doubt:
    """How all stood before something was taken for granted, to go back to.

    ``asked`` is what was asked for then, ``moment`` what went with it.
    """

    def __init__(self, course: Course, ladder: RingLadder, moment: Moment) -> None:
        self.asked, self.moment = course.asked, moment
        self._course, self._ladder = course, ladder
        self._rings = [replace(ring) for ring in ladder.rings]
        self._step_count = len(course.steps)
        self._pulls, self._asked_twice = course.pulls, course.asked_twice

    def go_back(self) -> None:
        """Put everything back but what is heard now."""
        course, rings = self._course, self._ladder.rings
        course.pulls, course.why_ended, course.ended_gain_db = self._pulls, "", None
        course.asked_twice = self._asked_twice
        del course.steps[self._step_count :]
        before: list[KnownRing] = [
            replace(ring, open=now.open) for ring, now in zip(self._rings, rings, strict=False)
        ]
        rings[: len(before)] = before
