"""Opening the journal's file: made if need be, checked, brought up to date; or moved aside."""

from __future__ import annotations

import errno
import sqlite3
from pathlib import Path

from monitor.journal.tables import migrate


def open_file(path: Path) -> sqlite3.Connection:
    """Open the file for writing.

    Raises
    ------
    sqlite3.Error, OSError
        If it cannot be opened; ``is_damage`` tells whether trying again could help.
    NewerJournalError
        If a newer release wrote it.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    # autocommit: transactions are begun by hand, one for each batch
    connection = sqlite3.connect(path, isolation_level=None, timeout=2.0)
    try:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        # What a person deletes is gone from the card too, not only from the lists.
        connection.execute("PRAGMA secure_delete = ON")
        verdict = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
        if verdict != "ok":
            raise sqlite3.DatabaseError(f"malformed: {verdict}")
        migrate(connection)
    except BaseException:
        connection.close()
        raise
    return connection


def is_damage(error: sqlite3.Error) -> bool:
    """Return whether the file itself is spoilt, and not the disk or who holds it."""
    if not isinstance(error, sqlite3.OperationalError):
        return True
    return error.sqlite_errorcode in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def in_words(path: Path, what: str, error: Exception) -> str:
    """Return one line for people: what of the file at ``path`` has failed, why, and what to do."""
    text = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return f"the journal {path} {what} ({text}): {_what_to_do(error)}; listening goes on"


def _what_to_do(error: Exception) -> str:
    if isinstance(error, sqlite3.Error):
        kind = getattr(error, "sqlite_errorcode", 0) & 0xFF  # without the finer distinction
    else:
        kind = _KINDS.get(getattr(error, "errno", None), 0)
    return _TO_DO.get(kind, "the log says more")


_KINDS: dict[int | None, int] = {
    errno.ENOSPC: sqlite3.SQLITE_FULL,
    errno.EIO: sqlite3.SQLITE_IOERR,
    **dict.fromkeys((errno.EROFS, errno.EACCES, errno.EPERM), sqlite3.SQLITE_READONLY),
}
_READ_ONLY = "let its folder be written; a card that turned read-only by itself is worn out"
_TO_DO = {
    sqlite3.SQLITE_FULL: "make room",
    sqlite3.SQLITE_READONLY: _READ_ONLY,
    sqlite3.SQLITE_CANTOPEN: _READ_ONLY,
    sqlite3.SQLITE_IOERR: "save the gig's report on a phone; the card may be failing",
    sqlite3.SQLITE_BUSY: "end the other program that holds it",
    sqlite3.SQLITE_LOCKED: "end the other program that holds it",
}


def move_aside(path: Path) -> Path:
    """Keep a damaged file under another name and return that; OSError if it cannot be.

    Its log first: where the plug is pulled in between, one without its file would be deleted by
    whoever begins a new file there, and an evening may be in it.
    """
    number = 1
    while any(_aside(path, number, tail).exists() for tail in _PARTS):
        number += 1
    for tail in _PARTS:
        part = Path(f"{path}{tail}")
        if part.exists():
            part.rename(_aside(path, number, tail))
    return _aside(path, number)


_PARTS = ("-wal", "-shm", "")


def _aside(path: Path, number: int, tail: str = "") -> Path:
    return Path(f"{path}.damaged-{number}{tail}")


def connect_read_only(path: Path) -> sqlite3.Connection:
    """Return a connection that cannot write; ``sqlite3.Error`` if the file cannot be read.

    With nobody writing, reading still wants to make the log's companion files; where that is
    forbidden and there is no log, the file is taken as it lies.
    """
    uri = f"{path.absolute().as_uri()}?mode=ro"
    try:
        return _connected(uri)
    except sqlite3.OperationalError:
        if Path(f"{path}-wal").exists():
            raise
        return _connected(f"{uri}&immutable=1")


def _connected(uri: str) -> sqlite3.Connection:
    connection = sqlite3.connect(uri, uri=True, isolation_level=None, timeout=2.0)
    try:
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except BaseException:
        connection.close()
        raise
    return connection
