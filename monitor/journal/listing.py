"""Lists out of the tables: gigs, venues, rings, and how the newest gig stands."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass, replace
from typing import Any

from monitor.clock import Now, utc_text
from monitor.journal.asks import GigStanding, Instant
from monitor.journal.boots import Boots
from monitor.journal.rows import COLUMNS, RingRow, from_sql

GIG_COLUMNS = (
    "g.uid, g.title, g.venue_uid, v.name, g.box, g.begun_boot_id, g.begun_uptime_s,"
    " g.ended_boot_id, g.ended_uptime_s, g.ended_by, g.rings_gone, g.howls_gone, g.thinned"
)
GIGS = f"SELECT {GIG_COLUMNS} FROM gigs g LEFT JOIN venues v ON v.uid = g.venue_uid"


class NotThereError(ValueError):
    """Nothing of that name is in the journal."""


@dataclass(frozen=True, slots=True)
class GigRow:
    """A gig as it stands in its table, with its venue's name."""

    uid: str
    title: str | None
    venue_uid: str | None
    venue_name: str | None
    box: str
    begun: Instant
    ended: Instant | None
    ended_by: Any
    rings_gone: int
    howls_gone: int
    thinned: int

    @classmethod
    def of(cls, values: tuple[Any, ...]) -> GigRow:
        """Return the gig that ``SELECT GIG_COLUMNS`` gave."""
        uid, title, venue_uid, venue_name, box, *instants, ended_by, rings, howls, thinned = values
        if venue_name is None:
            venue_uid = None  # taken away, or never came: as if nobody had said one
        begun, ended = (
            Instant(*instants[:2]),
            None if instants[2] is None else Instant(*instants[2:]),
        )
        return cls(
            uid, title, venue_uid, venue_name, box, begun, ended, ended_by, rings, howls, thinned
        )

    def venue(self) -> dict[str, str] | None:
        """Return the venue as it is told, None if nobody said one."""
        if self.venue_uid is None or self.venue_name is None:
            return None
        return {"uid": self.venue_uid, "name": self.venue_name}


def gig_row(connection: sqlite3.Connection, uid: str) -> GigRow:
    """Return one gig.

    Raises
    ------
    NotThereError
        If there is none of that name.
    """
    values = connection.execute(f"{GIGS} WHERE g.uid = ?", (uid,)).fetchone()
    if values is None:
        raise NotThereError(f"no gig {uid!r} is kept; look at the list of gigs for its name")
    return GigRow.of(values)


def gigs_in_order(connection: sqlite3.Connection, boots: Boots) -> list[GigRow]:
    """Return all gigs, the oldest first."""
    gigs = [GigRow.of(values) for values in connection.execute(f"{GIGS} ORDER BY g.rowid")]
    return [gigs[i] for i in boots.order([gig.begun for gig in gigs])]


def list_gigs(connection: sqlite3.Connection, limit: int, before: str | None) -> list[Any]:
    """Return the answer to ``ListGigs``."""
    boots = Boots.read(connection)
    gigs = gigs_in_order(connection, boots)[::-1]
    # Only the newest can be on: an earlier one without an end was left on by a pulled plug.
    newest_own = next((gig.uid for gig in gigs if boots.is_own(gig.begun.boot_id)), None)
    if before is not None:
        uids = [gig.uid for gig in gigs]
        if before not in uids:
            raise NotThereError(f"no gig {before!r} is kept; begin with the newest again")
        gigs = gigs[uids.index(before) + 1 :]
    return [
        {
            **_gig_line(connection, gig, boots),
            "on": gig.ended is None and gig.uid == newest_own,
        }
        for gig in gigs[:limit]
    ]


def _gig_line(connection: sqlite3.Connection, gig: GigRow, boots: Boots) -> dict[str, Any]:
    rings, howls = connection.execute(
        "SELECT count(*), coalesce(sum(degree = 'howl'), 0) FROM rings WHERE gig = ?", (gig.uid,)
    ).fetchone()
    return without_none(
        {
            "uid": gig.uid,
            "title": gig.title,
            "venue": gig.venue(),
            "begun": moment(gig.begun, boots),
            "lasted_s": lasted_s(gig, boots),
            "ring_count": rings + gig.rings_gone,
            "howl_count": howls + gig.howls_gone,
        }
    )


def lasted_s(gig: GigRow, boots: Boots) -> float | None:
    """Return how long a gig went on; None while it does, or where no clock can tell."""
    found_s = None if gig.ended is None else boots.between_s(gig.begun, gig.ended)
    return None if found_s is None else round(max(0.0, found_s), 2)


