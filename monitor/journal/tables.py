"""The journal's tables, and how a file of an earlier release is brought up to date.

Conventions
-----------
``boots`` says for each boot of a machine what date it was when it began (``zero_utc_s``) and on
whose word; everything else is stored with the boot and the seconds since, and dated when it is
read.  ``seq`` is the order in which this box has seen its boots; ``own`` is 0 for a boot of
another box, whose gigs were taken in.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable

from monitor.journal.first_gigs import make_first_gigs

MIGRATIONS: tuple[tuple[str, Callable[[sqlite3.Connection], None] | None], ...] = (
    (
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
        None,
    ),
    (
        """
        ALTER TABLE rings ADD COLUMN gig TEXT;
        CREATE INDEX rings_of_gig ON rings (gig, degree);
        CREATE TABLE boots (
            seq INTEGER PRIMARY KEY,
            boot_id TEXT NOT NULL UNIQUE,
            zero_utc_s REAL,
            source TEXT NOT NULL,
            last_uptime_s REAL NOT NULL,
            own INTEGER NOT NULL
        );
        CREATE TABLE venues (
            uid TEXT PRIMARY KEY,
            name TEXT NOT NULL
        );
        CREATE TABLE gigs (
            uid TEXT PRIMARY KEY,
            venue_uid TEXT,
            title TEXT,
            box TEXT NOT NULL,
            begun_boot_id TEXT NOT NULL,
            begun_uptime_s REAL NOT NULL,
            ended_boot_id TEXT,
            ended_uptime_s REAL,
            ended_by TEXT,
            rings_gone INTEGER NOT NULL DEFAULT 0,
            howls_gone INTEGER NOT NULL DEFAULT 0,
            thinned INTEGER NOT NULL DEFAULT 0
        );
        CREATE TABLE happenings (
            key INTEGER PRIMARY KEY,
            gig TEXT NOT NULL,
            kind TEXT NOT NULL,
            boot_id TEXT NOT NULL,
            uptime_s REAL NOT NULL,
            content TEXT NOT NULL
        );
        CREATE INDEX happenings_of_gig ON happenings (gig, kind);
        """,
        make_first_gigs,
    ),
)
"""Migration i brings ``user_version`` i to i + 1: first the script, then what it takes to fill
the new tables.  Never change one that was released."""


class NewerJournalError(Exception):
    """The file belongs to a newer release and must not be touched."""


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
    for number, (script, fill) in enumerate(MIGRATIONS[version:], version + 1):
        try:
            connection.executescript(f"BEGIN IMMEDIATE; {script}")
            if fill is not None:
                fill(connection)
            connection.execute(f"PRAGMA user_version = {number}")
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
