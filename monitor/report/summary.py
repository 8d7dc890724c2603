"""What a gig came to in a few words and figures, the report's own, for whoever shows it."""

from __future__ import annotations

from typing import Any

from monitor.report.by_slider import SliderRings, rings_by_slider
from monitor.report.curve import pulled_words
from monitor.report.done import ring_out_words
from monitor.report.evening import Evening, Record, evening_of
from monitor.report.title import rings_words
from monitor.report.words import capital, text

LONGEST_NOTE = 1000
"""Longer than the link takes; a record may come from elsewhere."""


def summary_fields(record: Record) -> dict[str, Any]:
    """Return what a gig came to, ready for JSON; what there was nothing of is left out.

    ``gig`` is the record's own.
    """
    evening = evening_of(record)
    fields = {
        "gig": record.get("gig"),
        "rings": capital(rings_words(evening)),
        "sliders": [_slider(group) for group in rings_by_slider(evening, evening.rings)],
        "pulled": pulled_words(evening),
        "ring_out": next(map(ring_out_words, evening.ring_outs()[-1:]), ""),
        "song_count": len(evening.of_kind("song")),
        "notes": _notes(evening),
    }
    return {name: value for name, value in fields.items() if value or name == "sliders"}


def _slider(group: SliderRings) -> dict[str, Any]:
    longest = {} if group.longest_s is None else {"longest_s": round(group.longest_s, 1)}
    return {
        "label": group.label,
        "ring_count": len(group.rings),
        "howl_count": group.howl_count,
        **longest,
    }


def _notes(evening: Evening) -> list[str]:
    said = (text(one.content.get("text"), LONGEST_NOTE) for one in evening.of_kind("note"))
    return [words for words in said if words]
