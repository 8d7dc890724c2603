"""What to do next time: plain sentences by rule, each with its reason from what was kept.

Nothing is said that the record or the memory does not bear out; no rule knows more than is
written beside it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

from monitor.listening.bands import third_octave_of
from monitor.report.by_slider import SliderRings, after, rings_by_slider
from monitor.report.curve import pulled_words
from monitor.report.evening import Evening, Record, evening_of, pulls_of
from monitor.report.timeline_parts import deaf_stretches
from monitor.report.words import (
    EveningClock,
    counted,
    decibels,
    length_words,
    listed,
    sentence,
    text,
)

DEEP_DB = 6.0
"""A pull of so much is deep: half the way of most graphic sliders (common practice)."""
A_HABIT = 3
"""So many times for one slider are no longer chance: our choice, no source."""
LONG_ENOUGH_S = 1800.0
"""Half an hour without a ring is worth keeping: our choice, no source."""
DEAF_ENOUGH_S = 60.0
MOST_LINES = 8
_MOST_BEGIN = 4


@dataclass(frozen=True, slots=True)
class Advice:
    """One thing to do and why."""

    do: str
    why: str


def next_time(
    evening: Evening, recollection: Mapping[str, Any] | None, clock: EveningClock
) -> list[Advice]:
    """Return what to do next time, the most telling first.

    Parameters
    ----------
    evening : Evening
    recollection : mapping, optional
        What the memory says (``Recollection.fields()``), for this gig's venue.
    clock : EveningClock
        Says when things were.
    """
    memory = recollection or {}
    groups = rings_by_slider(evening)
    return [
        *_deaf(evening),
        *_at_the_source(evening, memory),
        *_begin_with(evening, memory),
        *_again(evening, groups, clock),
        *_never_pulled(evening, groups),
        *_ring_out(evening),
        *_leave_it(evening),
        *_clock(evening),
    ][:MOST_LINES]


def next_lines(
    record: Record,
    recollection_fields: Mapping[str, Any] | None = None,
    *,
    zone: tzinfo | None = None,
) -> list[tuple[str, str]]:
    """Return what to do next time and why, in sentences, straight from a gig's record.

    Parameters
    ----------
    record : mapping
        The gig's record; what is missing or malformed is left out.
    recollection_fields : mapping, optional
        What the memory says, for this gig's venue.
    zone : tzinfo, optional
        The local time to speak of; the machine's by default.
    """
    evening = evening_of(record)
    clock = EveningClock(evening.begun if evening.is_dated else None, zone)
    advice = next_time(evening, recollection_fields, clock)
    return [(one.do, sentence(one.why)) for one in advice]


def _deaf(evening: Evening) -> Iterator[Advice]:
    silent_s = sum(to_s - from_s for from_s, to_s in deaf_stretches(evening))
    if silent_s >= DEAF_ENOUGH_S:
        reasons = [text(one.content.get("reason")) for one in evening.of_kind("deaf")]
        said = listed(list(dict.fromkeys(reason for reason in reasons if reason))[:2])
        yield Advice(
            "Look at the box's microphone and its plug before anything else",
            f"it could not hear for {length_words(silent_s)}{f': {said}' if said else ''}",
        )


def _at_the_source(evening: Evening, memory: Mapping[str, Any]) -> Iterator[Advice]:
    """Bands that ring at every venue and rang here too: no graphic's business."""
    rang = {third_octave_of(ring.frequency_hz).label for ring in evening.rings}
    bands = memory.get("bands")
    for band in bands if isinstance(bands, list) else []:
        if not isinstance(band, Mapping) or band.get("verdict") != "rig":
            continue
        if text(band.get("band")) in rang:
            yield Advice(
                f"Cure {text(band['band'])} where it comes from: the place of microphone, wedge "
                "or loudspeaker, or a cut on the vocal channel",
                text(band.get("words"), 200) or "it rings at every venue",
            )


