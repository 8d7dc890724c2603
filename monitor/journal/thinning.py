"""What keeps the file small: detail goes with the years, the gigs never.

A memory card wears out and fills up, and nobody looks after it.  Of an old gig one minute's level
in ten stays, later without its third octaves: enough to know for how long there was sound, with
which the memory reckons.  Beyond a bound the oldest rings go, and each gig keeps how many it had.
"""

from __future__ import annotations

import sqlite3

from monitor.journal.boots import Boots
from monitor.journal.listing import gigs_in_order

KEEP_ONE_IN = 10
PLAIN_AFTER = 5
"""Times as many gigs as keep every minute keep third octaves: 20 and 100 as it comes."""
MOST_CONTENT_CHARS = 48_000_000
"""Of all happenings together.  200 gigs of 3 h with everything kept are a fiftieth of it; it is
there for the day when something goes on telling."""


def thin(connection: sqlite3.Connection, *, keep_rings: int, keep_gigs: int) -> None:
    """Bring everything within its bounds, within the caller's transaction.

    Parameters
    ----------
    keep_rings : int
        The oldest rings beyond this number go.
    keep_gigs : int
        The newest gigs that keep a level for every minute.
    """
    _thin_rings(connection, keep_rings)
    newest_first = gigs_in_order(connection, Boots.read(connection))[::-1]
    for place, gig in enumerate(newest_first):
        if place >= keep_gigs and gig.thinned < 1:
            _keep_few_levels(connection, gig.uid)
        if place >= keep_gigs * PLAIN_AFTER and gig.thinned < 2:
            _make_levels_plain(connection, gig.uid)
    _drop_orphans(connection)
    _bound_contents(connection)


def _thin_rings(connection: sqlite3.Connection, keep_rings: int) -> None:
    row = connection.execute(
        "SELECT key FROM rings ORDER BY key DESC LIMIT 1 OFFSET ?", (keep_rings,)
    ).fetchone()
    if row is None:
        return
    connection.execute(
        "UPDATE gigs SET rings_gone = rings_gone + gone.rings, howls_gone = howls_gone + gone.howls"
        " FROM (SELECT gig, count(*) AS rings, sum(degree = 'howl') AS howls FROM rings"
        " WHERE key <= ? AND gig IS NOT NULL GROUP BY gig) AS gone WHERE gigs.uid = gone.gig",
        row,
    )
    connection.execute("DELETE FROM rings WHERE key <= ?", row)


def _keep_few_levels(connection: sqlite3.Connection, uid: str) -> None:
    keys = connection.execute(
        "SELECT key FROM happenings WHERE gig = ? AND kind = 'level' ORDER BY key", (uid,)
    ).fetchall()
    # The last of each ten, which stands for the minutes before it; of fewer than ten the last.
    first_kept = min(KEEP_ONE_IN, len(keys)) - 1
    keep = set(keys[first_kept::KEEP_ONE_IN])
    connection.executemany(
        "DELETE FROM happenings WHERE key = ?", [key for key in keys if key not in keep]
    )
    connection.execute("UPDATE gigs SET thinned = 1 WHERE uid = ?", (uid,))


def _make_levels_plain(connection: sqlite3.Connection, uid: str) -> None:
    connection.execute(
        "UPDATE happenings SET content = json_remove(content, '$.third_octave_dbfs')"
        " WHERE gig = ? AND kind = 'level'",
        (uid,),
    )
    connection.execute("UPDATE gigs SET thinned = 2 WHERE uid = ?", (uid,))


def _drop_orphans(connection: sqlite3.Connection) -> None:
    """Happenings that came after their gig was deleted, boots that nothing is of any more."""
    connection.execute("DELETE FROM happenings WHERE gig NOT IN (SELECT uid FROM gigs)")
    connection.execute(
        "DELETE FROM boots WHERE seq < (SELECT max(seq) FROM boots WHERE own)"
        " AND boot_id NOT IN (SELECT boot_id FROM rings)"
        " AND boot_id NOT IN (SELECT boot_id FROM happenings)"
        " AND boot_id NOT IN (SELECT begun_boot_id FROM gigs)"
        " AND boot_id NOT IN (SELECT ended_boot_id FROM gigs WHERE ended_boot_id IS NOT NULL)"
    )


def _bound_contents(connection: sqlite3.Connection) -> None:
    (total,) = connection.execute(
        "SELECT coalesce(sum(length(content)), 0) FROM happenings"
    ).fetchone()
    if total <= MOST_CONTENT_CHARS:
        return
    # A tenth at once, so that it need not be done again at the next batch.
    connection.execute(
        "DELETE FROM happenings WHERE key <= (SELECT key FROM (SELECT key, sum(length(content))"
        " OVER (ORDER BY key) AS upto FROM happenings) WHERE upto >= ? ORDER BY key LIMIT 1)",
        (total - 0.9 * MOST_CONTENT_CHARS,),
    )
