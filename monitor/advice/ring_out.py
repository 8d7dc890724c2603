"""The guided ring-out: raise, it rings, pull, gone, raise again; until the room has no more.

A state machine without a clock: every call says when it is.  It never waits for a button where
the ear of the box can tell: a ring that has gone was pulled, one that stays is asked deeper.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from monitor.advice import ring_out_words as words
from monitor.advice.cut_plan import CutPlan
from monitor.advice.equaliser import Equaliser
from monitor.advice.margin import WANTED_MARGIN_DB, Excess, LoopTimes
from monitor.advice.pulls import Pull, stood
from monitor.advice.ring_out_course import Course, Step, course_of, kept_of
from monitor.advice.ring_out_plan import costs_too_much, next_pull, tone_cost_db
from monitor.advice.ring_out_rings import KnownRing, RingLadder
from monitor.advice.ring_out_state import (
    CommandName,
    Phase,
    RingNews,
    RingOutState,
    RingSoFar,
)

MOST_CUTS = 7
"""Five to seven sliders are a room's limit: common practice, no source."""
TOGETHER = 3
"""Three rings at once: the room's limit; common practice, no source."""
HOLD_S = 1.0
"""So long an advice may still be mended by what is heard; then the hand is on its way."""
REACTION_S = 0.4
"""Nobody reads and pulls sooner: a ring that is gone by then went by itself."""
PATIENCE_S = 6.0
"""A ring that has stayed so long was pulled too little, or the wrong slider was pulled."""
MOST_IMPATIENT = 2
"""After so many times deeper without a sign nobody is there to pull."""
LISTEN_S = 2.0
"""After a pull: for the hand to leave the slider and the ring to die, or not."""
BACK_OFF_S = 20.0
FELL_DB = 3.0
"""All the rest fell by this in the same moment: it was the fader."""
LEAST_MARGIN_DB = 0.5
_ACTIVE: tuple[Phase, ...] = ("raise", "pull", "listen", "back_off")


