"""Everything of a gig as CSV and JSON, for other programs.

CSV by RFC 4180: a header, commas, quotes doubled, lines ended by CR LF; units in the names.  A
text that a spreadsheet would take for a formula gets an apostrophe before it (the usual remedy;
from memory, no source), after a semicolon too: where a decimal is written with a comma, cells are
parted there.  Numbers are left as they are.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from typing import Any, Literal

from monitor.report.evening import Record, evening_of
from monitor.report.words import EveningClock, each_of, mapping_of, number

Table = Literal["rings", "happenings"]

RING_COLUMNS = (
    "gig", "session", "id", "at_s", "at_utc", "lasted_s", "degree", "way", "frequency_hz", "band",
    "slider", "level_dbfs", "growth_db_per_s",
)  # fmt: skip
HAPPENING_COLUMNS = ("gig", "at_s", "at_utc", "kind", "content")
_FORMULA = "=+-@\t\r\n＝＋－＠"
"""What begins a formula, in full width too."""


def csv_text(record: Record, what: Table) -> str:
    """Return a gig's rings or happenings as CSV.

    ``at_s`` counts from the gig's beginning; ``at_utc`` is empty where nobody had told the box
    the time.  A happening's ``content`` is JSON.

    Raises
    ------
    ValueError
        If ``what`` is no table.
    """
    if what not in ("rings", "happenings"):
        raise ValueError(f"there is no table {what!r}; it is rings or happenings")
    columns = RING_COLUMNS if what == "rings" else HAPPENING_COLUMNS
    found = io.StringIO()
    write = csv.writer(found, lineterminator="\r\n")
    write.writerow(columns)
    gig = mapping_of(record.get("gig"))
    clock = evening_of(record).clock(None)
    for one in each_of(record.get(what)):
        values = {**one, "gig": gig.get("uid"), "at_utc": _utc(clock, one.get("at_s"))}
        if what == "happenings":
            content = {k: v for k, v in one.items() if k not in ("at_s", "kind")}
            values["content"] = _compact(content)
        write.writerow(_cell(values.get(column)) for column in columns)
    return found.getvalue()


def json_text(record: Record) -> str:
    """Return the whole record as JSON, as ``howl-lantern merge`` takes it in."""
    return json.dumps(record, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def _utc(clock: EveningClock, at_s: Any) -> str:
    seconds = number(at_s)
    return "" if seconds is None else clock.utc_text(seconds)


def _compact(content: Mapping[str, Any]) -> str:
    """Return JSON in which no semicolon begins a cell; it reads back as it was."""
    said = json.dumps(content, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    return said.replace(";", r"\u003b")


def _cell(value: Any) -> str:
    """Return what stands in a cell; a text is made harmless, a number never changed."""
    if value is None or isinstance(value, bool):
        return "" if value is None else str(value).lower()
    if isinstance(value, int | float):
        return f"{value}" if number(value, -1e300, 1e300) is not None else ""
    said = value if isinstance(value, str) else _compact({"value": value})
    # What no file in UTF-8 can hold, and signs that end a line for some programs.
    said = said.encode("utf-8", "replace").decode().replace("\0", " ")
    return ";".join(f"'{part}" if _is_formula(part) else part for part in said.split(";"))


def _is_formula(text: str) -> bool:
    begins = {text[:1], text.lstrip()[:1]} - {""}
    return any(sign in _FORMULA for sign in begins)
