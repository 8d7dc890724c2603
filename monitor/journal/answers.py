"""From a question to its answer: which function looks it up or carries it out."""

from __future__ import annotations

import sqlite3
from typing import Any

from monitor.clock import Now
from monitor.journal.asks import (
    DeleteGig,
    DeleteVenue,
    GetRecord,
    GigRings,
    ListGigs,
    ListVenues,
    MergeRecords,
    NameGig,
    NewestGig,
    Question,
    Recollect,
)
from monitor.journal.gathering import get_record
from monitor.journal.listing import list_gigs, list_venues, newest_gig, read_rings
from monitor.journal.merging import delete_gig, delete_venue, merge, name_gig
from monitor.journal.recollecting import recollection

CHANGES = (NameGig, DeleteGig, DeleteVenue, MergeRecords)
"""Questions that change something: a transaction of their own, and none while the disk fails."""


def look_up(connection: sqlite3.Connection, question: Question, now: Now) -> Any:
    """Answer a question that changes nothing.

    Raises
    ------
    ValueError
        If it asks for something that is not there: one line for people.
    sqlite3.Error
        If the file cannot be read.
    """
    match question:
        case ListGigs():
            return list_gigs(connection, question.limit, question.before)
        case NewestGig():
            return newest_gig(connection, now, question.but)
        case GigRings():
            return read_rings(connection, question.limit, question.uid)[::-1]
        case GetRecord():
            return get_record(connection, question.uid)
        case ListVenues():
            return list_venues(connection)
        case Recollect():
            return recollection(connection, question)
        case _:
            raise TypeError(f"no question: {question!r:.80}")


def carry_out(connection: sqlite3.Connection, question: Question, *, keep_rings: int) -> Any:
    """Answer one of ``CHANGES``, within the caller's transaction.

    Raises
    ------
    ValueError
        If it cannot be: one line for people; the caller rolls back.
    sqlite3.Error
        If the disk does not let it.
    """
    match question:
        case NameGig():
            return name_gig(connection, question.uid, question.title)
        case DeleteGig():
            return delete_gig(connection, question.uid)
        case DeleteVenue():
            return delete_venue(connection, question.uid)
        case MergeRecords():
            return merge(connection, question.records, keep_rings=keep_rings)
        case _:
            raise TypeError(f"nothing to carry out: {question!r:.80}")
