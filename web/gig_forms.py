"""The forms in which a gig's record is handed out: a page to print, pictures, tables, advice."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import timedelta, timezone, tzinfo
from typing import Any, Literal

from monitor.placing.shapes import Theme

Fields = Mapping[str, Any]
LOOKS: dict[str, Theme | None] = {"day": "day", "night": "night", "page": None}
"""How a picture is inked: for paper, for the dark, or with the inks of the page it is put into."""


UTC_OFFSETS_MIN = (-720, 840)
"""From UTC-12 to UTC+14: the offsets that are in use (tz database)."""


def zone_of(utc_offset_min: int) -> tzinfo:
    """A phone's own time; it has no name, since whoever reads it knows which it is."""
    return timezone(timedelta(minutes=utc_offset_min), "")


@dataclass(frozen=True, slots=True)
class Wish:
    """How somebody wants a form.

    Attributes
    ----------
    look, is_narrow
        A picture's inks, and whether it is for a phone held upright.
    zone
        The time that is told; None is the box's own.
    but
        A gig that the memory is to leave out.
    """

    look: str = "day"
    is_narrow: bool = False
    zone: tzinfo | None = None
    but: str | None = None


@dataclass(frozen=True, slots=True)
class Form:
    """One form: its kind, whether it is kept as a file, and how it is made.

    ``make`` takes the record, what is remembered of its venue where ``wants_memory``, and the
    wish.
    """

    mimetype: str
    make: Callable[[Fields, Fields | None, Wish], str | bytes]
    is_download: bool = False
    wants_memory: bool = False


# What draws and writes is imported when it is asked for: on most evenings it never is.
def _report(record: Fields, memory: Fields | None, wish: Wish) -> str:
    from monitor.report.page import report_html

    return report_html(record, memory, zone=wish.zone)


def _summary(record: Fields, _memory: Fields | None, _wish: Wish) -> str:
    from monitor.report.summary import summary_fields

    return json.dumps(summary_fields(record))


def _next(record: Fields, memory: Fields | None, wish: Wish) -> str:
    from monitor.report.next_time import next_lines

    lines = [
        {"title": one.do, "words": one.why, **({"known": True} if one.is_known else {})}
        for one in next_lines(record, memory, zone=wish.zone)
    ]
    said: dict[str, Any] = {"next": lines}
    if memory is not None and "gig_count" not in memory:  # it did not come, and says so
        said["problem"] = "; ".join(memory["words"])
    return json.dumps(said)


def _svg(drawn: Literal["timeline", "curve"]) -> Callable[[Fields, Fields | None, Wish], str]:
    def made(record: Fields, _memory: Fields | None, wish: Wish) -> str:
        from monitor.report.pictures import gig_svg

        theme = LOOKS[wish.look]
        return gig_svg(record, drawn, wide=not wish.is_narrow, theme=theme, zone=wish.zone)

    return made


def _png(drawn: Literal["timeline", "curve"]) -> Callable[[Fields, Fields | None, Wish], bytes]:
    def made(record: Fields, _memory: Fields | None, wish: Wish) -> bytes:
        from monitor.report.pictures import gig_png

        theme = LOOKS[wish.look] or "day"
        return gig_png(record, drawn, wide=not wish.is_narrow, theme=theme, zone=wish.zone)

    return made


def _csv(what: Literal["rings", "happenings"]) -> Callable[[Fields, Fields | None, Wish], str]:
    def made(record: Fields, _memory: Fields | None, _wish: Wish) -> str:
        from monitor.report.tables import csv_text

        return csv_text(record, what)

    return made


FORMS: dict[str, Form] = {
    "summary": Form("application/json", _summary),
    "next": Form("application/json", _next, wants_memory=True),
    "report.html": Form("text/html", _report, wants_memory=True),
    "timeline.svg": Form("image/svg+xml", _svg("timeline")),
    "timeline.png": Form("image/png", _png("timeline")),
    "curve.svg": Form("image/svg+xml", _svg("curve")),
    "curve.png": Form("image/png", _png("curve")),
    "rings.csv": Form("text/csv", _csv("rings"), is_download=True),
    "happenings.csv": Form("text/csv", _csv("happenings"), is_download=True),
}
"""By the name after the gig's; ``record.json`` is the record as it is."""
