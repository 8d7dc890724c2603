"""How what the journal is told gets into the tables."""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Iterable

from monitor.clock import Now
from monitor.journal.asks import ClockWord, GigChange, GigJoin, Happening, Instant, VenueChange
from monitor.journal.boots import note_word
from monitor.journal.rows import UPSERT, RingRow, to_sql

LOG = logging.getLogger(__name__)

Change = RingRow | GigChange | GigJoin | VenueChange | Happening | ClockWord
_VALUE_S_FAULT = (
    sqlite3.IntegrityError,
    sqlite3.ProgrammingError,
    sqlite3.InterfaceError,
    sqlite3.DataError,
)
"""Errors that come from a value and not from the disk: trying again would fail for ever."""


def note_now(connection: sqlite3.Connection, now: Now) -> None:
    """Keep that the machine is in this boot, and what it takes for the date."""
    source = "network" if now.clock_trusted else "believed"
    note_word(connection, Instant(now.boot_id, now.uptime_s), now.utc_s, source, own=True)


def write_all(
    connection: sqlite3.Connection, changes: Iterable[Change], *, now: Now, box: str
) -> dict[int, str]:
    """Write changes in their order, within the caller's transaction.

    Returns
    -------
    dict of int to str
        Why what cannot be kept whatever the disk does cannot, by the change's ``id()``; the
        others are written all the same.

    Raises
    ------
    sqlite3.Error
        If the disk does not let it; the caller rolls back.
    """
    refused: dict[int, str] = {}
    note_now(connection, now)
    for change in changes:
        try:
            _write(connection, change, now=now, box=box)
        except Exception as error:  # nothing that it is told may end the journal
            if isinstance(error, sqlite3.Error) and not isinstance(error, _VALUE_S_FAULT):
                raise
            what = type(change).__name__
            refused[id(change)] = f"the journal cannot keep this {what}: {error}"
            LOG.error("%s", refused[id(change)])
    return refused


def _write(connection: sqlite3.Connection, change: Change, *, now: Now, box: str) -> None:
    match change:
        case RingRow():
            if change.boot_id != now.boot_id:
                source = "network" if change.clock_trusted else "believed"
                at = Instant(change.boot_id, change.start_uptime_s)
                note_word(connection, at, change.utc, source, own=True)
            connection.execute(UPSERT, to_sql(change))
        case Happening():
            _note_boot(connection, Instant(change.boot_id, change.uptime_s), now)
            connection.execute(
                "INSERT INTO happenings (gig, kind, boot_id, uptime_s, content)"
                " VALUES (?, ?, ?, ?, ?)",
                (change.gig, change.kind, change.boot_id, change.uptime_s, change.text()),
            )
        case GigChange():
            _change_gig(connection, change, now=now, box=box)
        case GigJoin():
            _join(connection, change)
        case VenueChange():
            connection.execute(
                "INSERT INTO venues (uid, name) VALUES (?, ?)"
                " ON CONFLICT (uid) DO UPDATE SET name = excluded.name",
                (change.uid, change.name),
            )
        case ClockWord():
            at = Instant(change.boot_id, change.uptime_s)
            note_word(connection, at, change.utc_s, change.source, own=True)
        case _:
            raise TypeError("not one of the changes it knows")


def _note_boot(connection: sqlite3.Connection, at: Instant, now: Now) -> None:
    """A boot that is not this one and of which nobody told a date: only that it was."""
    if at.boot_id != now.boot_id:
        note_word(connection, at, None, "believed", own=True)


def _change_gig(connection: sqlite3.Connection, change: GigChange, *, now: Now, box: str) -> None:
    if change.begun is not None:
        _note_boot(connection, change.begun, now)
        connection.execute(
            "INSERT INTO gigs (uid, box, begun_boot_id, begun_uptime_s) VALUES (?, ?, ?, ?)"
            " ON CONFLICT (uid) DO NOTHING",
            (change.uid, box, change.begun.boot_id, change.begun.uptime_s),
        )
    so: dict[str, object] = {}
    if change.goes_on:
        so |= {"ended_boot_id": None, "ended_uptime_s": None, "ended_by": None}
    if change.ended is not None:
        _note_boot(connection, change.ended, now)
        so |= {
            "ended_boot_id": change.ended.boot_id,
            "ended_uptime_s": change.ended.uptime_s,
            "ended_by": change.ended_by,
        }
    if change.venue_uid is not None:
        so["venue_uid"] = change.venue_uid or None
    if change.title is not None:
        so["title"] = change.title or None
    if so:
        columns = ", ".join(f"{column} = ?" for column in so)
        connection.execute(f"UPDATE gigs SET {columns} WHERE uid = ?", (*so.values(), change.uid))


def _join(connection: sqlite3.Connection, change: GigJoin) -> None:
    if not connection.execute("SELECT 1 FROM gigs WHERE uid = ?", (change.into,)).fetchone():
        raise ValueError(f"no gig {change.into!r} is kept to put another into")
    for table in ("rings", "happenings"):
        connection.execute(f"UPDATE {table} SET gig = ? WHERE gig = ?", (change.into, change.uid))
    connection.execute("DELETE FROM gigs WHERE uid = ?", (change.uid,))
