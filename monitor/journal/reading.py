"""Reading the journal while the watcher writes it: for commands, which change nothing.

SQLite's write-ahead log lets any number read beside the one that writes; nobody waits for the
other.  The file is opened so that it cannot be written.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from monitor import clock
from monitor.errors import LanternError
from monitor.journal.answers import look_up
from monitor.journal.asks import GetRecord, ListGigs, ListVenues, Question, Recollect
from monitor.journal.listing import NotThereError
from monitor.journal.opening import connect_read_only
from monitor.journal.tables import MIGRATIONS
from monitor.memory.recollect import Recollection


class Reading:
    """The journal as it is on the disk at each question; made by ``open_reading``."""

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        self._connection = connection
        self._path = path

    def gigs(self, limit: int = 100, before: str | None = None) -> list[dict[str, Any]]:
        """Return the newest gigs, as ``ListGigs`` answers."""
        found: list[dict[str, Any]] = self._ask(ListGigs(limit, before))
        return found

    def venues(self) -> list[dict[str, Any]]:
        """Return every venue, as ``ListVenues`` answers."""
        found: list[dict[str, Any]] = self._ask(ListVenues())
        return found

    def record(self, uid: str) -> dict[str, Any]:
        """Return everything of one gig.

        Raises
        ------
        LanternError
            If there is no such gig.
        """
        found: dict[str, Any] = self._ask(GetRecord(uid))
        return found

    def recollection(self, venue: str | None = None, but: str | None = None) -> Recollection:
        """Return what the memory says, for a venue or over all, without the gig ``but``."""
        found: Recollection = self._ask(Recollect(venue, but))
        return found

    def _ask(self, question: Question) -> Any:
        try:
            self._connection.execute("BEGIN")
            try:
                return look_up(self._connection, question, clock.now())
            finally:
                self._connection.execute("ROLLBACK")
        except NotThereError as error:
            raise LanternError(str(error)) from None
        except sqlite3.Error as error:
            raise _cannot_be_read(self._path, error) from None


@contextmanager
def open_reading(path: Path) -> Iterator[Reading]:
    """Open the journal at ``path`` to read it.

    Raises
    ------
    LanternError
        If there is none, or it cannot be read: one line.
    """
    try:
        is_there = path.exists()
    except PermissionError as error:  # not even into its folder
        raise _cannot_be_read(path, error) from None
    if not is_there:
        raise LanternError(
            f"there is no journal at {path}; it begins when the lantern first listens"
            " (or set [journal] file)"
        )
    try:
        connection = connect_read_only(path)
    except sqlite3.Error as error:
        raise _cannot_be_read(path, error) from None
    try:
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        if version != len(MIGRATIONS):
            raise LanternError(_other_release(path, version))
        yield Reading(connection, path)
    finally:
        connection.close()


def _cannot_be_read(path: Path, error: sqlite3.Error | OSError) -> LanternError:
    why = error.strerror if isinstance(error, OSError) else error
    return LanternError(
        f"the journal {path} cannot be read ({why}); try it as its owner or with sudo"
    )


def _other_release(path: Path, version: int) -> str:
    if version > len(MIGRATIONS):
        return f"the journal {path} is of a newer release (version {version}); update Howl Lantern"
    return (
        f"the journal {path} is of an older release (version {version}); let Howl Lantern listen"
        " once, so that it is brought up to date"
    )
