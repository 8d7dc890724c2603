"""What to do next time: plain sentences by rule, each with its reason from what was kept.

Nothing is said that the record or the memory does not bear out; no rule knows more than is
written beside it.  Of one slider there is one line (``next_sliders``).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import tzinfo
from typing import Any

from monitor.counted import counted
from monitor.report.by_slider import after, slider_of
from monitor.report.curve import pulled_words
from monitor.report.evening import Evening, Record, evening_of
from monitor.report.next_sliders import A_HABIT, Advice, slider_lines
from monitor.report.timeline_parts import heard_s
from monitor.report.words import EveningClock, length_words, listed, sentence, text

LONG_ENOUGH_S = 1800.0
"""Half an hour without a ring is worth keeping: our choice, no source."""
DEAF_ENOUGH_S = 60.0
MOST_LINES = 8


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
    first, last = [*_deaf(evening), *_ring_out(evening)], [*_clock(evening)]
    # Where nothing rang, nothing that was learnt on other evenings stands over it.
    between = [*_leave_it(evening)] or slider_lines(evening, recollection or {}, clock)
    return [*first, *between[: MOST_LINES - len(first) - len(last)], *last]


def next_lines(
    record: Record,
    recollection_fields: Mapping[str, Any] | None,
    *,
    zone: tzinfo | None = None,
) -> list[Advice]:
    """Return what to do next time and why, in sentences, straight from a gig's record.

    Parameters
    ----------
    record : mapping
        The gig's record; what is missing or malformed is left out.
    recollection_fields : mapping or None
        What the memory says, for this gig's venue.
    zone : tzinfo, optional
        The local time to speak of; the machine's by default.
    """
    evening = evening_of(record)
    clock = evening.clock(zone)
    advice = next_time(evening, recollection_fields, clock)
    return [replace(one, why=sentence(one.why)) for one in advice]


def _deaf(evening: Evening) -> Iterator[Advice]:
    silent_s = evening.length_s - heard_s(evening)
    if silent_s >= DEAF_ENOUGH_S:
        reasons = [text(one.content.get("reason")) for one in evening.of_kind("deaf")]
        said = listed(list(dict.fromkeys(reason for reason in reasons if reason))[:2])
        yield Advice(
            "Look at the box's microphone and its plug before anything else",
            f"it could not hear for {length_words(silent_s)}{f': {said}' if said else ''}",
        )


def _ring_out(evening: Evening) -> Iterator[Advice]:
    """Howls that a ring-out could have spared: in the set, where there was one."""
    had_set = any(one.content.get("way") == "set" for one in evening.of_kind("way"))
    howls = [
        ring
        for ring in evening.rings
        if ring.degree == "howl" and (ring.way == "set" or not had_set)
    ]
    ring_outs = evening.ring_outs()
    if not ring_outs:
        if howls:
            yield Advice(
                "Ring out before the set",
                f"no ring-out was brought to its end, and {counted(len(howls), 'howl')} came",
            )
        return
    howls = [ring for ring in howls if ring.way == "set"]
    early = len(howls) - len(after(howls, ring_outs[0].at_s))
    if early >= A_HABIT:
        yield Advice("Ring out before the set", f"{early} howls came in it before the ring-out")
    later = after(howls, ring_outs[-1].at_s)
    places = {slider_of(ring) for ring in later}
    # At one slider or two it is their pull that was too small, and their own lines say so.
    if len(places) >= A_HABIT:
        yield Advice(
            "Come down further after the ring-out",
            f"{len(later)} howls came in the set after it had ended, at {len(places)} sliders",
        )


def _leave_it(evening: Evening) -> Iterator[Advice]:
    time_s = heard_s(evening)
    if not evening.rings and not evening.rings_gone and time_s >= LONG_ENOUGH_S:
        stood = pulled_words(evening)
        yield Advice(
            f"Put everything where it stood{f': {stood}' if stood else ''}",
            f"nothing rang in {length_words(time_s)}",
        )


def _clock(evening: Evening) -> Iterator[Advice]:
    if not evening.is_dated:
        yield Advice(
            "Open the page once on a paired phone when you set up: it tells the box the time",
            "the gig's date is not sure",
        )
