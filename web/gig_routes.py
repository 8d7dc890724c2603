"""What is kept of gigs and venues: lists, records in all forms, bringing in and what it teaches.

Records are read one at a time, since they are long and the box is small; whoever would have to
wait is told when to ask again.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Flask, Response, request

from monitor.link.client import LinkClient
from monitor.link.messages import LinkError
from monitor.uids import UID
from web.answers import (
    API,
    ON_DISK_S,
    JsonAnswer,
    asked,
    line,
    put_off,
    refused_with,
    told,
    whole_number,
)
from web.gate import changing
from web.gig_forms import FORMS, LOOKS, UTC_OFFSETS_MIN, Wish, zone_of
from web.guard import MOST_BODY_BYTES
from web.records import Busy, NoRecord, Record, Records

MOST_GIGS = 100
MEMORY_S = 5.0
"""For hundreds of gigs on a slow processor; a report is drawn after it, within the page's ten."""
NOT_REMEMBERED = (
    "what earlier evenings say is not in this: the memory did not answer; ask again in a moment"
)
WIDTHS = ("wide", "narrow")


def add_gig_routes(app: Flask, client: LinkClient) -> None:
    """Add ``gigs``, ``venues``, ``recollection`` and ``import``."""
    _add_lists(app, client)
    _add_records(app, client)

    @changing(app, "/import", longest_bytes=MOST_BODY_BYTES)
    def bring_in(body: dict[str, Any]) -> JsonAnswer:
        return asked(client, {**body, "class": "import"}, timeout_s=ON_DISK_S)


def _add_lists(app: Flask, client: LinkClient) -> None:
    @app.get(f"{API}/gigs")
    def gigs() -> JsonAnswer:
        limit, problem = whole_number("limit", 20, 1, MOST_GIGS)
        if problem is not None:
            return problem
        command: dict[str, Any] = {"class": "gigs", "limit": limit}
        if "before" in request.args:
            command["before"] = request.args["before"]
        return told(client, command, timeout_s=ON_DISK_S)

    @app.get(f"{API}/venues")
    def venues() -> JsonAnswer:
        return told(client, {"class": "venues"}, timeout_s=ON_DISK_S)

    @app.get(f"{API}/recollection")
    def recollection() -> JsonAnswer:
        asks = {key: request.args[key] for key in ("venue", "but") if key in request.args}
        command = {"class": "recollection", **asks}
        return told(client, command, timeout_s=ON_DISK_S)


def _add_records(app: Flask, client: LinkClient) -> None:
    records = Records(client)

    @app.errorhandler(Busy)
    def busy(error: Busy) -> JsonAnswer:
        return put_off(str(error), 2)

    @app.errorhandler(NoRecord)
    def none(error: NoRecord) -> JsonAnswer:
        return line(str(error), 404)

    @app.get(f"{API}/gigs/<uid>")
    def record(uid: str) -> Response | JsonAnswer:
        return _record(uid, is_download=False)

    @app.get(f"{API}/gigs/<uid>/record.json")
    def record_file(uid: str) -> Response | JsonAnswer:
        return _record(uid, is_download=True)

    @app.get(f"{API}/gigs/<uid>/<any({','.join(map(repr, FORMS))}):name>")
    def form(uid: str, name: str) -> Response | JsonAnswer:
        if not UID.fullmatch(uid):
            return _no_gig(uid)
        wish, problem = _wish()
        if problem is not None:
            return problem
        try:
            with records:
                found = records.read(uid)
            wants_memory = FORMS[name].wants_memory
            memory = _memory_of(client, found.fields, wish.but) if wants_memory else None
            with records:  # drawing as well: it needs memory, and the processor for a second
                response = _drawn(found, memory, name, wish)
        except LinkError as error:
            return refused_with(error)
        return _as_file(response, uid, name) if FORMS[name].is_download else response

    def _record(uid: str, *, is_download: bool) -> Response | JsonAnswer:
        if not UID.fullmatch(uid):
            return _no_gig(uid)
        try:
            with records:
                found = records.read(uid)
        except LinkError as error:
            return refused_with(error)
        response = Response(found.text, mimetype="application/json")
        return _as_file(response, uid, "record.json") if is_download else response


def _wish() -> tuple[Wish, JsonAnswer | None]:
    """What is asked for after the address, or the answer that refuses it."""
    look, width = request.args.get("look", "day"), request.args.get("width", "wide")
    if look not in LOOKS or width not in WIDTHS:
        said = f"look must be one of {', '.join(LOOKS)}, width wide or narrow"
        return Wish(), line(said, 400)
    but = request.args.get("but")
    if but is not None and not UID.fullmatch(but):
        return Wish(), line(f"but must be a gig's 16 hexadecimal digits, not {but[:40]!r}", 400)
    offset_min, problem = whole_number("utc_offset_min", 0, *UTC_OFFSETS_MIN)
    zone = zone_of(offset_min) if "utc_offset_min" in request.args else None
    return Wish(look, width == "narrow", zone, but), problem


def _no_gig(uid: str) -> JsonAnswer:
    return line(f"a gig has 16 hexadecimal digits, not {uid[:40]!r}; ask {API}/gigs for them", 404)


def _drawn(record: Record, memory: Mapping[str, Any] | None, name: str, wish: Wish) -> Response:
    form = FORMS[name]
    response = Response(form.make(record.fields, memory, wish), mimetype=form.mimetype)
    if form.mimetype == "text/html":
        from monitor.report.page_style import POLICY

        # What a page cannot forbid in itself (Content Security Policy Level 3, 6.4.2).
        response.headers["Content-Security-Policy"] = f"{POLICY}; frame-ancestors 'none'"
    return response


def _as_file(response: Response, uid: str, name: str) -> Response:
    # The uid is checked before it comes here; the name is one of ours.
    response.headers["Content-Disposition"] = f'attachment; filename="gig-{uid}-{name}"'
    return response


def _memory_of(
    client: LinkClient, record: Mapping[str, Any], but: str | None
) -> dict[str, Any] | None:
    """What is remembered of the record's venue, without the gig ``but``; a report stands without
    it, and says so."""
    gig = record.get("gig")
    venue = gig.get("venue") if isinstance(gig, Mapping) else None
    uid = venue.get("uid") if isinstance(venue, Mapping) else None
    if not isinstance(uid, str):
        return None
    try:
        asks = {"venue": uid} if but is None else {"venue": uid, "but": but}
        answer = client.request({"class": "recollection", **asks}, MEMORY_S)
    except LinkError:
        answer = {}
    return answer if answer.get("class") == "recollection" else {"words": [NOT_REMEMBERED]}
