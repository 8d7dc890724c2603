"""The turns of a ring-out: what each piece of news, each command and each wait leads to."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from monitor.advice.cut_plan import CutPlan
from monitor.advice.equaliser import Equaliser
from monitor.advice.margin import LoopTimes
from monitor.advice.pulls import Pull, differ
from monitor.advice.ring_out_course import Course
from monitor.advice.ring_out_ear import RingEar
from monitor.advice.ring_out_marks import MOST_SILENT_DB, FaderMarks
from monitor.advice.ring_out_next import next_step
from monitor.advice.ring_out_rings import STEP_S, KnownRing, RingLadder
from monitor.advice.ring_out_state import Phase, RingNews
from monitor.advice.ring_out_steps import Doubt, remember, take_back
from monitor.advice.ring_out_view import Moment
from monitor.advice.ring_out_waits import (
    BACK_OFF_S,
    HOLD_S,
    LISTEN_S,
    PATIENCE_S,
    REACTION_S,
    Waits,
)

MOST_IMPATIENT = 2
"""After so many times deeper without a sign nobody is there to pull: it waits for a button."""
FELL_DB = 3.0
"""All the rest fell by this in the same moment: it was the fader."""
MEANT_DB = 0.5
"""A pull that makes a frequency deeper by this was meant for it, among others."""


class Turns:
    """The state machine behind ``RingOut``, which guards it: nothing is checked here.

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
        self.moment = Moment()
        self.changes = 0
        self._equaliser = equaliser
        self._margin_db, self._most_cuts = margin_db, most_cuts
        self._ear = RingEar(ladder, loop_times)
        self._waits = Waits()
        self._marks = FaderMarks(course, ladder)
        self._gain_before_db = self._fell_db = 0.0
        self._made: CutPlan | None = None
        self._paused = Moment()
        self._was_turned_down = self._deepens = False
        self._impatient = 0
        self._first_asked: tuple[Moment, Doubt] | None = None
        self._desk: tuple[Pull, ...] | None = None
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
        self.changes += 1
        self._actions[name]()

    def mark(self, fader_db: float, at_s: float) -> None:
        """Take in a fader mark."""
        self._tick(at_s)
        self.changes += 1
        went_up_in_silence = self._marks.took(fader_db)
        # What a mark tells need not be guessed from the time.
        self._gain_before_db, self._waits.raise_s = self.ladder.gain_db, 0.0
        if went_up_in_silence:
            self._end(f"nothing heard for {MOST_SILENT_DB:g} dB: come down and listen yourself")

    def stand(self, pulls: tuple[Pull, ...]) -> None:
        """Take in how the sliders truly stand; while a pull is wanted a hand is on its way."""
        course = self.course
        self._desk = pulls
        if course.phase in ("raise", "listen", "back_off", "paused") and differ(
            course.pulls, pulls
        ):
            course.pulls = pulls
            self.changes += 1

    def heard(self, news: RingNews) -> None:
        """Take in what was heard of a ring."""
        self._tick(news.at_s)
        self.changes += 1
        if news.kind == "closed":
            place = self._ear.closed(news)
            if place is not None:
                self._closed(place, news)
            return
        self._ear.sounding[news.id] = news
        tells_all = self._desk is not None
        self._marks.heard(is_where_marked=tells_all or self._waits.raise_s <= STEP_S)
        if self.course.phase in ("raise", "pull", "listen"):
            self._opened(news)

    def passed(self, at_s: float) -> None:
        """Time went by; call it about ten times a second."""
        self._tick(at_s)
        waited_s, phase = self._waits.waited_s, self.course.phase
        if phase == "pull" and waited_s >= PATIENCE_S and self._was_turned_down:
            self._pulled()
        elif phase == "pull" and waited_s >= PATIENCE_S and self._is_untouched():
            return  # the desk tells that nobody has pulled yet: the advice stands
        elif phase == "pull" and waited_s >= PATIENCE_S and self._impatient < MOST_IMPATIENT:
            self._deepen_impatiently()
        elif phase == "raise" and waited_s >= PATIENCE_S and self._undone():
            for ring in self._undone():
                ring.undone, ring.fate = False, "rings"
            self._go("pull")
            self._advise()
        elif phase == "listen" and waited_s >= LISTEN_S:
            if self._ear.open():
                self._deepen()
            else:
                self._go("raise")
        elif (
            phase == "back_off"
            and not self._ear.sounding
            and (waited_s >= BACK_OFF_S or self._marks.is_down)
        ):
            self._go("done")

    def _tick(self, at_s: float) -> None:
        self._waits.tick(at_s, is_raising=self.course.phase == "raise")

    def _go(self, phase: Phase, moment: Moment | None = None) -> None:
        """Go to a phase; what was asked for before is over."""
        self.course.phase = phase
        self.moment = Moment() if moment is None else moment
        self.changes += 1
        self._waits.enter(phase)
        self._deepens = False
        if phase != "pull":
            self._impatient, self._was_turned_down = 0, False

    # Rings.

    def _opened(self, news: RingNews) -> None:
        pulls, ladder = self.course.pulls, self.ladder
        ring, is_new, is_told = self._ear.opened(news)
        if ring.skipped or ring.undone:
            return
        if is_new and self.course.phase != "pull":
            self._gain_before_db = ladder.gain_db
            self._go("pull")
        elif not is_new and (not is_told or self._waits.waited_s > HOLD_S):
            return
        if len(self._ear.open()) == 1:
            ladder.gain_db = self._gain_before_db
            ladder.raised(self._waits.raise_s, pulls, ring)
        if is_new and ring.times > 1:
            again_hz = (*self.moment.again_hz, ring.frequency_hz)
            self.moment = replace(self.moment, again_hz=again_hz)
        ladder.placed(ring, pulls)
        self._advise()

    def _closed(self, place: int, news: RingNews) -> None:
        course = self.course
        if course.phase == "pull" and not self._ear.open() and self._was_turned_down:
            self._fell(news.fell_db)
        elif course.phase == "pull" and not self._ear.open():
            if self._waits.waited_s < REACTION_S and not self._deepens:
                self._go("raise")
                return
            self._pulled()
            self._fell_db = news.fell_db
            self.moment = replace(self.moment, asks=news.fell_db >= FELL_DB)
        if course.phase == "listen" and course.steps and not self.moment.asks:
            self._ear.learn(place, news, course.steps[-1], course.pulls)

    # Pulls.

    def _advise(self) -> None:
        """Say what to pull now, or that it ends."""
        found = next_step(
            self._equaliser,
            self.course,
            self.ladder,
            open_count=len(self._ear.open()),
            margin_db=self._margin_db,
            most_cuts=self._most_cuts,
        )
        if found.plan is None:
            self._end(found.why_ended)
        else:
            self.moment = replace(self.moment, plan=found.plan)
            self.course.hints = found.plan.hints
        self.changes += 1

    def _pulled(self) -> None:
        """The advised pull was made, or is taken to be."""
        course, ladder, plan = self.course, self.ladder, self.moment.plan
        if plan is None:
            self._go("raise")
            return
        rings = tuple(
            place
            for place, ring in enumerate(ladder.rings)
            if ladder.deeper_db(course.pulls, plan.pulls, ring.frequency_hz) >= MEANT_DB
        )
        course.pulls_first(ladder.gain_db)
        remember(self._equaliser, course, ladder, rings, deepens=self._deepens)
        course.pulls = plan.pulls
        self._made = plan
        self._go("listen")

    def _undone(self) -> list[KnownRing]:
        return [ring for ring in self.ladder.rings if ring.undone]

    def _is_untouched(self) -> bool:
        return self._desk is not None and not differ(self._desk, self.course.pulls)

    def _deepen(self) -> None:
        """A ring stayed in spite of its pull."""
        course = self.course
        self._ear.stayed(course.steps[-1].before, course.pulls, least_db=self._margin_db / 2.0)
        again_hz = tuple(ring.frequency_hz for ring in self._ear.open())
        self._go("pull", Moment(again_hz=again_hz))
        self._deepens = True
        self._advise()

    def _deepen_impatiently(self) -> None:
        """Nobody said anything: it is taken as pulled in vain, unless nothing deeper can be asked.

        No ring-out ends because somebody is slow: then the advice stands and waits for a button.
        """
        impatient, asked = self._impatient + 1, self.moment
        doubt = Doubt(self.course, self.ladder)
        if impatient == 1:
            self._first_asked = asked, doubt
        self._pulled()
        if self._desk is not None:
            self.course.pulls = self._desk  # whatever was pulled instead
        self._deepen()
        if self.course.phase == "back_off":
            doubt.go_back()
            self._go("pull", asked)
            impatient = MOST_IMPATIENT
        self._impatient = impatient

    # Commands.

    def _begin(self) -> None:
        """Begin, or go on after a pause; what sounds by now is heard at once."""
        was_paused = self.course.phase == "paused"
        asked, self._paused = self._paused, Moment()
        self._marks.forget()
        self._go("back_off" if was_paused and self.course.resume == "back_off" else "raise")
        for news in list(self._ear.sounding.values()):
            if self.course.phase in ("raise", "pull"):
                self._opened(news)
        if was_paused and self.course.phase == "raise" and asked.plan is not None:
            # Nobody said whether it was pulled meanwhile: what was asked for is asked for again.
            self._go("pull", Moment(plan=asked.plan))
            self._was_turned_down = True

    def _confirmed(self) -> None:
        if self.course.phase == "listen":
            self.moment = replace(self.moment, asks=False)
        else:
            self._pulled()

    def _turned_down(self) -> None:
        """It was the fader and not the slider: the advice stands."""
        if self.course.phase == "back_off":
            self._go("done")
            return
        if self.course.phase == "listen":
            self.course.pulls = self.course.steps.pop().before
            self._fell(self._fell_db)
            self._go("pull", Moment(plan=self._made))
        elif self._impatient and self._first_asked is not None:
            # What was taken as pulled, and deeper again, was not: the first advice stands.
            moment, doubt = self._first_asked
            doubt.go_back()
            self._impatient = 0
            self._go("pull", moment)
        self._waits.again()
        self._was_turned_down = True

    def _fell(self, fell_db: float) -> None:
        if self.course.fader_db is None:
            self.ladder.gain_db -= fell_db

    def _skip(self) -> None:
        skipped = self._ear.open()
        places = tuple(self.ladder.rings.index(ring) for ring in skipped)
        remember(self._equaliser, self.course, self.ladder, places, skips=True)
        for ring in skipped:
            ring.skipped, ring.fate = True, "left"
        self._go("raise")

    def _undo(self) -> None:
        """Take the last step back; what it was for is left alone as long as a hand takes."""
        put_back = take_back(self.course, self.ladder, self._ear)
        self._marks.forget()
        self._go("raise", Moment(put_back=put_back))
        if self._ear.open():
            self._go("pull", Moment(put_back=put_back))
            self._advise()

    def pause(self) -> None:
        """Hear nothing until it goes on."""
        self._paused = self.moment if self.course.phase == "pull" else Moment()
        self.course.resume = self.course.phase
        self._ear.deafen()
        self._go("paused")

    def _stop(self) -> None:
        if self.ladder.rings and self.course.phase != "back_off":
            self._end(self.course.why_ended or "stopped")
        else:
            self.course.why_ended = self.course.why_ended or "stopped"
            self._go("done")

    def _end(self, why: str) -> None:
        self.course.why_ended = why
        self._marks.ended()
        if self.course.ended_gain_db is None:
            self.course.ended_gain_db = self.ladder.gain_db
        self._go("back_off")