def moment(at: Instant, boots: Boots) -> dict[str, Any]:
    """Return ``{utc?, dated}`` of an instant."""
    dated = {"utc": utc_text(boots.utc_s(at)), "dated": boots.dated(at.boot_id)}
    return without_none(dated)


def without_none(fields: dict[str, Any]) -> dict[str, Any]:
    """Return what is known of it."""
    return {key: value for key, value in fields.items() if value is not None}


def list_venues(connection: sqlite3.Connection) -> list[Any]:
    """Return the answer to ``ListVenues``."""
    boots = Boots.read(connection)
    found: dict[str, dict[str, Any]] = {}
    for gig in reversed(gigs_in_order(connection, boots)):
        if gig.venue_uid is None:
            continue
        line = found.get(gig.venue_uid)
        if line is None:
            latest = moment(gig.begun, boots)
            line = {**(gig.venue() or {}), "gig_count": 0, "dated": latest["dated"]}
            if "utc" in latest:
                line["last_utc"] = latest["utc"]
            found[gig.venue_uid] = line
        line["gig_count"] += 1
    for uid, name in connection.execute("SELECT uid, name FROM venues ORDER BY rowid DESC"):
        found.setdefault(uid, {"uid": uid, "name": name, "gig_count": 0})
    return list(found.values())


def newest_gig(connection: sqlite3.Connection, now: Now, but: str | None) -> GigStanding | None:
    """Return the answer to ``NewestGig``."""
    boots = Boots.read(connection, now)
    own = [
        gig
        for gig in gigs_in_order(connection, boots)
        if boots.is_own(gig.begun.boot_id) and gig.uid != but
    ]
    if not own:
        return None
    gig, at = own[-1], Instant(now.boot_id, now.uptime_s)
    last = last_doing(connection, gig, boots)
    (ring_count,) = connection.execute(
        "SELECT count(*) FROM rings WHERE gig = ?", (gig.uid,)
    ).fetchone()
    (song,) = connection.execute(
        "SELECT max(json_extract(content, '$.n')) FROM happenings WHERE gig = ? AND kind = 'song'",
        (gig.uid,),
    ).fetchone()
    return GigStanding(
        uid=gig.uid,
        title=gig.title,
        venue_uid=gig.venue_uid,
        venue_name=gig.venue_name,
        begun=gig.begun,
        begun_age_s=boots.between_s(gig.begun, at),
        ended=gig.ended,
        ended_by=gig.ended_by,
        last=last,
        last_age_s=boots.between_s(last, at),
        ring_count=ring_count + gig.rings_gone,
        song=song,
        stood=_stood(connection, gig),
    )


def _stood(connection: sqlite3.Connection, gig: GigRow) -> dict[str, dict[str, Any]]:
    """Return the newest content of each kind that tells how things stand, the latest last."""
    rows = connection.execute(
        "SELECT kind, content, max(key) FROM happenings"
        " WHERE gig = ? AND kind IN ('equaliser', 'way', 'pull', 'deaf', 'hears')"
        " GROUP BY kind ORDER BY max(key)",
        (gig.uid,),
    )
    return {kind: json.loads(content) for kind, content, _ in rows}


def last_doing(connection: sqlite3.Connection, gig: GigRow, boots: Boots) -> Instant:
    """Return when the latest ring of a gig ended, or its latest happening was."""
    rows = connection.execute(
        "SELECT boot_id, max(coalesce(end_uptime_s, start_uptime_s)) FROM rings WHERE gig = ?1"
        " GROUP BY boot_id UNION ALL"
        " SELECT boot_id, max(uptime_s) FROM happenings WHERE gig = ?1 GROUP BY boot_id",
        (gig.uid,),
    ).fetchall()
    instants = [gig.begun, *(Instant(*values) for values in rows)]
    return max(instants, key=lambda at: (boots.seq(at.boot_id), at.uptime_s))


def read_rings(connection: sqlite3.Connection, limit: int, gig: str | None = None) -> list[RingRow]:
    """Return the newest rings, of one gig or of all, newest first, dated as well as is known."""
    where = "" if gig is None else "WHERE gig = ? "
    found = connection.execute(
        f"SELECT {COLUMNS} FROM rings {where}ORDER BY key DESC LIMIT ?",
        (limit,) if gig is None else (gig, limit),
    )
    boots = Boots.read(connection)
    return [_dated(from_sql(values), boots) for values in found]


def _dated(row: RingRow, boots: Boots) -> RingRow:
    utc_s = boots.utc_s(Instant(row.boot_id, row.start_uptime_s))
    if utc_s is None:
        return row
    return replace(row, utc=utc_s, clock_trusted=boots.dated(row.boot_id) != "believed")
