"""The journal: rings in SQLite, written by one thread that nobody ever waits for.

Only the watcher opens the file.  Rings are few (tens in an evening) and this box is switched
off by pulling its plug, so ``synchronous`` is FULL: a ring that has been written survives the
pulled plug, at the price of one flush for each batch, in this thread.

Whatever happens to the disk, ``put`` returns at once.  Rows that cannot be written wait in
memory up to a bound and are tried again; what is lost beyond it is counted and said.
"""

from __future__ import annotations

import logging
import queue
import sqlite3
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from monitor.journal.rows import COLUMNS, UPSERT, RingRow, from_sql, to_sql
from monitor.journal.tables import NewerJournalError, migrate

LOG = logging.getLogger(__name__)

BATCH_S = 0.3
"""A ring's first flag, its howl and its end often come together; write them at once."""
RETRY_S = 5.0
MAX_WAITING = 2000
THIN_EVERY = 200


@dataclass(frozen=True, slots=True)
class _Read:
    limit: int
    answer: Callable[[list[RingRow], str], None]


class _Stop:
    pass


class Journal:
    """Keeps rings in ``path``; opens the file in its own thread, and again when it must.

    Parameters
    ----------
    path : Path
        Made with its folder if it does not exist.
    keep_rings : int
        The oldest rings beyond this number go.
    retry_s : float
        How long to wait after a failure before the disk is tried again.
    """

    def __init__(self, path: Path, *, keep_rings: int, retry_s: float = RETRY_S) -> None:
        self._path = path
        self._keep_rings = keep_rings
        self._retry_s = retry_s
        self._queue: queue.SimpleQueue[RingRow | _Read | _Stop] = queue.SimpleQueue()
        self._waiting: OrderedDict[tuple[str, int], RingRow] = OrderedDict()
        self._connection: sqlite3.Connection | None = None
        self._next_try_mono_s = 0.0
        self._since_thinned = THIN_EVERY
        self._trouble = "opening"
        self._notice = ""
        self._refused = False
        self.lost_count = 0
        self._thread = threading.Thread(target=self._run, name="journal", daemon=True)
        self._thread.start()

    def put(self, row: RingRow) -> None:
        """Keep a ring, or bring it up to date.  Returns at once."""
        self._queue.put(row)

    def read(self, limit: int, answer: Callable[[list[RingRow], str], None]) -> None:
        """Have ``answer(rows, problem)`` called in the journal's thread, newest ring first.

        ``problem`` is empty or says why the rows may be incomplete.  Returns at once.
        """
        self._queue.put(_Read(limit, answer))

    def health(self) -> str:
        """Return "ok" or one sentence that says what is wrong and what to do."""
        parts = [self._notice] if self._notice else []
        if self._trouble and self._trouble != "opening":
            parts.append(self._trouble)
            if self._waiting:
                parts.append(f"{len(self._waiting)} rings wait in memory")
        if self.lost_count:
            parts.append(f"{self.lost_count} rings were lost")
        return "; ".join(parts) or "ok"

    def close(self, timeout_s: float = 3.0) -> None:
        """Write what waits and close; gives up after ``timeout_s``.  May be called twice."""
        self._queue.put(_Stop())
        self._thread.join(timeout=timeout_s)

    # --- everything below runs in the journal's thread -----------------------------------

    def _run(self) -> None:
        self._try_open()
        while True:
            timeout_s = self._retry_s if self._waiting or self._connection is None else None
            try:
                item = self._queue.get(timeout=timeout_s)
            except queue.Empty:
                item = None
            stop = self._gather(item)
            if time.monotonic() >= self._next_try_mono_s or stop:
                self._write()
            if stop:
                break
        if self._connection is not None:
            self._connection.close()

    def _gather(self, item: RingRow | _Read | _Stop | None) -> bool:
        """Take what has come and what comes within ``BATCH_S``; return whether to stop."""
        until_mono_s = time.monotonic() + BATCH_S
        while item is not None:
            if isinstance(item, _Stop):
                return True
            if isinstance(item, _Read):
                if self._waiting and time.monotonic() >= self._next_try_mono_s:
                    self._write()
                self._answer(item)
            else:
                self._hold(item)
            left_s = until_mono_s - time.monotonic()
            try:
                item = self._queue.get(timeout=left_s) if self._waiting and left_s > 0 else None
            except queue.Empty:
                item = None
        return False

    def _hold(self, row: RingRow) -> None:
        key = (row.session, row.id)
        if key not in self._waiting and len(self._waiting) >= MAX_WAITING:
            self._waiting.popitem(last=False)
            self.lost_count += 1
        self._waiting[key] = row

    def _answer(self, read: _Read) -> None:
        rows: list[RingRow] = []
        problem = self._trouble
        if self._connection is not None:
            try:
                found = self._connection.execute(
                    f"SELECT {COLUMNS} FROM rings ORDER BY key DESC LIMIT ?", (read.limit,)
                )
                rows = [from_sql(values) for values in found]
            except sqlite3.Error as error:
                problem = self._failed("cannot be read", error)
        # What is not on disk yet has been shown all the same.
        held = {(r.session, r.id): r for r in reversed(self._waiting.values())}
        rows = [*held.values(), *(r for r in rows if (r.session, r.id) not in held)]
        try:
            read.answer(rows[: read.limit], problem)
        except Exception:  # the asker's trouble must not end the journal
            LOG.exception("answering a reader of the journal failed")

    def _try_open(self) -> None:
        if self._refused:
            return
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            self._connection = self._open()
        except sqlite3.DatabaseError as error:
            if isinstance(error, sqlite3.OperationalError) and not _is_damage(error):
                self._failed("cannot be opened", error)
            else:
                self._set_aside(error)
        except NewerJournalError as error:
            self._refused = True
            self._trouble = str(error)
            LOG.error(self._trouble)
        except OSError as error:
            self._failed("cannot be opened", error)
        else:
            self._works()

    def _open(self) -> sqlite3.Connection:
        # autocommit: transactions are begun by hand, one for each batch
        connection = sqlite3.connect(self._path, isolation_level=None, timeout=2.0)
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")
            verdict = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
            if verdict != "ok":
                raise sqlite3.DatabaseError(f"malformed: {verdict}")
            migrate(connection)
        except BaseException:
            connection.close()
            raise
        return connection

    def _set_aside(self, why: Exception) -> None:
        """Keep a damaged file under another name, loudly, and begin a new one."""
        number = 1
        while (aside := Path(f"{self._path}.damaged-{number}")).exists():
            number += 1
        try:
            self._path.rename(aside)
            for tail in ("-wal", "-shm"):
                companion = Path(f"{self._path}{tail}")
                if companion.exists():
                    companion.rename(f"{aside}{tail}")
            self._connection = self._open()
        except (OSError, sqlite3.Error, NewerJournalError) as error:
            self._failed("is damaged and cannot be set aside", error)
            return
        self._notice = (
            f"the journal was damaged; it is kept as {aside.name} and a new one was begun"
        )
        LOG.error("%s (%s)", self._notice, why)
        self._works()

    def _write(self) -> None:
        if self._connection is None:
            self._try_open()
        if self._connection is None or not self._waiting:
            return
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            self._connection.executemany(UPSERT, [to_sql(r) for r in self._waiting.values()])
            self._since_thinned += len(self._waiting)
            if self._since_thinned >= THIN_EVERY:
                self._connection.execute(
                    "DELETE FROM rings WHERE key <= (SELECT max(key) FROM rings) - ?",
                    (self._keep_rings,),
                )
                self._since_thinned = 0
            self._connection.execute("COMMIT")
        except sqlite3.Error as error:
            self._abandon(error)
        else:
            self._waiting.clear()
            self._works()

    def _abandon(self, error: sqlite3.Error) -> None:
        """After a failed write: roll back, so that all rows can be tried again together.

        A full disk leaves the connection good for reading; after anything else the file is
        opened and checked afresh.
        """
        self._failed("cannot be written", error)
        connection = self._connection
        if connection is None:
            return
        try:
            if getattr(error, "sqlite_errorcode", 0) == sqlite3.SQLITE_FULL:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                return
        except sqlite3.Error:
            pass  # then it is opened afresh as well
        self._connection = None
        try:
            connection.close()
        except sqlite3.Error:
            pass  # the file is checked when it is opened again

    def _failed(self, what: str, error: Exception) -> str:
        text = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        trouble = f"the journal {self._path} {what} ({text}); listening goes on"
        if trouble != self._trouble:
            LOG.error(trouble)
        self._trouble = trouble
        self._next_try_mono_s = time.monotonic() + self._retry_s
        return trouble

    def _works(self) -> None:
        if self._trouble not in ("", "opening"):
            LOG.warning("the journal %s can be written again", self._path)
        self._trouble = ""
        self._next_try_mono_s = 0.0


def _is_damage(error: sqlite3.OperationalError) -> bool:
    return error.sqlite_errorcode in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)
