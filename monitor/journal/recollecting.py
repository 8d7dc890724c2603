"""What the memory is given: the gigs of the journal, each as light as it needs them.

Gathering and reckoning hundreds of gigs takes its time on a small processor, and rings want to be
written meanwhile: a thread of its own does it, which reads the file beside the one that writes.
"""

from __future__ import annotations

import logging
import queue
import sqlite3
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from monitor.journal.asks import Recollect
from monitor.journal.boots import Boots
from monitor.journal.gathering import record_of
from monitor.journal.listing import gigs_in_order
from monitor.journal.opening import connect_read_only
from monitor.memory.from_record import memory_of
from monitor.memory.gig_memory import GigMemory
from monitor.memory.recollect import MOST_GIGS, Recollection, recollect

LOG = logging.getLogger(__name__)

FRESH_S = 60.0
"""Asked again within it and nothing but rings has come: the same answer.  Anybody on the network
may ask."""
MOST_ANSWERS = 32
LONGEST_REST_S = 10.0
"""After reckoning it rests for as long as that took, up to this: whoever asks for ever has half a
processor at the most, and the listening the rest."""

Known = dict[str, tuple[tuple[Any, ...], GigMemory]]
Answer = Callable[[Any, str], None]


def recollection(
    connection: sqlite3.Connection, question: Recollect, known: Known | None = None
) -> Recollection:
    """Return the answer to ``Recollect``; gigs in ``known`` that are as they were stay."""
    boots = Boots.read(connection)
    before = {} if known is None else known
    counts = _counts(connection)
    now: Known = {}
    for gig in gigs_in_order(connection, boots)[-MOST_GIGS - 1 :]:
        dated = boots.utc_s(gig.begun), boots.dated(gig.begun.boot_id)
        stands = (gig, *dated, counts.get(gig.uid))
        there = before.get(gig.uid)
        if there is None or there[0] != stands:
            record = record_of(connection, gig, boots, with_levels=False)
            there = (stands, memory_of(record))
        now[gig.uid] = there
    if known is not None:
        known.clear()
        known.update(now)
    memories = [memory for uid, (_, memory) in now.items() if uid != question.but]
    _, tonight = now.get(question.but or "", (None, None))
    return recollect(
        memories,
        venue=question.venue,
        equaliser=question.equaliser,
        sliders=question.sliders,
        tonight=tonight,
    )


def _counts(connection: sqlite3.Connection) -> dict[str, tuple[int, ...]]:
    """Return how much there is of each gig: what tells that it has changed."""
    found: dict[str, tuple[int, ...]] = {}
    for counted in (
        "count(*), sum(degree = 'howl'), count(end_uptime_s) FROM rings",  # it may become a howl
        "count(*) FROM happenings",
    ):
        for uid, *counts in connection.execute(
            f"SELECT gig, {counted} WHERE gig IS NOT NULL GROUP BY gig"
        ):
            found[uid] = (*found.get(uid, ()), *counts)
    return found


class Recollecting:
    """Answers ``Recollect`` one after the other, in a thread of its own from the first on."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._queue: queue.SimpleQueue[tuple[Recollect, Answer]] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None
        self._known: Known = {}
        self._said: dict[Recollect, tuple[int, float, Recollection]] = {}
        self._changes = 0

    def ask(self, question: Recollect, answer: Answer) -> None:
        """Have it answered.  Returns at once; from one thread only."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="memory", daemon=True)
            self._thread.start()
        self._queue.put((question, answer))

    def forget(self) -> None:
        """A gig, a venue or a date is another now: what was said before holds no longer."""
        self._changes += 1

    def _run(self) -> None:
        while True:
            question, answer = self._queue.get()
            try:
                result, problem, took_s = self._answered(question)
                answer(result, problem)
                time.sleep(min(took_s, LONGEST_REST_S))
            except Exception:  # the asker's trouble must not end the memory
                LOG.exception("answering what the memory says failed")

    def _answered(self, question: Recollect) -> tuple[Recollection | None, str, float]:
        """Return the answer, a problem, and how long it took to reckon."""
        changes, now_s = self._changes, time.monotonic()
        said = self._said.get(question)
        if said is not None and said[0] == changes and now_s - said[1] < FRESH_S:
            return said[2], "", 0.0
        try:
            connection = connect_read_only(self._path)
            try:
                connection.execute("BEGIN")
                result = recollection(connection, question, self._known)
            finally:
                connection.close()
        except sqlite3.Error as error:
            return None, f"the journal {self._path} cannot be read ({error})", 0.0
        except Exception as error:  # a mistake of ours must not end the memory
            LOG.exception("reckoning what the memory says failed")
            return (
                None,
                f"the memory cannot say anything ({type(error).__name__}); see the log",
                0.0,
            )
        if len(self._said) >= MOST_ANSWERS:
            self._said.clear()
        self._said[question] = (changes, now_s, result)
        return result, "", time.monotonic() - now_s
