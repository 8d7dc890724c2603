"""Taking in records from elsewhere, and taking gigs and venues away.

The same gig (by uid) becomes the union of both: rings by session and number, happenings by what
they say and when.  What this box knows of it stands; what it does not know is filled in.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from typing import Any

from monitor.clock import utc_seconds
from monitor.journal.asks import Instant, content_of, content_text
from monitor.journal.boots import Boots, note_word
from monitor.journal.gathering import record_of
from monitor.journal.listing import GigRow, NotThereError, gig_row, last_doing
from monitor.journal.rows import INSERT, RingRow, to_sql

Record = Mapping[str, Any]

INSERT_RING = (
    f"{INSERT} WHERE rings.end_uptime_s IS NULL AND excluded.end_uptime_s IS NOT NULL"
    " AND rings.gig = excluded.gig"
)
"""A ring that is here stands, unless it was cut off here and its end is known there."""


class NoRoomError(ValueError):
    """What was to be taken in would push out what is kept."""


def merge(
    connection: sqlite3.Connection, records: Sequence[Record], *, keep_rings: int
) -> dict[str, int]:
    """Take in checked records, within the caller's transaction.

    Returns
    -------
    dict
        ``gigs`` and ``rings``: how many were new.

    Raises
    ------
    NoRoomError
        If there would be more than ``keep_rings`` rings: the oldest of this box would go.
    """
    rings_before, gigs_before = _count(connection, "rings"), _count(connection, "gigs")
    for record in records:
        _merge_one(connection, record)
    rings = _count(connection, "rings")
    if rings > max(keep_rings, rings_before):
        raise NoRoomError(
            f"that would make {rings} rings, and the journal keeps {keep_rings}; delete a gig, or"
            " raise [journal] keep_rings in the settings"
        )
    return {"gigs": _count(connection, "gigs") - gigs_before, "rings": rings - rings_before}


def _count(connection: sqlite3.Connection, table: str) -> int:
    (count,) = connection.execute(f"SELECT count(*) FROM {table}").fetchone()
    return int(count)


def _merge_one(connection: sqlite3.Connection, record: Record) -> None:
    gig = record["gig"]
    begun = Instant(gig["begun"]["boot"], gig["begun"]["uptime_s"])
    _note_boots(connection, record, begun)
    venue_uid = _venue(connection, gig.get("venue"))
    is_new = (
        connection.execute(
            "INSERT INTO gigs (uid, title, venue_uid, box, begun_boot_id, begun_uptime_s,"
            " rings_gone, howls_gone, thinned) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
            " ON CONFLICT (uid) DO NOTHING",
            (
                gig["uid"],
                gig.get("title"),
                venue_uid,
                gig.get("box", ""),
                begun.boot_id,
                begun.uptime_s,
                gig.get("rings_gone", 0),
                gig.get("howls_gone", 0),
                gig.get("thinned", 0),
            ),
        ).rowcount
        == 1
    )
    kept = gig_row(connection, gig["uid"])
    boots = Boots.read(connection)
    _fill_in(
        connection, kept, record, venue_uid, is_new=is_new, is_own=boots.is_own(kept.begun.boot_id)
    )
    known: set[tuple[Any, ...]] = set() if is_new else _said(record_of(connection, kept, boots))
    _insert_happenings(connection, record, kept, known, is_new=is_new)
    rings = [_row(ring, kept, begun, boots) for ring in record["rings"]]
    if kept.rings_gone and not is_new:
        # What was thinned here is counted already: a copy from before does not bring it back.
        here = set(connection.execute("SELECT session, id FROM rings WHERE gig = ?", (kept.uid,)))
        rings = [ring for ring in rings if (ring.session, ring.id) in here]
    connection.executemany(INSERT_RING, [to_sql(ring) for ring in rings])
    if is_new and "ended" not in gig:
        _end_left_on(connection, kept, boots)


def _end_left_on(connection: sqlite3.Connection, gig: GigRow, boots: Boots) -> None:
    """This box's own gig, deleted here and brought back from a copy made while it was on."""
    if boots.is_own(gig.begun.boot_id):
        last = last_doing(connection, gig, boots)
        connection.execute(
            "UPDATE gigs SET ended_boot_id = ?, ended_uptime_s = ?, ended_by = 'plug'"
            " WHERE uid = ?",
            (last.boot_id, last.uptime_s, gig.uid),
        )


def _note_boots(connection: sqlite3.Connection, record: Record, begun: Instant) -> None:
    """Boots of this box keep the dates that it knows itself."""
    boots = Boots.read(connection)
    words = [(begun, record["gig"]["begun"].get("utc"), record["gig"]["begun"]["dated"])]
    words += [
        (Instant(boot_id, 0.0), word.get("zero_utc"), word["dated"])
        for boot_id, word in record.get("boots", {}).items()
    ]
    for at, utc, dated in words:
        if not boots.is_own(at.boot_id):
            utc_s = None if utc is None else utc_seconds(utc)
            note_word(connection, at, utc_s, dated, own=False)


