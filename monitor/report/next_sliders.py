"""What to do next time with each slider: one line of each, so that no line gainsays another.

What rings at every venue is cured where it comes from; what went on ringing tonight is told what
to do about it, with the memory's pull beside it where there is one; the memory's other pulls, or
without any the sliders as they stood, are where to begin.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any

from monitor.advice.labels import decibels
from monitor.counted import counted
from monitor.report.by_slider import SliderRings, after, are_near, is_for, rings_by_slider
from monitor.report.evening import Evening, Pulled, Ring, pulls_of
from monitor.report.timeline_parts import heard_s
from monitor.report.words import (
    EveningClock,
    each_of,
    length_words,
    mapping_of,
    number,
    stands_words,
    text,
)

DEEP_DB = 6.0
"""A pull of so much is deep: half the way of most graphic sliders (common practice)."""
A_HABIT = 3
"""So many times for one slider are no longer chance: our choice, no source."""
LEAST_HEARD_S = 600.0
"""That little rang in less says nothing: our choice, no source."""
MOST_AT_THE_SOURCE = 2
MOST_TROUBLED = 3
MOST_BEGIN = 4


@dataclass(frozen=True, slots=True)
class Advice:
    """One thing to do and why; ``is_known`` where the memory's pulls to begin with say to do it."""

    do: str
    why: str
    is_known: bool = False


@dataclass(frozen=True, slots=True)
class _Known:
    """A pull of the memory's, and its reason."""

    stands: Pulled
    why: str

    @property
    def words(self) -> str:
        if self.stands.is_switch:
            return f"the {self.stands.label} on"
        return f"{self.stands.name} at -{decibels(self.stands.pull_db)} dB"


def slider_lines(evening: Evening, memory: Mapping[str, Any], clock: EveningClock) -> list[Advice]:
    """Return a line for each slider that something is to be said of, the most telling first.

    Parameters
    ----------
    evening : Evening
    memory : mapping
        What the memory says (``Recollection.fields()``), for this gig's venue; may be empty.
    clock : EveningClock
        Says when things were.
    """
    pulls = _known_pulls(evening, memory)
    told: list[SliderRings] = []
    lines = [*_at_the_source(evening, memory, pulls, told)]
    lines += _troubled(evening, pulls, told, clock)
    if not pulls:
        return [*lines, *_as_they_stood(evening, told)]
    others = [pull for pull in pulls if not any(is_for(pull.stands, group) for group in told)]
    return [*lines, *(_begin(pull) for pull in others)]


def in_earnest(evening: Evening) -> list[Ring]:
    """Return the rings but for those that were provoked: at soundcheck, until a ring-out ended."""
    ring_outs = evening.ring_outs()
    ended_s = ring_outs[-1].at_s if ring_outs else 0.0
    return [ring for ring in evening.rings if ring.way == "set" or ring.at_s > ended_s]


def _known_pulls(evening: Evening, memory: Mapping[str, Any]) -> list[_Known]:
    """The memory's pulls, if it is this venue that it speaks of."""
    venue = mapping_of(memory.get("venue"))
    if text(venue.get("name")).casefold() != evening.venue.casefold():
        return []
    return [
        _Known(pulled, text(one.get("why"), 200) or "it stood so on earlier evenings here")
        for one in islice(each_of(venue.get("begin_with")), MOST_BEGIN)
        for pulled in pulls_of([one])
    ]


def _begin(pull: _Known) -> Advice:
    return Advice(f"Begin here with {pull.words}", pull.why, is_known=True)


def _at_the_source(
    evening: Evening, memory: Mapping[str, Any], pulls: Sequence[_Known], told: list[SliderRings]
) -> Iterator[Advice]:
    """What rings at every venue and rang here too is no graphic's business."""
    groups = rings_by_slider(evening, evening.rings)
    count = 0
    for band in each_of(memory.get("bands")):
        if band.get("verdict") != "rig":
            continue
        label, hz = text(band.get("band"), 20), number(band.get("frequency_hz"), 1.0, 100_000.0)
        rang = [] if hz is None else [g for g in groups if _rang_near(g, hz) and g not in told]
        if not rang or not label or count >= MOST_AT_THE_SOURCE:
            continue
        count += 1
        told.extend(rang)
        pull = next(
            (one for one in pulls if any(is_for(one.stands, group) for group in rang)), None
        )
        meanwhile = "" if pull is None else f"; until then begin here with {pull.words}"
        yield Advice(
            f"Cure {label} where it comes from: the place of microphone, wedge or loudspeaker, or "
            f"a cut on the vocal channel{meanwhile}",
            text(band.get("words"), 200) or "it rings at every venue",
            is_known=pull is not None,  # its reason says that it is better made on the channel
        )


