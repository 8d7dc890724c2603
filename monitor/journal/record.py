"""The record: everything kept of one gig as one JSON value, and the gate for one from elsewhere.

``{"record": 1, "gig": {...}, "rings": [...], "happenings": [...], "equaliser"?, "boots"?}``,
made by ``monitor.journal.gathering``.

Conventions
-----------
``at_s`` counts seconds since the gig began; what came after a restart of the machine also says in
which ``boot`` and how many seconds into it, and ``boots`` says how these are dated.  What is not
known is absent.  A happening is ``at_s``, ``kind`` and its content side by side.
"""

from __future__ import annotations

import re
from typing import Any, get_args

from monitor.clock import utc_seconds
from monitor.journal.asks import MOST_CONTENT_CHARS, EndedBy, content_text
from monitor.journal.boots import RANK
from monitor.journal.gathering import RECORD_VERSION
from monitor.journal.record_content import check_content
from monitor.journal.record_values import RecordError, Values
from monitor.link.messages import strict_json

Record = dict[str, Any]

MOST_RECORDS = 500
MOST_RINGS = 20_000
MOST_HAPPENINGS = 20_000
MOST_AT_S = 30 * 86_400.0
"""A gig of a month is no gig."""
_UID = re.compile(r"[0-9a-z]{1,32}")


def read_records(text: str) -> list[Record]:
    """Return the records in a text: one, or a list of them, every one checked.

    Raises
    ------
    RecordError
        If it is anything else: one line, with the place.
    """
    try:
        found = strict_json(text)
    except (ValueError, RecursionError) as error:
        raise RecordError(
            f"this is no JSON ({error}); export a gig as JSON on the other box and take that file"
        ) from None
    several = found if isinstance(found, list) else [found]
    if not 1 <= len(several) <= MOST_RECORDS:
        raise RecordError(f"{len(several)} records; from 1 to {MOST_RECORDS} can be taken at once")
    return [check_record(one) for one in several]


def check_record(found: Any) -> Record:
    """Return the record with nothing in it but what is known and allowed.

    Raises
    ------
    RecordError
        If it is no record: one line, with the place, what is wrong and what was expected.
    """
    whole = Values(found, "record")
    version = whole.given("record")
    if isinstance(version, int) and not isinstance(version, bool) and version > RECORD_VERSION:
        raise RecordError(
            f"this record is of a newer release (version {version}, this one knows "
            f"{RECORD_VERSION}); update Howl Lantern"
        )
    if version != RECORD_VERSION or isinstance(version, bool):
        raise whole.wrong("record", version, f"the number {RECORD_VERSION}")
    record: Record = {"record": RECORD_VERSION, "gig": _gig(Values(whole.given("gig"), "gig"))}
    boots = whole.mapping("boots", most=50)
    if boots is not None:
        record["boots"] = {_boot_name(b): _dated(Values(v, "boots")) for b, v in boots.items()}
    known = {record["gig"]["begun"]["boot"], *record.get("boots", {})}
    if record["gig"].get("ended", record["gig"]["begun"])["boot"] not in known:
        raise RecordError("gig.ended.boot: not the boot in which the gig began, nor of its 'boots'")
    record["rings"] = [
        _ring(Values(ring, f"rings[{n}]"), known)
        for n, ring in enumerate(whole.sequence("rings", most=MOST_RINGS))
    ]
    record["happenings"] = [
        _happening(Values(one, f"happenings[{n}]"), known)
        for n, one in enumerate(whole.sequence("happenings", most=MOST_HAPPENINGS))
    ]
    equaliser = whole.mapping("equaliser", most=50)
    if equaliser is not None:
        record["equaliser"] = check_content("equaliser", Values(equaliser, "equaliser"))
    return record


def _gig(gig: Values) -> Record:
    checked: Record = {"uid": _uid(gig), "begun": _begun(Values(gig.given("begun"), "gig.begun"))}
    gig.copy_text(checked, "title", most=60)
    venue = gig.mapping("venue", most=10)
    if venue is not None:
        where = Values(venue, "gig.venue")
        checked["venue"] = {"uid": _uid(where), "name": where.text("name", most=60)}
    if gig.has("ended"):
        checked["ended"] = _begun(Values(gig.given("ended"), "gig.ended"))
        checked["ended_by"] = gig.choice("ended_by", get_args(EndedBy))
    gig.copy_text(checked, "box", most=60)
    gig.copy_number(checked, "lasted_s", 0.0, MOST_AT_S)
    if gig.has("in_doubt"):
        checked["in_doubt"] = gig.flag("in_doubt")
    for key, most in (("rings_gone", 10**9), ("howls_gone", 10**9), ("thinned", 2)):
        if gig.has(key):
            checked[key] = gig.whole(key, 0, most)
    return checked


def _uid(values: Values) -> str:
    uid = values.text("uid", most=32)
    if not _UID.fullmatch(uid):
        raise values.wrong("uid", uid, "up to 32 digits and small letters")
    return uid


def _begun(at: Values) -> Record:
    checked: Record = {
        **_dated(at),
        "boot": _boot_name(at.given("boot")),
        "uptime_s": at.number("uptime_s", 0.0, 1e10),
    }
    return checked


def _dated(at: Values) -> Record:
    checked: Record = {"dated": at.choice("dated", tuple(RANK))}
    for key in ("utc", "zero_utc"):
        if at.has(key):
            text = at.text(key, most=20)
            if utc_seconds(text) is None:
                raise at.wrong(key, text, "a date such as 2031-05-17T20:15:00Z")
            checked[key] = text
    return checked


def _boot_name(found: Any) -> str:
    if not isinstance(found, str) or not 1 <= len(found) <= 64 or not found.isprintable():
        raise RecordError(f"boot: {found!r:.60}; expected the name of a boot, 1 to 64 characters")
    return found


def _at(one: Values, boots: set[str]) -> Record:
    checked: Record = {"at_s": one.number("at_s", 0.0, MOST_AT_S)}
    if one.has("boot"):
        boot = _boot_name(one.given("boot"))
        if boot not in boots:
            raise one.wrong("boot", boot, "the boot in which the gig began, or one of its 'boots'")
        checked |= {"boot": boot, "uptime_s": one.number("uptime_s", 0.0, 1e10)}
    return checked


def _ring(ring: Values, boots: set[str]) -> Record:
    checked: Record = {
        "id": ring.whole("id", 0, 2**53),
        "session": ring.text("session", most=64),
        **_at(ring, boots),
    }
    ring.copy_number(checked, "lasted_s", 0.0, MOST_AT_S)
    return {
        **checked,
        "degree": ring.choice("degree", ("ringing", "howl")),
        "way": ring.choice("way", ("soundcheck", "set")),
        "frequency_hz": ring.number("frequency_hz", 10.0, 30_000.0),
        "band": ring.text("band", most=16),
        "slider": ring.text("slider", most=32),
        "level_dbfs": ring.number("level_dbfs", -300.0, 60.0),
        "growth_db_per_s": ring.number("growth_db_per_s", -1e6, 1e6),
    }


def _happening(one: Values, boots: set[str]) -> Record:
    when = _at(one, boots)
    kind = one.given("kind")
    content = check_content(kind, one)
    if len(content_text(content)) > MOST_CONTENT_CHARS:
        raise one.wrong("kind", kind, f"at most {MOST_CONTENT_CHARS} characters of content")
    return {**when, "kind": kind, **content}