def _begin_with(evening: Evening, memory: Mapping[str, Any]) -> Iterator[Advice]:
    """The memory's cuts for this venue; without them the sliders as they stood."""
    venue = memory.get("venue")
    here = isinstance(venue, Mapping) and text(venue.get("name")).casefold() == (
        evening.venue.casefold()
    )
    known = venue.get("begin_with") if isinstance(venue, Mapping) and here else None
    cuts = [one for one in known if isinstance(one, Mapping)] if isinstance(known, list) else []
    for cut in cuts[:_MOST_BEGIN]:
        for pulled in pulls_of([cut]):
            yield Advice(
                f"Begin here with {pulled.label} at -{decibels(pulled.pull_db)} dB",
                text(cut.get("why"), 200) or "it stood so on earlier evenings here",
            )
    if not cuts and evening.standing:
        yield Advice(f"Begin with the sliders as they stood: {pulled_words(evening)}",
                     _since_the_last_move(evening))  # fmt: skip


def _since_the_last_move(evening: Evening) -> str:
    if not evening.rings:
        return "nothing rang with them so"
    if not evening.moves:
        return f"they stood so all along; {counted(len(evening.rings), 'ring')} came all the same"
    last_s = evening.moves[-1].at_s
    later = len(after(evening.rings, last_s))
    before = len(evening.rings) - later
    left = length_words(max(0.0, evening.length_s - last_s))
    return (
        f"{counted(before, 'ring')} until the last of them was moved, "
        f"{later or 'none'} in the {left} after it"
    )


def _again(evening: Evening, groups: list[SliderRings], clock: EveningClock) -> Iterator[Advice]:
    """Sliders that go on ringing after they were pulled."""
    for group in groups:
        downs = [m for m in evening.moves if m.label == group.label and m.to_db > m.from_db]
        if not downs or group.pull_db <= 0.0:
            continue
        later = after(group.rings, downs[-1].at_s)
        if len(later) >= A_HABIT:
            yield Advice(
                f"Do not look to {group.label} for more: move microphone or wedge, or come down "
                "with the fader"
                if group.pull_db >= DEEP_DB
                else f"Pull {group.label} deeper in the ring-out",
                f"pulled by {decibels(group.pull_db)} dB it still rang {len(later)} times after "
                f"the last pull, {clock.when(downs[-1].at_s)}{_howled(later)}",
            )


def _never_pulled(evening: Evening, groups: list[SliderRings]) -> Iterator[Advice]:
    touched = {m.label for m in evening.moves} | {one.label for one in evening.standing}
    for group in groups:
        if group.label not in touched and len(group.rings) >= A_HABIT:
            yield Advice(
                f"Listen for {group.label} in the ring-out and pull it there",
                f"it rang {len(group.rings)} times and was never pulled{_howled(group.rings)}",
            )


def _howled(rings: Any) -> str:
    count = sum(ring.degree == "howl" for ring in rings)
    return f"; {counted(count, 'howl')}" if count else ""


def _ring_out(evening: Evening) -> Iterator[Advice]:
    done = evening.last("ring_out")
    if done is None:
        if evening.howl_count:
            yield Advice(
                "Ring out before the set",
                f"no ring-out was brought to its end, and {counted(evening.howl_count, 'howl')} "
                "came",
            )
        return
    later = after([r for r in evening.rings if r.degree == "howl" and r.way == "set"], done.at_s)
    if len(later) >= A_HABIT:
        yield Advice(
            "Come down further after the ring-out",
            f"{counted(len(later), 'howl')} came in the set, after it had ended",
        )


def _leave_it(evening: Evening) -> Iterator[Advice]:
    heard_s = evening.length_s - sum(b - a for a, b in deaf_stretches(evening))
    if not evening.rings and not evening.rings_gone and heard_s >= LONG_ENOUGH_S:
        yield Advice(
            "Put everything where it stood this time", f"nothing rang in {length_words(heard_s)}"
        )


def _clock(evening: Evening) -> Iterator[Advice]:
    if not evening.is_dated:
        yield Advice(
            "Open the page once on a paired phone when you set up: it tells the box the time",
            "the date of this gig is not sure",
        )
