"""The journal: gigs and what happened in them in SQLite, written by one thread.

Only the watcher writes the file.  There is little to write (tens of rings in an evening, a level
a minute) and this box is switched off by pulling its plug, so ``synchronous`` is FULL: what has
been written survives the pulled plug, at the price of one flush for each batch, in this thread.

Whatever happens to the disk, ``put``, ``tell`` and ``ask`` return at once.  What cannot be written
waits in memory up to a bound and is tried again; what is lost beyond it is counted and said.  So is
what finds no room while a write hangs: for minutes, as a dying card's may.
"""

from __future__ import annotations

import logging
import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor import clock
from monitor.busy import Busy
from monitor.clock import Now
from monitor.journal.answers import CHANGES
from monitor.journal.asks import (
    ClockWord,
    Dated,
    GigChange,
    GigJoin,
    Question,
    Recollect,
    VenueChange,
)
from monitor.journal.keeping import OPENING, Keeper
from monitor.journal.recollecting import Recollecting
from monitor.journal.rows import RingRow
from monitor.journal.waiting import LOST, Done
from monitor.journal.writing import Change

LOG = logging.getLogger(__name__)

BATCH_S = 0.3
"""A ring's first flag, its howl and its end often come together; write them at once."""
RETRY_S = 5.0
MAX_WAITING = 2000
MOST_NOT_TAKEN_IN = 4 * MAX_WAITING
"""What waits for the thread itself, which may hang in a write."""
BEHIND = "the journal is behind; ask again in a few seconds"
HANGS = "the card does not answer, and what happens waits in memory; the card may be failing"
MOST_AT_ONCE = 500
"""In one batch: what is told faster than it is written waits to be taken in, and is not lost."""
CLOCK_EVERY_S = 60.0
"""How often to look whether the date has been set meanwhile, when nothing else is to do."""

Answer = Callable[[Any, str], None]


@dataclass(frozen=True, slots=True)
class _Told:
    change: Change
    done: Done | None


@dataclass(frozen=True, slots=True)
class _Read:
    limit: int
    answer: Callable[[list[RingRow], str], None]


@dataclass(frozen=True, slots=True)
class _Asked:
    question: Question
    answer: Answer


class _Stop:
    pass


_Item = _Told | _Read | _Asked | _Stop


