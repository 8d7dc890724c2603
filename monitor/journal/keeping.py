"""The journal's file and what waits for it: writes, answers, and lives through what disks do.

Used by one thread at a time (the journal's); what ``health`` looks at may be read from others.
"""

from __future__ import annotations

import logging
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

from monitor.clock import Now
from monitor.journal.answers import CHANGES, carry_out
from monitor.journal.as_written import look_up_as_written
from monitor.journal.asks import ClockWord, Dated, Question
from monitor.journal.boots import RANK
from monitor.journal.listing import read_rings
from monitor.journal.opening import connect_read_only, in_words, is_damage, move_aside, open_file
from monitor.journal.rows import RingRow
from monitor.journal.tables import NewerJournalError
from monitor.journal.thinning import thin
from monitor.journal.waiting import Done, Waiting
from monitor.journal.writing import Change, note_now, write_all

LOG = logging.getLogger(__name__)

THIN_EVERY = 200
CLOCK_JUMP_S = 2.0
"""Less than that is a clock being steered, and not worth a write."""
OPENING = "opening"


class Keeper:
    """Keeps changes in the file at ``path``; parameters as of ``Journal``."""

    def __init__(
        self,
        path: Path,
        *,
        keep_rings: int,
        keep_gigs: int,
        box: str,
        retry_s: float,
        now: Callable[[], Now],
        most_waiting: int,
    ) -> None:
        self._path = path
        self._keep_rings = keep_rings
        self._keep_gigs = keep_gigs
        self._box = box
        self._retry_s = retry_s
        self._now = now
        self._connection: sqlite3.Connection | None = None
        self._next_try_mono_s = 0.0
        self._since_thinned = THIN_EVERY
        self._noted: tuple[bool, float] | None = None
        self._refused = False
        self.waiting = Waiting(most_waiting)
        self.trouble = OPENING
        self.notice = ""
        self.renewed_count = 0
        self.dated: Dated = "network" if now().clock_trusted else "believed"

    @property
    def must_try_again(self) -> bool:
        """Whether something waits for the disk."""
        return bool(self.waiting) or self._connection is None

    @property
    def is_due(self) -> bool:
        """Whether the pause after a failure is over."""
        return time.monotonic() >= self._next_try_mono_s

    def hold(self, change: Change, done: Done | None) -> None:
        """Take a change; it is written by the next ``write``."""
        self.waiting.hold(change, done)
        if isinstance(change, ClockWord) and RANK[change.source] > RANK[self.dated]:
            self.dated = change.source

    def write(self) -> None:
        """Write what waits, opening the file first if need be."""
        if self._connection is None:
            self.try_open()
        if self._connection is None:
            self.waiting.still_waits(self.trouble)
            return
        if not self.waiting:
            return
        now, changes = self._now(), self.waiting.changes()
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            refused = write_all(self._connection, changes, now=now, box=self._box)
            self._connection.execute("COMMIT")
        except sqlite3.Error as error:
            self._abandon(error)
            self.waiting.still_waits(self.trouble)
            return
        self._works()
        self._have_noted(now)
        self.waiting.written(refused)
        self._since_thinned += len(changes)
        if self._since_thinned >= THIN_EVERY:
            self._since_thinned = 0
            self._change(lambda c: thin(c, keep_rings=self._keep_rings, keep_gigs=self._keep_gigs))

    def write_if_due(self) -> None:
        """Write what waits before it is read."""
        if self.must_try_again and self.is_due:
            self.write()

    def look_at_the_clock(self) -> None:
        """Keep the date once it has been set, even if nothing else happens."""
        now = self._now()
        if self._noted is None or self._connection is None:
            return
        trusted, zero_utc_s = self._noted
        jumped = abs(now.utc_s - now.uptime_s - zero_utc_s) > CLOCK_JUMP_S
        if now.clock_trusted != trusted or jumped:
            self._change(lambda connection: note_now(connection, now))
            self._have_noted(now)

    def read(self, limit: int) -> tuple[list[RingRow], str]:
        """Return the newest rings, those that wait included, and why some may be missing."""
        self.write_if_due()
        rows: list[RingRow] = []
        problem = self.trouble
        try:
            if self._connection is not None:
                rows = read_rings(self._connection, limit)
            elif self._path.exists():  # on a card that fails there may be much to read
                with closing(connect_read_only(self._path)) as connection:
                    rows = read_rings(connection, limit)
        except sqlite3.Error as error:
            problem = self.trouble or self._failed("cannot be read", error)
        # What is not on disk yet has been shown all the same.
        held = {(r.session, r.id): r for r in reversed(self.waiting.rings())}
        rows = [*held.values(), *(r for r in rows if (r.session, r.id) not in held)]
        return rows[:limit], problem

    def answer(self, question: Question) -> tuple[Any, str]:
        """Return the answer and a problem, each as ``Journal.ask`` hands them on."""
        self.write_if_due()
        try:
            if not isinstance(question, CHANGES):
                found = look_up_as_written(
                    self._connection,
                    self._path,
                    question,
                    self.waiting.changes(),
                    now=self._now(),
                    box=self._box,
                )
                return found, self.trouble
            if self._connection is None or self.trouble:
                return None, self.trouble
            return self._change(
                lambda c: carry_out(c, question, keep_rings=self._keep_rings), to_disk=True
            )
        except ValueError as error:
            return None, str(error)
        except sqlite3.Error as error:
            return None, self.trouble or self._failed("cannot be read", error)
        except Exception as error:  # a mistake of ours must not end the journal
            LOG.exception("answering %s failed", type(question).__name__)
            return None, f"the journal cannot answer that ({type(error).__name__}); see the log"

    def failed_itself(self, error: Exception) -> None:
        """A mistake of ours: it is said, and what waits is tried again later."""
        LOG.exception("the journal's own thread failed")
        self._failed("cannot be kept", error)

    def close(self) -> None:
        """Close the file."""
        if self._connection is not None:
            self._connection.close()

    def _change(
        self, change: Callable[[sqlite3.Connection], Any], *, to_disk: bool = False
    ) -> tuple[Any, str]:
        """Carry out one change in a transaction; return its result and the problem."""
        connection = self._connection
        if connection is None:
            return None, self.trouble
        try:
            connection.execute("BEGIN IMMEDIATE")
            note_now(connection, self._now())
            result = change(connection)
            connection.execute("COMMIT")
            if to_disk:  # what is gone must not linger in the log
                connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        except sqlite3.Error as error:
            self._abandon(error)
            return None, self.trouble
        finally:
            if self._connection is not None and self._connection.in_transaction:
                self._connection.execute("ROLLBACK")
        return result, ""

    def _have_noted(self, now: Now) -> None:
        """This boot is in the file, dated by this instant or by a better word."""
        self._noted = (now.clock_trusted, now.utc_s - now.uptime_s)
        self._look_who_dated(now)

    def _look_who_dated(self, now: Now) -> None:
        if self._connection is None:
            return
        try:
            row = self._connection.execute(
                "SELECT source, zero_utc_s FROM boots WHERE boot_id = ?", (now.boot_id,)
            ).fetchone()
        except sqlite3.Error:
            return  # what was written stands; it is looked up again with the next
        if row is not None:
            self.dated = row[0]
            self._noted = self._noted or (row[0] == "network", row[1] or 0.0)

    # --- what disks do -----------------------------------------------------------------------

    def try_open(self) -> None:
        """Open the file; a damaged one is set aside, a newer release's refused for good."""
        if self._refused:
            return
        try:
            self._connection = open_file(self._path)
        except sqlite3.DatabaseError as error:
            if is_damage(error):
                self._set_aside(error)
            else:
                self._failed("cannot be opened", error)
        except NewerJournalError as error:
            self._refused = True
            self.trouble = str(error)
            LOG.error(self.trouble)
        except OSError as error:
            self._failed("cannot be opened", error)
        else:
            self._works()
            self._look_who_dated(self._now())

    def _set_aside(self, why: Exception) -> None:
        """Keep a damaged file under another name, loudly, and begin a new one."""
        try:
            aside = move_aside(self._path)
            self._connection = open_file(self._path)
        except (OSError, sqlite3.Error, NewerJournalError) as error:
            self._failed("is damaged and cannot be set aside", error)
            return
        self.renewed_count += 1  # before it is said: whoever reads that looks here
        self.notice = f"the journal was damaged; it is kept as {aside.name} and a new one was begun"
        LOG.error("%s (%s)", self.notice, why)
        self._works()

    def _abandon(self, error: sqlite3.Error) -> None:
        """After a failed write: roll back, so that all can be tried again together.

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
        trouble = in_words(self._path, what, error)
        if trouble != self.trouble:
            LOG.error(trouble)
        self.trouble = trouble
        self._next_try_mono_s = time.monotonic() + self._retry_s
        return trouble

    def _works(self) -> None:
        if self.trouble not in ("", OPENING):
            LOG.warning("the journal %s can be written again", self._path)
        self.trouble = ""
        self._next_try_mono_s = 0.0
