"""Rings from before there were gigs: they become gigs, so that nothing is out of sight.

One gig for each evening: a ring belongs to the gig of the ring before it if it began less than
``EVENING_S`` after it, by the uptime within one boot, across boots by dates that were set from the
network.  Where no clock can tell, the same boot's first ring begins another gig: two gigs of one
evening do less harm to the memory than one gig of two.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from typing import Any

from monitor.uids import new_uid

EVENING_S = 6 * 3600.0
"""Longer than load-in to load-out in a small venue, shorter than from one evening to the next."""


def make_first_gigs(connection: sqlite3.Connection) -> None:
    """Fill ``boots`` and ``gigs`` from the rings, and say of each ring to which gig it belongs."""
    rings = connection.execute(
        "SELECT key, boot_id, start_uptime_s, coalesce(end_uptime_s, start_uptime_s), utc,"
        " clock_trusted FROM rings ORDER BY key"
    ).fetchall()
    _note_boots(connection, rings)
    for evening in _evenings(rings):
        uid, first, last = new_uid(), evening[0], evening[-1]
        connection.execute(
            "INSERT INTO gigs (uid, box, begun_boot_id, begun_uptime_s, ended_boot_id,"
            " ended_uptime_s, ended_by) VALUES (?, '', ?, ?, ?, ?, 'quiet')",
            (uid, first[1], first[2], last[1], last[3]),
        )
        connection.executemany(
            "UPDATE rings SET gig = ? WHERE key = ?", [(uid, ring[0]) for ring in evening]
        )


def _note_boots(connection: sqlite3.Connection, rings: list[tuple[Any, ...]]) -> None:
    known: dict[str, tuple[float, str, float]] = {}
    for _key, boot_id, start_s, end_s, utc_s, trusted in rings:
        before = known.get(boot_id, (0.0, "believed", 0.0))
        source = "network" if trusted else "believed"
        if before[1] == "network" and not trusted:
            zero_utc_s, source = before[0], before[1]
        else:
            zero_utc_s = utc_s - start_s
        known[boot_id] = (zero_utc_s, source, max(before[2], end_s))
    connection.executemany(
        "INSERT INTO boots (boot_id, zero_utc_s, source, last_uptime_s, own)"
        " VALUES (?, ?, ?, ?, 1)",
        [(boot_id, *rest) for boot_id, rest in known.items()],
    )


def _evenings(rings: list[tuple[Any, ...]]) -> Iterator[list[tuple[Any, ...]]]:
    evening: list[tuple[Any, ...]] = []
    for ring in rings:
        if evening and not _is_same_evening(evening[-1], ring):
            yield evening
            evening = []
        evening.append(ring)
    if evening:
        yield evening


def _is_same_evening(before: tuple[Any, ...], ring: tuple[Any, ...]) -> bool:
    _, boot_before, start_before_s, _, utc_before_s, trusted_before = before
    _, boot_id, start_s, _, utc_s, trusted = ring
    if boot_id == boot_before:
        return bool(start_s - start_before_s < EVENING_S)
    return bool(trusted and trusted_before and 0.0 <= utc_s - utc_before_s < EVENING_S)