class Journal:
    """Keeps what it is told in ``path``; opens the file in its own thread, and again when it must.

    Parameters
    ----------
    path : Path
        Made with its folder if it does not exist.
    keep_rings : int
        The oldest rings beyond this number go.
    keep_gigs : int
        The newest gigs that keep a level for every minute.
    box : str
        This box's name, kept with its gigs.
    retry_s : float
        How long to wait after a failure before the disk is tried again.
    now : callable
        Returns this instant on every clock.
    """

    def __init__(
        self,
        path: Path,
        *,
        keep_rings: int,
        keep_gigs: int = 20,
        box: str = "",
        retry_s: float = RETRY_S,
        now: Callable[[], Now] = clock.now,
    ) -> None:
        self._retry_s = retry_s
        # No SimpleQueue: with hardly any timeout its get() may wait for ever (CPython 3.11).
        self._queue: queue.Queue[_Item] = queue.Queue(MOST_NOT_TAKEN_IN)
        self._lock = threading.Lock()
        self._no_room_count = 0
        self._keeper = Keeper(
            path,
            keep_rings=keep_rings,
            keep_gigs=keep_gigs,
            box=box,
            retry_s=retry_s,
            now=now,
            most_waiting=MAX_WAITING,
        )
        self._recollecting = Recollecting(path)
        self._busy = Busy()
        self._stopping = threading.Event()
        self._is_over = False
        self._thread = threading.Thread(target=self._run, name="journal", daemon=True)
        self._thread.start()

    def put(self, row: RingRow) -> None:
        """Keep a ring, or bring it up to date.  Returns at once."""
        self._take(_Told(row, None))

    def tell(self, change: Change, done: Done | None = None) -> None:
        """Keep a change.  Returns at once.

        ``done(problem)`` is called once in the journal's thread: with nothing when the change is
        on the disk, otherwise with one line that says why it is not; it may still get there.
        Where there is no room for the change, it is called at once.
        """
        if not self._take(_Told(change, done)) and done is not None:
            _call(done, LOST)

    def ask(self, question: Question, answer: Answer) -> None:
        """Have ``answer(result, problem)`` called in the journal's thread.  Returns at once.

        ``Recollect`` is answered in the memory's thread.  A question that changes something
        (delete, merge) has been carried out, and is on the disk, if ``problem`` is empty.  With
        another one ``problem`` may stand beside a result, which is then what could be read.  A
        journal that is behind answers so at once.
        """
        if not self._take(_Asked(question, answer)):
            _call(answer, None, BEHIND)

    def read(self, limit: int, answer: Callable[[list[RingRow], str], None]) -> None:
        """Have ``answer(rows, problem)`` called in the journal's thread, newest ring first.

        ``problem`` is empty or says why the rows may be incomplete.  Returns at once, as ``ask``.
        """
        if not self._take(_Read(limit, answer)):
            _call(answer, [], BEHIND)

    @property
    def dated(self) -> Dated:
        """On whose word this boot's dates are, as far as is known: network, phone or believed."""
        return self._keeper.dated

    @property
    def renewed_count(self) -> int:
        """How often a damaged file has been set aside: the new one knows of no gig or venue."""
        return self._keeper.renewed_count

    @property
    def lost_count(self) -> int:
        """How many entries could not be kept."""
        return self._keeper.waiting.lost_count + self._no_room_count

    def health(self) -> str:
        """Return "ok" or one sentence that says what is wrong and what to do."""
        keeper = self._keeper
        parts = [keeper.notice] if keeper.notice else []
        if keeper.trouble and keeper.trouble != OPENING:
            parts.append(keeper.trouble)
            if waiting := len(keeper.waiting):
                parts.append(f"{waiting} entries wait in memory")
        if self._busy.for_long:
            parts.append(HANGS)
        if (waiting := self._queue.qsize()) > MAX_WAITING:
            parts.append(f"the journal is behind: {waiting} entries wait to be written")
        if self.lost_count:
            parts.append(f"{self.lost_count} entries were lost")
        return "; ".join(parts) or "ok"

    def close(self, timeout_s: float = 3.0) -> None:
        """Write what waits and close; gives up after ``timeout_s``.  May be called twice."""
        self._stopping.set()
        try:
            self._queue.put_nowait(_Stop())
        except queue.Full:
            pass  # it stops when it has taken in what waits
        self._thread.join(timeout=timeout_s)

    def _take(self, item: _Told | _Read | _Asked) -> bool:
        try:
            self._queue.put_nowait(item)
        except queue.Full:
            if isinstance(item, _Told):
                with self._lock:
                    self._no_room_count += 1
            return False
        return True

    # --- everything below runs in the journal's thread -----------------------------------

    def _run(self) -> None:
        keeper = self._keeper
        self._guarded(keeper.try_open)
        while not self._is_over:
            timeout_s = self._retry_s if keeper.must_try_again else CLOCK_EVERY_S
            try:
                item = self._queue.get(timeout=0.0 if self._stopping.is_set() else timeout_s)
            except queue.Empty:
                item = None
                self._is_over = self._stopping.is_set()
            self._guarded(lambda item=item: self._turn(item))  # type: ignore[misc]
        keeper.close()

    def _guarded(self, do: Callable[[], None]) -> None:
        try:
            with self._busy:
                do()
        except Exception as error:  # a mistake of ours must not end the journal
            self._keeper.failed_itself(error)

    def _turn(self, item: _Item | None) -> None:
        self._gather(item)
        if self._keeper.is_due or self._is_over:
            self._keeper.write()
            self._keeper.look_at_the_clock()

    def _gather(self, item: _Item | None) -> None:
        """Take what has come and what comes within ``BATCH_S``, up to a batch."""
        until_mono_s = time.monotonic() + BATCH_S
        while item is not None:
            if isinstance(item, _Stop):
                self._is_over = True
                return
            if isinstance(item, _Told):
                self._keeper.hold(item.change, item.done)
                if isinstance(item.change, GigChange | GigJoin | VenueChange | ClockWord):
                    self._recollecting.forget()
            elif isinstance(item, _Read):
                _call(item.answer, *self._keeper.read(item.limit))
            elif isinstance(item.question, Recollect):
                self._keeper.write_if_due()
                self._recollecting.ask(item.question, item.answer)
            else:
                _call(item.answer, *self._keeper.answer(item.question))
                if isinstance(item.question, CHANGES):
                    self._recollecting.forget()
            left_s = until_mono_s - time.monotonic()
            if left_s <= 0 or not 0 < len(self._keeper.waiting) < MOST_AT_ONCE:
                return
            try:
                item = self._queue.get(timeout=left_s)
            except queue.Empty:
                return


def _call(answer: Callable[..., None], *words: Any) -> None:
    try:
        answer(*words)
    except Exception:  # the asker's trouble must not end the journal
        LOG.exception("answering a reader of the journal failed")