def _venue(connection: sqlite3.Connection, venue: Mapping[str, str] | None) -> str | None:
    """Return the uid here of a venue: the same uid or the same name is the same venue."""
    if venue is None:
        return None
    rows = connection.execute("SELECT uid, name FROM venues ORDER BY rowid").fetchall()
    same = [uid for uid, _ in rows if uid == venue["uid"]]
    same += [uid for uid, name in rows if name.casefold() == venue["name"].casefold()]
    if same:
        return str(same[0])
    connection.execute(
        "INSERT INTO venues (uid, name) VALUES (?, ?)", (venue["uid"], venue["name"])
    )
    return venue["uid"]


def _fill_in(
    connection: sqlite3.Connection,
    kept: GigRow,
    record: Record,
    venue_uid: str | None,
    *,
    is_new: bool,
    is_own: bool,
) -> None:
    gig = record["gig"]
    connection.execute(
        "UPDATE gigs SET title = coalesce(title, ?), venue_uid = coalesce(venue_uid, ?)"
        " WHERE uid = ?",
        (gig.get("title"), venue_uid, kept.uid),
    )
    # A file must not end the gig that goes on here.
    if kept.ended is None and "ended" in gig and (is_new or not is_own):
        connection.execute(
            "UPDATE gigs SET ended_boot_id = ?, ended_uptime_s = ?, ended_by = ? WHERE uid = ?",
            (gig["ended"]["boot"], gig["ended"]["uptime_s"], gig["ended_by"], kept.uid),
        )


def _said(record: Record) -> set[tuple[Any, ...]]:
    begun = record["gig"]["begun"]
    return {_key(happening, begun) for happening in record["happenings"]}


def _key(happening: Mapping[str, Any], begun: Mapping[str, Any]) -> tuple[Any, ...]:
    boot_id = happening.get("boot", begun["boot"])
    when_s = happening["uptime_s"] if "boot" in happening else happening["at_s"]
    return boot_id, round(when_s, 1), happening["kind"], content_text(content_of(happening))


def _insert_happenings(
    connection: sqlite3.Connection,
    record: Record,
    kept: GigRow,
    known: set[tuple[Any, ...]],
    *,
    is_new: bool,
) -> None:
    happenings = list(record["happenings"])
    if "equaliser" in record and all(h["kind"] != "equaliser" for h in happenings):
        happenings.insert(0, {"at_s": 0.0, "kind": "equaliser", **record["equaliser"]})
    begun = record["gig"]["begun"]
    for happening in happenings:
        key = _key(happening, begun)
        # What was thinned here is not brought back by a copy from before.
        if key in known or (kept.thinned and happening["kind"] == "level" and not is_new):
            continue
        known.add(key)
        at = _instant(happening, Instant(begun["boot"], begun["uptime_s"]))
        connection.execute(
            "INSERT INTO happenings (gig, kind, boot_id, uptime_s, content) VALUES (?, ?, ?, ?, ?)",
            (kept.uid, happening["kind"], at.boot_id, at.uptime_s, key[-1]),
        )


def _instant(one: Mapping[str, Any], begun: Instant) -> Instant:
    if "boot" in one:
        return Instant(one["boot"], one["uptime_s"])
    return Instant(begun.boot_id, begun.uptime_s + one["at_s"])


def _row(ring: Mapping[str, Any], kept: GigRow, begun: Instant, boots: Boots) -> RingRow:
    at = _instant(ring, begun)
    lasted_s = ring.get("lasted_s")
    return RingRow(
        session=ring["session"],
        id=ring["id"],
        boot_id=at.boot_id,
        degree=ring["degree"],
        way=ring["way"],
        frequency_hz=ring["frequency_hz"],
        band=ring["band"],
        slider=ring["slider"],
        level_dbfs=ring["level_dbfs"],
        growth_db_per_s=ring["growth_db_per_s"],
        start_uptime_s=at.uptime_s,
        end_uptime_s=None if lasted_s is None else at.uptime_s + lasted_s,
        utc=boots.utc_s(at) or 0.0,
        clock_trusted=boots.dated(at.boot_id) != "believed",
        gig=kept.uid,
    )


def name_gig(connection: sqlite3.Connection, uid: str, title: str) -> dict[str, str]:
    """Give a gig another title, within the caller's transaction."""
    gig_row(connection, uid)
    connection.execute("UPDATE gigs SET title = ? WHERE uid = ?", (title, uid))
    return {"gig": uid}


def delete_gig(connection: sqlite3.Connection, uid: str) -> dict[str, int]:
    """Take a gig away with all that is kept of it, within the caller's transaction."""
    gig_row(connection, uid)
    rings = connection.execute("DELETE FROM rings WHERE gig = ?", (uid,)).rowcount
    connection.execute("DELETE FROM happenings WHERE gig = ?", (uid,))
    connection.execute("DELETE FROM gigs WHERE uid = ?", (uid,))
    return {"rings": rings}


def delete_venue(connection: sqlite3.Connection, uid: str) -> dict[str, int]:
    """Take a venue away; its gigs stay, without one."""
    if not connection.execute("DELETE FROM venues WHERE uid = ?", (uid,)).rowcount:
        raise NotThereError(f"no venue {uid!r} is kept; look at the list of venues for its name")
    gigs = connection.execute(
        "UPDATE gigs SET venue_uid = NULL WHERE venue_uid = ?", (uid,)
    ).rowcount
    return {"gigs": gigs}
