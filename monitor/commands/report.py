"""``howl-lantern gigs`` and ``report``: what was kept of gigs, as a list, on paper, in files.

Reading goes past the watcher and never disturbs it.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, get_args

from monitor import places
from monitor.errors import LanternError, UsageError
from monitor.journal.reading import Reading, open_reading
from monitor.journal.record import Record
from monitor.output_file import check_outputs, write_whole
from monitor.placing.picture_file import write_png, write_svg
from monitor.report.list_words import NO_GIG, gig_lines
from monitor.report.page import report_html
from monitor.report.pictures import DOTS_WIDE, Drawn, gig_picture, gig_svg
from monitor.report.tables import Table, csv_text, json_text
from monitor.settings import Settings

Form = Literal["html", "svg", "png", "csv", "json"]
FORMS: tuple[Form, ...] = get_args(Form)
PARTS: tuple[str, ...] = ("timeline", "curve", "rings", "happenings")
SHOWN = 20
LEAST_OF_UID = 4
"""So many digits of a gig's name are enough to mean it, if no other begins so."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What is asked of ``report``: which gig (None: the newest), where to, and what of it."""

    gig: str | None
    output: str
    form: str | None = None
    part: str | None = None


# --- gigs -----------------------------------------------------------------------------------------


def list_gigs(settings: Settings, *, all_of_them: bool, as_json: bool) -> int:
    """Print the gigs, the newest first.

    Raises
    ------
    LanternError
        If there is no journal or it cannot be read.
    """
    with open_reading(places.kept_journal_path(settings)) as reading:
        gigs = list(_gigs(reading)) if all_of_them else reading.gigs(SHOWN)
    if as_json:
        for gig in gigs:
            print(json.dumps(gig, allow_nan=False))
        return 0
    print("\n".join(gig_lines(gigs)))
    if not all_of_them and len(gigs) == SHOWN:
        print(f"the newest {SHOWN}; --all lists every gig")
    return 0


def _gigs(reading: Reading) -> Iterator[dict[str, Any]]:
    before: str | None = None
    while page := reading.gigs(100, before):
        yield from page
        before = page[-1]["uid"]


def meant(reading: Reading, name: str) -> dict[str, Any]:
    """Return the gig, as the journal lists it, whose name begins so.

    Raises
    ------
    UsageError
        If none is, or more than one.
    """
    short = name.strip().lower()
    found = [gig for gig in _gigs(reading) if gig["uid"].startswith(short)]
    exact = [gig for gig in found if gig["uid"] == short]
    if exact or (len(found) == 1 and len(short) >= LEAST_OF_UID):
        return (exact or found)[0]
    if found:
        if len(found) == 1:
            raise UsageError(f"{name!r:.60} is too short; give at least {LEAST_OF_UID} digits")
        raise UsageError(f"{name!r:.60}: {len(found)} gigs begin so; give more digits")
    raise UsageError(f"there is no gig {name!r:.60}; howl-lantern gigs lists them")


# --- report ---------------------------------------------------------------------------------------


def report(settings: Settings, wish: Wish) -> int:
    """Write a gig's report, picture, table or record.

    Raises
    ------
    UsageError
        If the file's ending says no form, or the part is none of that form.
    LanternError
        If there is no such gig, or the file cannot be written.
    """
    form = _form_of(wish)
    part = _part_of(form, wish.part)
    if wish.output != "-":
        check_outputs({"-o": wish.output}, {"the journal": places.kept_journal_path(settings)})
    with open_reading(places.kept_journal_path(settings)) as reading:
        record = reading.record(_newest(reading) if wish.gig is None else _uid(reading, wish.gig))
        memory = _memory(reading, record) if form == "html" else None
    if wish.output == "-":
        print(_text(form, part, record, memory), end="")
    else:
        _write(Path(wish.output), form, part, record, memory)
    return 0


def _newest(reading: Reading) -> str:
    newest = reading.gigs(1)
    if not newest:
        raise LanternError(NO_GIG)
    return str(newest[0]["uid"])


def _uid(reading: Reading, name: str) -> str:
    return str(meant(reading, name)["uid"])


def _memory(reading: Reading, record: Record) -> dict[str, Any] | None:
    venue = record["gig"].get("venue")
    return reading.recollection(venue["uid"]).fields() if venue else None


def _form_of(wish: Wish) -> Form:
    if wish.form is not None:
        said = wish.form
    elif wish.output == "-":
        said = "html"
    else:
        said = Path(wish.output).suffix.lower().removeprefix(".")
    for form in FORMS:
        if said == form:
            break
    else:
        raise UsageError(
            f"{wish.output}: its ending does not say what to write; let it end with "
            ".html, .svg, .png, .csv or .json"
        )
    if form == "png" and wish.output == "-":
        raise UsageError("a PNG is not printed; name a file that ends with .png")
    return form


def _part_of(form: Form, part: str | None) -> str:
    parts = {"svg": PARTS[:2], "png": PARTS[:2], "csv": PARTS[2:]}.get(form, ())
    if part is None:
        return parts[0] if parts else ""
    if part not in parts:
        kinds = f"it is {' or '.join(parts)}" if parts else "it is always whole; leave --part out"
        raise UsageError(f"--part {part}: not a part of {form}; {kinds}")
    return part


def _text(form: Form, part: str, record: Record, memory: Mapping[str, Any] | None) -> str:
    if form == "html":
        return report_html(record, memory)
    if form == "csv":
        table: Table = "rings" if part == "rings" else "happenings"
        return csv_text(record, table)
    if form == "json":
        return json_text(record)
    return gig_svg(record, _drawn(part))


def _drawn(part: str) -> Drawn:
    return "curve" if part == "curve" else "timeline"


def _write(
    path: Path, form: Form, part: str, record: Record, memory: Mapping[str, Any] | None
) -> None:
    if form == "png":
        write_png(path, gig_picture(record, _drawn(part)), theme="day", width_px=DOTS_WIDE)
    elif form == "svg":
        write_svg(path, gig_picture(record, _drawn(part)), theme="day")
    else:
        data = _text(form, part, record, memory).encode("utf-8", "replace")
        write_whole(path, lambda beside: beside.write_bytes(data), what="the report")
