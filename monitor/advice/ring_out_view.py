"""From what a ring-out knows to what it shows: pure functions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from monitor.advice import ring_out_words as words
from monitor.advice.equaliser import Equaliser
from monitor.advice.moves import Move, moves
from monitor.advice.ring_out_course import Course
from monitor.advice.ring_out_margins import margin_left
from monitor.advice.ring_out_plan import tone_cost_db
from monitor.advice.ring_out_rings import KnownRing, RingLadder
from monitor.advice.ring_out_state import CommandName, RingOutState, RingSoFar

_ALWAYS: tuple[CommandName, ...] = ("fader", "pause", "stop")


@dataclass(frozen=True, slots=True)
class Moment:
    """What goes with what is asked for now, and does not outlive it."""

    again_hz: tuple[float, ...] = ()
    put_back: tuple[Move, ...] = ()
    asks: bool = False
    asks_twice: bool = False
    rings_on: bool = False


def commands_of(course: Course, asks: bool) -> tuple[CommandName, ...]:
    """Return the commands that make sense now."""
    back: tuple[CommandName, ...] = ("undo",) if course.steps else ()
    if course.phase == "ready":
        return ("begin", "stop")
    if course.phase == "raise":
        return (*back, *_ALWAYS)
    if course.phase == "pull":
        return ("pulled", "turned_down", "skip", *back, *_ALWAYS)
    if course.phase == "listen":
        asked: tuple[CommandName, ...] = ("pulled", "turned_down") if asks else ()
        return (*asked, *back, *_ALWAYS)
    if course.phase == "back_off":
        return ("turned_down", *back, *_ALWAYS)
    return ("go_on", "stop") if course.phase == "paused" else ()


def state_of(
    equaliser: Equaliser,
    course: Course,
    ladder: RingLadder,
    moment: Moment,
    *,
    is_up: bool = False,
) -> RingOutState:
    """Return where a ring-out stands."""
    swept = [slider.label for slider in equaliser.sliders if slider.is_swept]
    asked = moves(course.pulls, course.asked, swept) if course.phase == "pull" else ()
    now = sorted(asked, key=lambda move: -move.more_db)
    # Of a slider that is asked for it is said where it goes, and nothing else.
    names = {move.label for move in now}
    back = tuple(move for move in moment.put_back if move.label not in names)
    moment = replace(moment, put_back=back)
    say, detail = _said(course, now, moment, is_up=is_up)
    if course.phase == "raise" and any(r.open and (r.skipped or r.undone) for r in ladder.rings):
        say = words.put_back_line(moment.put_back) or words.LEFT_RINGS
        detail = words.STILL_RINGS
    depths_db = ladder.depths_db(course.pulls)
    return RingOutState(
        phase=course.phase,
        say=say,
        detail=detail,
        pulls_now=tuple(now),
        pulls=course.pulls,
        rings=tuple(
            _ring(ring, db, course, ladder)
            for ring, db in zip(ladder.rings, depths_db.tolist(), strict=True)
        ),
        gain_won_db=course.gain_won_db,
        tone_cost_db=tone_cost_db(equaliser, course.pulls),
        why_ended=course.why_ended,
        cautions=words.CAUTIONS if course.phase == "ready" else (),
        hints=course.hints,
        asks=moment.asks,
        asks_twice=moment.asks_twice,
        put_back=moment.put_back,
        may=commands_of(course, moment.asks),
        pulled_count=_pulled_count(course),
        top_fader_db=course.top_fader_db,
        back_off_db=back_off_db(course) if course.phase == "back_off" else 0.0,
    )


def _ring(ring: KnownRing, depth_db: float, course: Course, ladder: RingLadder) -> RingSoFar:
    margin = None
    if course.phase in ("back_off", "done"):
        is_marked = course.fader_db is not None
        gain_db = ladder.gain_db if course.ended_gain_db is None else course.ended_gain_db
        left = margin_left(ring, depth_db, gain_db, is_marked=is_marked)
        margin = None if left is None else left.backed_off(words.BACK_OFF_DB)
    return RingSoFar(ring.frequency_hz, ring.fate, ring.times, ring.excess, depth_db, margin)


def back_off_db(course: Course) -> float:
    """Return how far the fader is to come down; what it went up in silence comes on top."""
    return words.BACK_OFF_DB + course.silent_db


def _pulled_count(course: Course) -> int:
    """Return how many sliders were pulled since it began; what stood before is no news."""
    before = course.steps[0].before if course.steps else course.pulls
    return sum(move.pull_db > 0.0 for move in moves(before, course.pulls))


def _said(course: Course, now: Sequence[Move], moment: Moment, *, is_up: bool) -> tuple[str, str]:
    """Return the big words and one more line."""
    if course.phase == "ready":
        return "Get ready", "read the cautions, then begin"
    if course.phase == "raise":
        if is_up and not moment.put_back:
            return words.AT_ITS_END, words.AT_ITS_END_MORE
        return words.put_back_line(moment.put_back) or words.RAISE, words.RAISE_MORE
    if course.phase == "pull":
        if moment.asks_twice:
            return words.look_line(now), words.look_detail(moment.again_hz)
        detail = words.pull_detail(now, moment.again_hz)
        put_back = words.put_back_line(moment.put_back)
        return words.pull_line(now), "; ".join(line for line in (put_back, detail) if line)
    if course.phase == "listen":
        if moment.asks:
            return "Pulled, or turned down?", "taken as pulled if you say nothing"
        return "Wait", "listening whether it has gone"
    if course.phase == "back_off" and moment.rings_on:
        return words.FURTHER_DOWN, words.RINGS_ON
    if course.phase == "back_off":
        return words.back_off_line(back_off_db(course)), course.why_ended
    if course.phase == "paused":
        return "Paused", "before you go on: the fader a little lower"
    return words.done_line(_pulled_count(course), course.gain_won_db), course.why_ended
