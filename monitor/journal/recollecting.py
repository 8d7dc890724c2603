"""What the memory is given: the gigs of the journal, each as light as it needs them."""

from __future__ import annotations

import sqlite3
from dataclasses import replace

from monitor.journal.asks import Recollect
from monitor.journal.boots import Boots
from monitor.journal.gathering import record_of
from monitor.journal.listing import gigs_in_order
from monitor.memory.from_record import memory_of
from monitor.memory.gig_memory import GigMemory
from monitor.memory.recollect import MOST_GIGS, Recollection, recollect


def recollection(connection: sqlite3.Connection, question: Recollect) -> Recollection:
    """Return the answer to ``Recollect``."""
    boots = Boots.read(connection)
    gigs = [gig for gig in gigs_in_order(connection, boots) if gig.uid != question.but]
    memories = [
        _with_sure_date(memory_of(record_of(connection, gig, boots, with_levels=False)))
        for gig in gigs[-MOST_GIGS:]
    ]
    return recollect(memories, venue=question.venue, equaliser=question.equaliser)


def _with_sure_date(memory: GigMemory) -> GigMemory:
    """Order and dates must not hang on a clock that nobody has set: none is better."""
    return replace(memory, utc_s=None) if memory.dated == "believed" else memory