def _rang_near(group: SliderRings, hz: float) -> bool:
    return any(are_near(ring.frequency_hz, hz) for ring in group.rings)


def _troubled(
    evening: Evening, pulls: Sequence[_Known], told: list[SliderRings], clock: EveningClock
) -> Iterator[Advice]:
    """Sliders that went on ringing as they stood, the worst first; all that have a pull."""
    count = 0
    known = {group.label for group in told}
    for group in rings_by_slider(evening, in_earnest(evening)):
        pull = next((one for one in pulls if is_for(one.stands, group)), None)
        advice = None if group.label in known else _trouble(evening, group, pull, clock)
        if advice is None:
            continue
        told.append(group)
        if pull is not None or count < MOST_TROUBLED:
            count += pull is None
            yield advice


def _trouble(
    evening: Evening, group: SliderRings, pull: _Known | None, clock: EveningClock
) -> Advice | None:
    moves = [move for move in evening.moves if is_for(move, group)]
    later = after(group.rings, moves[-1].at_s) if moves else list(group.rings)
    if len(later) < A_HABIT:
        return None
    howls = sum(ring.degree == "howl" for ring in later)
    times = f"rang {len(later)} times"
    howled = f"; {counted(howls, 'howl')}" if howls else ""
    when = clock.when(moves[-1].at_s) if moves else ""
    begin = "" if pull is None else f"Begin here with {pull.words}"
    known = "" if pull is None else f"; {pull.why}"
    name = group.label
    if group.pull_db <= 0.0:
        if moves:
            do, why = f"Leave {name} pulled", f"put back to flat {when}, it {times} after that"
        else:
            do = f"Listen for {name} in the ring-out and pull it there"
            why = f"it {times} and was never pulled"
        return Advice(begin or do, f"{why}{howled}{known}", is_known=pull is not None)
    stood = f"pulled by {decibels(group.pull_db)} dB"
    why = f"{stood} it still {times} after it was last moved, {when}"
    why = why if moves else f"{stood} all along it still {times}"
    if group.pull_db >= DEEP_DB:
        elsewhere = "move microphone or wedge, or come down with the fader"
        do = f"{begin}; for more, {elsewhere}"
        do = do if begin else f"Do not look to {name} for more: {elsewhere}"
    else:
        do = f"{begin} and pull it deeper in the ring-out"
        do = do if begin else f"Pull {name} deeper in the ring-out"
    return Advice(do, f"{why}{howled}{known}")


def _as_they_stood(evening: Evening, told: Sequence[SliderRings]) -> Iterator[Advice]:
    """Without pulls of the memory's: the sliders in the end, but for those that are told of."""
    stood = [one for one in evening.standing if not any(is_for(one, group) for group in told)]
    if stood and heard_s(evening) >= LEAST_HEARD_S:
        said = ", ".join(stands_words(one.name, one.pull_db) for one in stood)
        which = "the other sliders" if told else "the sliders"
        yield Advice(
            f"Begin with {which} as they stood: {said}", _how_it_went(evening, stood, told)
        )


def _how_it_went(evening: Evening, stood: Sequence[Pulled], told: Sequence[SliderRings]) -> str:
    """Return how often it rang before the last of these was moved, and after."""
    if evening.rings_gone:
        return "so they stood in the end; not all of its rings are kept any more"
    known = {ring for group in told for ring in group.rings}
    rings = [ring for ring in evening.rings if ring not in known]
    unmeant = [ring for ring in in_earnest(evening) if ring not in known]
    labels = {one.label for one in stood}
    moved_s = [move.at_s for move in evening.moves if move.label in labels]
    apart = "apart from that, " if told else ""
    if not rings:
        return f"{apart}nothing rang with them so"
    if not moved_s:
        return f"{apart}they stood so all along; {counted(len(rings), 'ring')} came all the same"
    left_s = heard_s(evening, moved_s[-1])
    if left_s < LEAST_HEARD_S:
        return (
            f"{apart}so they stood in the end, for the last {length_words(left_s)} that were heard"
        )
    later = len(after(unmeant, moved_s[-1]))
    return (
        f"{apart}{counted(len(rings) - later, 'ring')} until the last of them was moved, "
        f"{later or 'none'} in the {length_words(left_s)} after it"
    )
