"""The journal's tables and rows.

Conventions
-----------
Times ending in ``_uptime_s`` are seconds of ``CLOCK_BOOTTIME`` of the boot ``boot_id``; ``utc``
is the date as the box believed it when the ring began, in seconds since 1970, and
``clock_trusted`` says whether it had been set from the network by then.
"""

from __future__ import annotations

import sqlite3
from dataclasses import astuple, dataclass, fields
from datetime import UTC, datetime
from typing import Any

MIGRATIONS: tuple[str, ...] = (
    """
    CREATE TABLE rings (
        key INTEGER PRIMARY KEY,
        session TEXT NOT NULL,
        id INTEGER NOT NULL,
        boot_id TEXT NOT NULL,
        degree TEXT NOT NULL,
        way TEXT NOT NULL,
        frequency_hz REAL NOT NULL,
        band TEXT NOT NULL,
        slider TEXT NOT NULL,
        level_dbfs REAL NOT NULL,
        growth_db_per_s REAL NOT NULL,
        start_uptime_s REAL NOT NULL,
        end_uptime_s REAL,
        utc REAL NOT NULL,
        clock_trusted INTEGER NOT NULL,
        UNIQUE (session, id)
    );
    """,
)
"""Migration i brings ``user_version`` i to i + 1; never change one that was released."""


@dataclass(frozen=True, slots=True)
class RingRow:
    """One ring as it is kept; ``session`` is one run of the watcher, ``id`` unique within it."""

    session: str
    id: int
    boot_id: str
    degree: str
    way: str
    frequency_hz: float
    band: str
    slider: str
    level_dbfs: float
    growth_db_per_s: float
    start_uptime_s: float
    end_uptime_s: float | None
    utc: float
    clock_trusted: bool


COLUMNS = ", ".join(f.name for f in fields(RingRow))
UPSERT = (
    f"INSERT INTO rings ({COLUMNS}) VALUES ({', '.join('?' * len(fields(RingRow)))}) "
    "ON CONFLICT (session, id) DO UPDATE SET "
    + ", ".join(
        f"{c} = excluded.{c}"
        for c in ("degree frequency_hz band slider level_dbfs growth_db_per_s end_uptime_s".split())
    )
)


def to_sql(row: RingRow) -> tuple[Any, ...]:
    """Return the values for ``UPSERT``."""
    return astuple(row)


def from_sql(values: tuple[Any, ...]) -> RingRow:
    """Return the row that ``SELECT COLUMNS`` gave."""
    named = dict(zip((f.name for f in fields(RingRow)), values, strict=True))
    named["clock_trusted"] = bool(named["clock_trusted"])
    return RingRow(**named)


def migrate(connection: sqlite3.Connection) -> None:
    """Bring the tables up to date, each step in a transaction of its own.

    Raises
    ------
    NewerJournalError
        If a newer release wrote this file.
    """
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    if version > len(MIGRATIONS):
        raise NewerJournalError(
            f"the journal was written by a newer release (version {version}, this one knows "
            f"{len(MIGRATIONS)}); nothing is recorded: update Howl Lantern"
        )
    for number, script in enumerate(MIGRATIONS[version:], version + 1):
        connection.executescript(f"BEGIN; {script} PRAGMA user_version = {number}; COMMIT;")


class NewerJournalError(Exception):
    """The file belongs to a newer release and must not be touched."""


def _utc_text(utc_s: float) -> str | None:
    try:
        return datetime.fromtimestamp(utc_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    except (ValueError, OverflowError, OSError):
        return None  # a clock that was far out of this world


def history_fields(row: RingRow, *, boot_id: str, uptime_s: float) -> dict[str, Any]:
    """Return a row as it goes over the link; what is not known is None."""
    lasted_s = None if row.end_uptime_s is None else row.end_uptime_s - row.start_uptime_s
    same_boot = row.boot_id == boot_id
    ended = row.end_uptime_s if row.end_uptime_s is not None else row.start_uptime_s
    return {
        "id": row.id,
        "degree": row.degree,
        "way": row.way,
        "frequency_hz": round(row.frequency_hz, 2),
        "band": row.band,
        "slider": row.slider,
        "level_dbfs": round(row.level_dbfs, 1),
        "growth_db_per_s": round(row.growth_db_per_s, 1),
        "lasted_s": None if lasted_s is None else round(lasted_s, 2),
        "start_uptime_s": round(row.start_uptime_s, 2),
        "ended_ago_s": round(max(0.0, uptime_s - ended), 1) if same_boot else None,
        "utc": _utc_text(row.utc),
        "clock_trusted": row.clock_trusted,
    }
