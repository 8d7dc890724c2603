"""A gig's record out of the tables: everything that is kept of it, as one JSON value.

The shape is described in ``monitor.journal.record``.
"""

from __future__ import annotations

import json
import sqlite3
from typing import Any

from monitor.clock import utc_text
from monitor.journal.asks import Instant, content_of
from monitor.journal.boots import Boots
from monitor.journal.listing import GigRow, gig_row, lasted_s, moment, without_none
from monitor.journal.rows import COLUMNS, RingRow, from_sql, what_rang
from monitor.journal.timeline import Timeline

RECORD_VERSION = 1


def get_record(connection: sqlite3.Connection, uid: str) -> dict[str, Any]:
    """Return the record of one gig.

    Raises
    ------
    NotThereError
        If there is no such gig.
    """
    return record_of(connection, gig_row(connection, uid), Boots.read(connection))


def record_of(
    connection: sqlite3.Connection, gig: GigRow, boots: Boots, *, with_levels: bool = True
) -> dict[str, Any]:
    """Return the record of a gig that was read before, to read boots once for many.

    Without ``with_levels`` a minute's level only says when it was: most of a record is levels.
    """
    rings = [
        from_sql(values)
        for values in connection.execute(
            f"SELECT {COLUMNS} FROM rings WHERE gig = ? ORDER BY key", (gig.uid,)
        )
    ]
    rows = connection.execute(
        "SELECT boot_id, uptime_s, kind, iif(kind = 'level' AND NOT ?, '{}', content)"
        " FROM happenings WHERE gig = ? ORDER BY key",
        (with_levels, gig.uid),
    ).fetchall()
    instants = [Instant(row.boot_id, row.end_uptime_s or row.start_uptime_s) for row in rings]
    instants += [Instant(boot_id, uptime_s) for boot_id, uptime_s, _, _ in rows]
    if gig.ended is not None:
        instants.append(gig.ended)
    line = Timeline(gig.begun, instants, boots)
    happenings = [
        {
            **_at(Instant(boot_id, uptime_s), gig, line),
            "kind": kind,
            **json.loads(content),
        }
        for boot_id, uptime_s, kind, content in rows
    ]
    happenings.sort(key=lambda happening: happening["at_s"])
    equalisers = [h for h in happenings if h["kind"] == "equaliser"]
    record = {
        "record": RECORD_VERSION,
        "gig": _gig_fields(gig, boots, line),
        "rings": sorted((_ring_fields(row, gig, line) for row in rings), key=lambda r: r["at_s"]),
        "happenings": happenings,
        "equaliser": content_of(equalisers[-1]) if equalisers else None,
        "boots": _other_boots(line, boots) or None,
    }
    return without_none(record)


def _gig_fields(gig: GigRow, boots: Boots, line: Timeline) -> dict[str, Any]:
    return without_none(
        {
            "uid": gig.uid,
            "title": gig.title,
            "venue": gig.venue(),
            "begun": _begun(gig.begun, boots),
            "ended": None if gig.ended is None else _begun(gig.ended, boots),
            "ended_by": gig.ended_by,
            "lasted_s": lasted_s(gig, boots),
            "box": gig.box or None,
            "in_doubt": line.in_doubt or None,
            "rings_gone": gig.rings_gone or None,
            "howls_gone": gig.howls_gone or None,
            "thinned": gig.thinned or None,
        }
    )


def _begun(at: Instant, boots: Boots) -> dict[str, Any]:
    return {**moment(at, boots), "boot": at.boot_id, "uptime_s": round(at.uptime_s, 2)}


def _at(at: Instant, gig: GigRow, line: Timeline) -> dict[str, Any]:
    """When it was; the boot only where it is not the one in which the gig began."""
    fields: dict[str, Any] = {"at_s": round(line.at_s(at), 2)}
    if at.boot_id != gig.begun.boot_id:
        fields |= {"boot": at.boot_id, "uptime_s": round(at.uptime_s, 2)}
    return fields


def _ring_fields(row: RingRow, gig: GigRow, line: Timeline) -> dict[str, Any]:
    at = Instant(row.boot_id, row.start_uptime_s)
    return without_none(
        {"id": row.id, "session": row.session, **_at(at, gig, line), **what_rang(row)}
    )


def _other_boots(line: Timeline, boots: Boots) -> dict[str, Any]:
    return {
        boot_id: without_none(
            {
                "zero_utc": utc_text(boots.utc_s(Instant(boot_id, 0.0))),
                "dated": boots.dated(boot_id),
            }
        )
        for boot_id in line.boots[1:]
    }
