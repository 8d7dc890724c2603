"""The turns of a ring-out: what each piece of news, each command and each wait leads to."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from monitor.advice.moves import astray, moved
from monitor.advice.pulls import Pull, deepest, differ
from monitor.advice.ring_out_marks import MOST_SILENT_DB
from monitor.advice.ring_out_rings import STEP_S, KnownRing
from monitor.advice.ring_out_state import Phase, RingNews
from monitor.advice.ring_out_steps import take_back
from monitor.advice.ring_out_view import Moment
from monitor.advice.ring_out_waits import BACK_OFF_S, HOLD_S, LISTEN_S, PATIENCE_S, REACTION_S
from monitor.advice.ring_out_ways import MOST_IMPATIENT, Ways

FELL_DB = 3.0
"""All the rest fell by this in the same moment: it was the fader."""


class Turns:
    """The state machine behind ``RingOut``, which guards it: nothing is checked here.

    Parameters
    ----------
    ways : Ways
        Of a new ring-out, or of one from before a restart.
    """

    def __init__(self, ways: Ways) -> None:
        self._ways = ways
        self.course, self._ladder, self._ear = ways.course, ways.ladder, ways.ear
        self._waits, self._marks = ways.waits, ways.marks
        self._fell_db = 0.0
        self._ladder.stands()
        self._actions: dict[str, Callable[[], None]] = {
            "begin": self._begin,
            "pulled": self._confirmed,
            "turned_down": self._turned_down,
            "skip": self._skip,
            "undo": self._undo,
            "pause": self.pause,
            "go_on": self._begin,
            "stop": self._stop,
        }

    def do(self, name: str, at_s: float) -> None:
        """Do what the person said; it makes sense now."""
        self._tick(at_s)
        self._ways.changes += 1
        self._actions[name]()

    def mark(self, fader_db: float, at_s: float) -> None:
        """Take in a fader mark."""
        self._tick(at_s)
        self._ways.changes += 1
        went_up_in_silence = self._marks.took(fader_db)
        # What a mark tells need not be guessed from the time.
        self._ladder.stands()
        self._waits.marked()
        if went_up_in_silence:
            why = f"nothing heard for {MOST_SILENT_DB:g} dB: come down and listen yourself"
            self._ways.end(why)

    def stand(self, pulls: tuple[Pull, ...], *, is_up: bool) -> None:
        """Take in how the desk truly stands; while a pull is wanted a hand is on its way."""
        course = self.course
        if is_up != self._ways.is_up:
            self._ways.is_up = is_up
            self._ways.changes += 1
        self._ways.desk = pulls
        if course.phase in ("raise", "listen", "back_off", "paused") and differ(
            course.pulls, pulls
        ):
            course.pulls = pulls
            self._ways.changes += 1
        self._show_to_put_back(pulls)

    def _show_to_put_back(self, pulls: tuple[Pull, ...]) -> None:
        """Say which slider was moved and not asked for; of what was undone, what is not back."""
        course, ways = self.course, self._ways
        if course.phase == "pull":
            back = list(astray(pulls, course.pulls, course.asked))
        else:
            away = moved(pulls, ways.moment.put_back)
            back = [move for move in ways.moment.put_back if move.label in away]
        if tuple(back) != ways.moment.put_back:
            ways.moment = replace(ways.moment, put_back=tuple(back))
            ways.changes += 1

    def told(self, pulls: tuple[Pull, ...]) -> None:
        """Take in how somebody says that the sliders stand while it is paused."""
        self.course.pulls = pulls
        self._ways.changes += 1

    def elsewhere(self) -> None:
        """The things stand elsewhere: rings and gain so far say nothing of the loops of now."""
        if self._ladder.rings:
            self._ways.end("things stand elsewhere now: another ring-out")

    def heard(self, news: RingNews) -> None:
        """Take in what was heard of a ring."""
        self._tick(news.at_s)
        self._ways.changes += 1
        if news.kind == "closed":
            place = self._ear.closed(news)
            if place is not None:
                self._closed(place, news)
            return
        self._ear.sounding[news.id] = news
        tells_all = self._ways.desk is not None
        self._marks.heard(is_where_marked=tells_all or self._waits.unmarked_s <= STEP_S)
        if self.course.phase in ("raise", "pull", "listen"):
            self._opened(news)

    def passed(self, at_s: float) -> None:
        """Time went by; call it about ten times a second."""
        self._tick(at_s)
        waited_s, phase = self._waits.waited_s, self.course.phase
        if phase == "pull" and self._waits.asked_s >= PATIENCE_S:
            self._ran_out_of_patience()
        elif phase == "raise" and waited_s >= PATIENCE_S and self._undone():
            for ring in self._undone():
                ring.undone, ring.fate = False, "rings"
            self._ways.go("pull")
            self._ways.advise()
        elif phase == "listen" and waited_s >= LISTEN_S:
            if self._ear.open():
                self._ways.deepen()
            else:
                self._ways.go("raise")
        elif (
            phase == "back_off"
            and not self._ear.sounding
            and (waited_s >= BACK_OFF_S or self._marks.is_down or self._ways.moment.rings_on)
        ):
            self._ways.go("done")

    def _tick(self, at_s: float) -> None:
        self._waits.tick(at_s, is_raising=self.course.phase == "raise")

    def _ran_out_of_patience(self) -> None:
        ways = self._ways
        if ways.is_waited_for():
            return
        if ways.was_turned_down:
            ways.pulled()
        elif ways.impatient < MOST_IMPATIENT:
            ways.deepen_impatiently()

    # Rings.

    def _opened(self, news: RingNews) -> None:
        ways, ladder = self._ways, self._ladder
        if ways.moment.asks_twice:
            if self._ear.knows(news):
                return
            ways.put_off_look()
        pulls = self.course.pulls
        mends = self.course.phase == "pull" and self._waits.waited_s <= HOLD_S
        ring, is_new, is_told = self._ear.opened(news, mends=mends)
        if ring.skipped or ring.undone:
            return
        if is_new and self.course.phase != "pull":
            if self.course.phase == "listen":
                # Nobody raises while it listens; the raise before is on the ladder already.
                self._waits.raise_s = 0.0
            ladder.stands()
            # A hand may still be on its way to put back what was undone.
            late = self._waits.waited_s >= PATIENCE_S
            ways.go("pull", Moment(put_back=() if late else ways.moment.put_back))
        elif not is_new and not is_told:
            return
        if len(self._ear.open()) == 1:
            # A desk that tells has marked the fader where it stands.
            ladder.raised(0.0 if ways.desk is not None else self._waits.raise_s, pulls, ring)
        ladder.bound(ring, pulls)
        if is_new and ring.times > 1:
            again_hz = (*ways.moment.again_hz, ring.frequency_hz)
            ways.moment = replace(ways.moment, again_hz=again_hz)
        ladder.placed(ring, pulls)
        ways.advise()

    def _closed(self, place: int, news: RingNews) -> None:
        ways, course = self._ways, self.course
        if course.phase == "pull":
            if self._went_by_itself(news.fell_db):
                self._ladder.went(self._ladder.rings[place], course.pulls)
            if not self._ear.open():
                self._went(news.fell_db)
        if course.phase == "listen" and course.steps and not ways.moment.asks:
            self._ear.learn(place, news, course.steps[-1], course.pulls)

    def _went(self, fell_db: float) -> None:
        """Nothing rings any more: it went by itself, or the fader came down, or it was pulled."""
        ways, has_fallen = self._ways, fell_db >= FELL_DB
        if ways.was_turned_down:
            self._fell(fell_db)
        elif ways.is_untouched() and has_fallen:
            ways.ask_again()
            self._fell(fell_db)
        elif self._is_too_soon():
            ways.go("raise")
        else:
            ways.pulled()
            self._fell_db = fell_db
            ways.moment = replace(ways.moment, asks=has_fallen and ways.desk is None)

    def _went_by_itself(self, fell_db: float) -> bool:
        return not self._ways.was_turned_down and fell_db < FELL_DB and self._is_too_soon()

    def _is_too_soon(self) -> bool:
        """Whether no hand can have pulled yet."""
        ways = self._ways
        return ways.is_untouched() or (self._waits.waited_s < REACTION_S and not ways.deepens)

    def _undone(self) -> list[KnownRing]:
        return [ring for ring in self._ladder.rings if ring.undone]

    # Commands.

    def _begin(self) -> None:
        """Begin, or go on after a pause; what sounds by now is heard at once."""
        ways, course = self._ways, self.course
        # Nobody said whether it was pulled meanwhile: what was asked for is asked for again, and
        # nothing is asked back that was pulled in the pause.
        asked = deepest(course.asked, course.pulls) if course.asked else ()
        self._marks.forget()
        self._waits.unmarked_s = math.inf
        phase: Phase = "back_off" if course.resume == "back_off" else "raise"
        ways.go(phase, Moment(put_back=ways.moment.put_back))
        for news in list(self._ear.sounding.values()):
            if course.phase in ("raise", "pull"):
                self._opened(news)
        if course.phase == "pull":
            course.asked = deepest(course.asked, asked)
        elif course.phase == "raise" and asked and differ(course.pulls, asked):
            ways.go("pull", asked=asked)
            ways.was_turned_down = True

    def _confirmed(self) -> None:
        if self.course.phase == "listen":
            self._ways.moment = replace(self._ways.moment, asks=False)
        else:
            self._ways.pulled()

    def _turned_down(self) -> None:
        """It was the fader and not the slider: the advice stands."""
        if self.course.phase == "back_off":
            if self._ear.sounding:
                # No ring-out ends in a howl because somebody says that it has.
                self._ways.moment = replace(self._ways.moment, rings_on=True)
            else:
                self._ways.go("done")
            return
        if self.course.phase == "listen":
            self._fell(self._fell_db)
        self._ways.ask_again()

    def _fell(self, fell_db: float) -> None:
        if self.course.fader_db is None:
            self._ladder.gain_db -= fell_db

    def _skip(self) -> None:
        skipped = self._ear.open()
        self._ways.remember(tuple(self._ladder.rings.index(ring) for ring in skipped), skips=True)
        for ring in skipped:
            ring.skipped, ring.fate = True, "left"
        self._ways.go("raise")

    def _undo(self) -> None:
        """Take the last step back; what it was for is left alone as long as a hand takes."""
        put_back = take_back(self.course, self._ladder, self._ear)
        self._marks.forget()
        self._ways.go("raise", Moment(put_back=put_back))
        if self._ear.open():
            self._ways.go("pull", Moment(put_back=put_back))
            self._ways.advise()

    def pause(self) -> None:
        """Hear nothing until it goes on; what was asked for is not forgotten."""
        self.course.resume = self.course.phase
        self._ear.deafen()
        put_back = self._ways.undone_put_back
        self._ways.go("paused", Moment(put_back=put_back), asked=self.course.asked)

    def _stop(self) -> None:
        if self._ladder.rings and self.course.phase != "back_off":
            self._ways.end(self.course.why_ended or "stopped")
        else:
            self.course.why_ended = self.course.why_ended or "stopped"
            self._ways.go("done")
