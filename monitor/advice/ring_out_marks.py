"""What fader marks tell a ring-out: a fader that goes up in silence, and one that is down."""

from __future__ import annotations

from monitor.advice.ring_out_course import Course
from monitor.advice.ring_out_rings import RingLadder
from monitor.advice.ring_out_view import back_off_db

MOST_SILENT_DB = 4.0
"""By fader marks: rings come within 1 or 2 dB of each other, so what is still quiet after so much
is more likely a ring that was not heard; on the played stage one went on for 20 dB."""


class FaderMarks:
    """The marks of one ring-out, counted on its ladder.

    Silence is what lies between two marks with nothing heard between them.
    """

    def __init__(self, course: Course, ladder: RingLadder) -> None:
        self._course, self._ladder = course, ladder
        self._silent_from_db: float | None = None
        self._ended_fader_db: float | None = None

    def took(self, fader_db: float) -> bool:
        """Take in a mark; return whether the fader has gone up too far in silence."""
        course, ladder = self._course, self._ladder
        course.marked(fader_db, ladder)
        if course.phase != "raise" or not course.has_pulled:
            return False
        if self._silent_from_db is None:
            self._silent_from_db = ladder.gain_db
        if ladder.gain_db - self._silent_from_db <= MOST_SILENT_DB:
            return False
        course.went_up_in_silence(self._silent_from_db, ladder.gain_db)
        return True

    def heard(self, *, is_where_marked: bool) -> None:
        """A ring is heard; silence begins here if the fader stands where it was marked."""
        known = is_where_marked and self._course.fader_db is not None
        self._silent_from_db = self._ladder.gain_db if known else None

    def forget(self) -> None:
        """The fader may have been moved with nobody listening."""
        self._silent_from_db = None

    def ended(self) -> None:
        """The fader is to come down from here."""
        self._ended_fader_db = self._course.fader_db

    @property
    def is_down(self) -> bool:
        """Whether the fader has been marked as far down as was asked for."""
        ended_db, fader_db = self._ended_fader_db, self._course.fader_db
        if ended_db is None or fader_db is None:
            return False
        return fader_db <= ended_db - back_off_db(self._course)
