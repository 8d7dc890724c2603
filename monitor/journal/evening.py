"""Which rings of the journal belong to this evening, so that a restart forgets nothing."""

from __future__ import annotations

from collections.abc import Iterable

from monitor.clock import Now
from monitor.journal.rows import RingRow

EVENING_S = 6 * 3600.0
"""Longer than load-in to load-out in a small venue, shorter than from one evening to the next."""


def age_s(row: RingRow, now: Now) -> float | None:
    """Return how long ago a ring ended, None if no clock can tell.

    A ring without an end was cut off by a pulled plug or a crash: its start counts.  Across
    boots only dates that network or phone have set can be compared.
    """
    end_uptime_s = row.start_uptime_s if row.end_uptime_s is None else row.end_uptime_s
    if row.boot_id == now.boot_id:
        return now.uptime_s - end_uptime_s
    if row.clock_trusted and now.clock_trusted:
        return now.utc_s - row.utc - (end_uptime_s - row.start_uptime_s)
    return None


def this_evening(rows: Iterable[RingRow], now: Now) -> list[tuple[RingRow, float]]:
    """Return the rings of this evening with their ages, oldest first, from newest-first rows."""
    found = []
    for row in rows:
        age = age_s(row, now)
        if age is not None and 0.0 <= age < EVENING_S:
            found.append((row, age))
    return found[::-1]