class RingOut:
    """One guided ring-out.

    Parameters
    ----------
    equaliser : Equaliser
        The person's own.
    margin_db : float
        What each ring's frequency is left below ringing.
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
        self.equaliser = equaliser
        self.margin_db = margin_db
        self.most_cuts = most_cuts
        self.loop_times = LoopTimes() if loop_times is None else loop_times
        already = tuple(p for p in standing if p.pull_db > 0.0)
        self._course = Course(pulls=already, begun_with=len(already))
        self._ladder = RingLadder(equaliser)
        self._heard: dict[int, RingNews] = {}
        self._places: dict[int, int] = {}
        self._last_s = -math.inf
        self._since_s = 0.0
        self._raise_s = 0.0
        self._gain_before_db = 0.0
        self._plan: CutPlan | None = None
        self._again_hz: tuple[float, ...] = ()
        self._put_back = ""
        self._asks = False
        self._fell_db = 0.0
        self._was_turned_down = False
        self._impatient = 0

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
        course, ladder = course_of(kept, equaliser)
        found = cls(
            equaliser,
            margin_db=float(kept["margin_db"]),
            most_cuts=int(kept["most_cuts"]),
            loop_times=loop_times,
        )
        found._course, found._ladder = course, ladder
        if course.phase in _ACTIVE:
            found._pause()
        return found

    def kept(self) -> dict[str, Any]:
        """Return all that is needed to go on after a restart, ready for JSON."""
        figures = {"margin_db": self.margin_db, "most_cuts": self.most_cuts}
        return kept_of(self._course, self._ladder, self.equaliser, figures)

    # What it is told.

    def command(self, name: str, at_s: float, **values: float) -> None:
        """Take in what the person did; ``fader`` wants ``fader_db``.

        Raises
        ------
        ValueError
            For a command that makes no sense now; one clear line, and nothing has changed.
        """
        may = self._may()
        if name not in may:
            raise ValueError(
                f'"{name}" makes no sense now; possible: {", ".join(may) or "nothing"}'
            )
        fader_db = values.get("fader_db", math.nan)
        if name == "fader" and not (math.isfinite(fader_db) and -120.0 <= fader_db <= 40.0):
            raise ValueError(f"fader_db={fader_db:g} is no mark; give one from -120 to 40 dB")
        self._tick(at_s)
        if name == "fader":
            self._course.marked(fader_db, self._ladder)
        else:
            actions = {
                "begin": self._begin,
                "pulled": self._confirmed,
                "turned_down": self._turned_down,
                "not_yet": self._skip,
                "skip": self._skip,
                "undo": self._undo,
                "pause": self._pause,
                "go_on": self._begin,
                "stop": self._stop,
            }
            actions[name]()

    def heard(self, news: RingNews) -> None:
        """Take in what was heard of a ring."""
        self._tick(news.at_s)
        if news.kind == "closed":
            self._heard.pop(news.id, None)
            if news.id in self._places:
                self._closed(self._places.pop(news.id), news)
            return
        self._heard[news.id] = news
        if self._course.phase in ("raise", "pull", "listen"):
            self._opened(news)

    def passed(self, at_s: float) -> None:
        """Time went by; call it about ten times a second."""
        self._tick(at_s)
        waited_s = self._last_s - self._since_s
        phase = self._course.phase
        if phase == "pull" and waited_s >= PATIENCE_S and self._was_turned_down:
            self._pulled()
        elif phase == "pull" and waited_s >= PATIENCE_S and self._impatient < MOST_IMPATIENT:
            self._impatient += 1
            self._pulled()
            self._deepen()
        elif phase == "listen" and waited_s >= LISTEN_S:
            if self._open():
                self._deepen()
            else:
                self._go("raise")
        elif phase == "back_off" and waited_s >= BACK_OFF_S and not self._heard:
            self._go("done")

    def _tick(self, at_s: float) -> None:
        if self._course.phase == "raise" and math.isfinite(self._last_s):
            self._raise_s += max(at_s - self._last_s, 0.0)
        self._last_s = max(at_s, self._last_s)

    def _go(self, phase: Phase) -> None:
        self._course.phase = phase
        self._since_s = self._last_s
        if phase == "raise":
            self._raise_s = 0.0
        if phase != "listen":
            self._asks = False
        if phase != "pull":
            self._impatient = 0
            self._was_turned_down = False

    # Rings.

    def _open(self) -> list[KnownRing]:
        return [r for r in self._ladder.rings if r.open and not r.skipped]

    def _opened(self, news: RingNews) -> None:
        course, ladder = self._course, self._ladder
        is_new = news.id not in self._places
        if is_new:
            ring = ladder.rang(news.frequency_hz, course.pulls)
            self._places[news.id] = ladder.rings.index(ring)
        ring = ladder.rings[self._places[news.id]]
        excess = self._excess_of(news)
        ring.slope = news.slope or ring.slope
        ring.excess = excess or ring.excess
        if ring.skipped:
            return
        if is_new and course.phase != "pull":
            self._gain_before_db = ladder.gain_db
            self._put_back = ""
            self._again_hz = ()
            self._go("pull")
        elif not is_new and (excess is None or self._last_s - self._since_s > HOLD_S):
            return
        if len(self._open()) == 1:
            ladder.gain_db = self._gain_before_db
            ladder.raised(self._raise_s, course.pulls, ring)
        if is_new and ring.times > 1:
            self._again_hz = (*self._again_hz, ring.frequency_hz)
        ladder.placed(ring, course.pulls)
        self._advise()

    def _excess_of(self, news: RingNews) -> Excess | None:
        if news.excess is not None or news.slope is None or news.slope.db_per_s <= 0.0:
            return news.excess
        return self.loop_times.estimate(news.slope, frequency_hz=news.frequency_hz)

    def _closed(self, place: int, news: RingNews) -> None:
        ring = self._ladder.rings[place]
        ring.open = False
        ring.fate = "gone" if ring.fate != "left" else "left"
        phase = self._course.phase
        if phase == "pull" and not self._open() and not self._was_turned_down:
            if self._last_s - self._since_s < REACTION_S:
                self._go("raise")
                return
            self._pulled()
            self._asks = news.fell_db >= FELL_DB
            self._fell_db = news.fell_db
        if self._course.phase == "listen":
            self._learn(place, news)

    def _learn(self, place: int, news: RingNews) -> None:
        """A ring's fall after a pull of known size tells its loop time."""
        ring, steps = self._ladder.rings[place], self._course.steps
        if self._asks or ring.slope is None or news.slope is None or news.slope.db_per_s >= 0.0:
            return
        if not steps or place not in steps[-1].rings:
            return
        hz = ring.frequency_hz
        before_db = self._ladder.depth_db(steps[-1].before, hz)
        moved_db = before_db - self._ladder.depth_db(self._course.pulls, hz) - ring.in_vain_db
        if moved_db < 0.0:
            self.loop_times.learn(
                frequency_hz=hz, before=ring.slope, after=news.slope, moved_db=moved_db
            )

    # Pulls.

    def _advise(self) -> None:
        course, ladder = self._course, self._ladder
        if len(self._open()) >= TOGETHER:
            self._end(f"{TOGETHER} ring together: that is this room's limit")
            return
        needs = ladder.needs(
            course.pulls, margin_db=self.margin_db, least_margin_db=LEAST_MARGIN_DB
        )
        most = self.most_cuts + course.begun_with
        found = next_pull(self.equaliser, needs, course.pulls, most_sliders=most)
        if found.plan is None:
            self._end(found.why_ended)
            return
        costs = [step.cost_db for step in course.steps]
        gains = [step.gain_db for step in course.steps]
        if costs_too_much([*costs, found.plan.tone_cost_db], [*gains, ladder.gain_db]):
            self._end("the next pull would cost more tone than it brings gain")
            return
        self._plan = found.plan

    def _pulled(self) -> None:
        """The advised pull was made, or is taken to be."""
        course = self._course
        if self._plan is None:
            self._go("raise")
            return
        rings = tuple(i for i, r in enumerate(self._ladder.rings) if r.open or r.fate == "gone")
        cost_db = tone_cost_db(self.equaliser, course.pulls)
        course.steps.append(Step(course.pulls, cost_db, self._ladder.gain_db, rings))
        course.pulls = self._plan.pulls
        self._plan = None
        self._go("listen")

    def _deepen(self) -> None:
        """A ring stayed in spite of its pull: what it has too much is more than was thought."""
        course, ladder = self._course, self._ladder
        before = course.steps[-1].before
        for ring in self._open():
            gone_db = ladder.depth_db(course.pulls, ring.frequency_hz)
            gone_db -= ladder.depth_db(before, ring.frequency_hz)
            ring.in_vain_db += max(gone_db, 0.0)
            left_db = self.margin_db / 2.0
            if ring.slope is not None:
                told = self.loop_times.estimate(
                    ring.slope, frequency_hz=ring.frequency_hz, at_least_db=ring.in_vain_db
                )
                left_db = max(told.db - ring.in_vain_db, left_db)
            why = "it stayed when it was pulled"
            ring.excess = Excess(left_db, 0.0, 2.0 * left_db, why)
            ladder.placed(ring, course.pulls)
        impatient = self._impatient
        self._again_hz = tuple(r.frequency_hz for r in self._open())
        self._go("pull")
        self._impatient = impatient
        self._advise()

    # Commands.

    def _begin(self) -> None:
        """Begin, or go on after a pause."""
        course = self._course
        if course.phase == "paused" and course.resume == "back_off":
            self._go("back_off")
            return
        self._go("raise")
        for news in list(self._heard.values()):
            if self._course.phase in ("raise", "pull"):
                self._opened(news)

    def _confirmed(self) -> None:
        if self._course.phase == "listen":
            self._asks = False
        else:
            self._pulled()

    def _turned_down(self) -> None:
        """It was the fader and not the slider: the advice stands."""
        course = self._course
        if course.phase == "back_off":
            self._go("done")
            return
        if course.phase == "listen":
            wanted = course.pulls
            step = course.steps.pop()
            course.pulls = step.before
            self._ladder.gain_db -= self._fell_db
            needs = [
                (r.frequency_hz, self._ladder.depth_db(wanted, r.frequency_hz))
                for r in self._ladder.rings
                if not r.skipped
            ]
            most = self.most_cuts + course.begun_with
            self._plan = next_pull(self.equaliser, needs, course.pulls, most_sliders=most).plan
            self._go("pull")
        self._was_turned_down = True

    def _skip(self) -> None:
        for ring in self._open():
            ring.skipped, ring.fate = True, "left"
        self._plan = None
        self._go("raise")

    def _undo(self) -> None:
        course = self._course
        step = course.steps.pop()
        self._put_back = words.put_back_line(course.pulls, step.before)
        for place in step.rings:
            ring = self._ladder.rings[place]
            if self._ladder.depth_db(course.pulls, ring.frequency_hz) > self._ladder.depth_db(
                step.before, ring.frequency_hz
            ):
                ring.fate = "left"
        course.pulls = step.before
        course.why_ended = ""
        self._plan = None
        self._go("raise")

    def _pause(self) -> None:
        self._course.resume = self._course.phase
        self._plan = None
        self._places.clear()
        for ring in self._open():
            ring.open = False
        self._go("paused")

    def _stop(self) -> None:
        if self._ladder.rings and self._course.phase != "back_off":
            self._end("stopped")
        else:
            self._course.why_ended = self._course.why_ended or "stopped"
            self._go("done")

    def _end(self, why: str) -> None:
        self._course.why_ended = why
        self._plan = None
        self._go("back_off")

    # What it shows.

    def _may(self) -> tuple[CommandName, ...]:
        course = self._course
        back: tuple[CommandName, ...] = ("undo",) if course.steps else ()
        if course.phase == "ready":
            return ("begin", "stop")
        if course.phase == "raise":
            return (*back, "fader", "pause", "stop")
        if course.phase == "pull":
            return ("pulled", "turned_down", "not_yet", "skip", *back, "fader", "pause", "stop")
        if course.phase == "listen":
            asked: tuple[CommandName, ...] = ("pulled", "turned_down") if self._asks else ()
            return (*asked, *back, "fader", "pause", "stop")
        if course.phase == "back_off":
            return ("turned_down", *back, "fader", "pause", "stop")
        return ("go_on", "stop") if course.phase == "paused" else ()

    @property
    def state(self) -> RingOutState:
        """Where it stands."""
        course = self._course
        now = [] if self._plan is None else [p for p in self._plan.pulls if p.more_db > 0.0]
        now.sort(key=lambda pull: -pull.more_db)
        say, detail = self._words(now)
        return RingOutState(
            phase=course.phase,
            say=say,
            detail=detail,
            pulls_now=tuple(now),
            pulls=course.pulls,
            rings=tuple(self._ring(ring) for ring in self._ladder.rings),
            gain_won_db=course.gain_won_db,
            tone_cost_db=tone_cost_db(self.equaliser, course.pulls),
            why_ended=course.why_ended,
            cautions=words.CAUTIONS if course.phase == "ready" else (),
            hints=() if self._plan is None else self._plan.hints,
            asks=self._asks,
            may=self._may(),
        )

    def _ring(self, ring: KnownRing) -> RingSoFar:
        depth_db = self._ladder.depth_db(self._course.pulls, ring.frequency_hz)
        fate = "rings" if ring.open and ring.fate == "gone" else ring.fate
        return RingSoFar(ring.frequency_hz, fate, ring.times, ring.excess, depth_db)

    def _words(self, now: Sequence[Pull]) -> tuple[str, str]:
        phase, course = self._course.phase, self._course
        if phase == "ready":
            return "Get ready", "read the cautions, then begin"
        if phase == "raise":
            return self._put_back or words.RAISE, words.RAISE_MORE
        if phase == "pull":
            return words.pull_line(now), words.pull_detail(now, self._again_hz)
        if phase == "listen":
            if self._asks:
                return "Pulled, or turned down?", "taken as pulled if you say nothing"
            return "Wait", "listening whether it has gone"
        if phase == "back_off":
            return f"Come down {words.BACK_OFF_DB:g} dB", course.why_ended
        if phase == "paused":
            return "Paused", "go on when you are ready; the fader a little lower first"
        return words.done_line(course.pulls, course.gain_won_db), course.why_ended
