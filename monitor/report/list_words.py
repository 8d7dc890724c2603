"""Gigs as lines of a table for a terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from monitor.report.words import EveningClock, length_words, mapping_of, moment_of, number, text

_HEAD = ("gig", "begun", "length", "rings", "howls", "where")
_RIGHT = (2, 3, 4)
NO_GIG = "no gig is kept yet; the first begins by itself with a ring or with sound"


def gig_lines(gigs: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return a head and a line for each gig, as the journal lists them, in the machine's time."""
    if not gigs:
        return [NO_GIG]
    rows = [_row(gig) for gig in gigs]
    widths = [max(len(row[i]) for row in (_HEAD, *rows)) for i in range(len(_HEAD))]
    lines = [
        "  ".join(
            cell.rjust(width) if i in _RIGHT else cell.ljust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in (_HEAD, *rows)
    ]
    if any("?" in row[1] for row in rows):
        lines.append("?  the date is not sure: nobody had told the box the time")
    return lines


def _row(gig: Mapping[str, Any]) -> tuple[str, ...]:
    names = (text(gig.get("title")), text(mapping_of(gig.get("venue")).get("name")))
    lasted_s = number(gig.get("lasted_s"), 0.0)
    length = "" if lasted_s is None else length_words(lasted_s)
    return (
        text(gig.get("uid")),
        _begun(gig.get("begun")),
        "still on" if gig.get("on") is True else length,
        _count(gig.get("ring_count")),
        _count(gig.get("howl_count")),
        " at ".join(name for name in names if name),
    )


def _count(value: Any) -> str:
    counted = number(value, 0.0)
    return "" if counted is None else f"{counted:.0f}"


def _begun(begun: Any) -> str:
    fields = mapping_of(begun)
    moment = EveningClock(moment_of(fields.get("utc"))).moment(0.0)
    if moment is None:
        return "?"
    doubt = "" if fields.get("dated") in ("network", "phone") else " ?"
    return f"{moment:%Y-%m-%d %H:%M}{doubt}"
