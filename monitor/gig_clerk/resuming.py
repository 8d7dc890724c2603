"""How long ago things of a gig were, from rows and dates that may be of an earlier boot.  Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from monitor.journal.asks import GigStanding
from monitor.journal.rows import RingRow

SURE = ("network", "phone")


def ages_of(
    rows: Sequence[RingRow], standing: GigStanding, *, boot_id: str, now_s: float
) -> list[tuple[RingRow, float]]:
    """Return the rings with how many seconds ago each ended, those left out that no clock can tell.

    A ring without an end was cut off by a pulled plug: its start counts.
    """
    # By the best word on each boot, the date at its uptime 0.
    zeros = {row.boot_id: row.utc - row.start_uptime_s for row in rows if row.clock_trusted}
    last, last_age_s = standing.last, standing.last_age_s
    found = []
    for row in rows:
        end_s = row.start_uptime_s if row.end_uptime_s is None else row.end_uptime_s
        if row.boot_id == boot_id:
            age_s = now_s - end_s
        elif last_age_s is None:
            continue
        elif row.boot_id == last.boot_id:
            age_s = last_age_s + last.uptime_s - end_s
        elif row.boot_id in zeros and last.boot_id in zeros:
            last_utc_s = zeros[last.boot_id] + last.uptime_s
            age_s = last_age_s + last_utc_s - (zeros[row.boot_id] + end_s)
        else:
            continue
        found.append((row, max(0.0, age_s)))
    return found


@dataclass(frozen=True, slots=True)
class DoubtedAges:
    """How long ago a doubted gig began and was last done something; None if no clock can tell."""

    begun_s: float | None = None
    last_s: float | None = None


def doubted_age_s(
    doubted: GigStanding, gigs: Sequence[Mapping[str, Any]], now_utc_s: float
) -> DoubtedAges:
    """Return the ages of a gig that was in doubt, from the list of gigs and today's date."""
    line = next((gig for gig in gigs if gig.get("uid") == doubted.uid), None)
    if line is None or line["begun"].get("dated") not in SURE or "utc" not in line["begun"]:
        return DoubtedAges()
    begun_age_s = now_utc_s - datetime.fromisoformat(line["begun"]["utc"]).timestamp()
    lasted_s = line.get("lasted_s")
    if lasted_s is None or begun_age_s < lasted_s:
        return DoubtedAges()
    return DoubtedAges(begun_age_s, begun_age_s - lasted_s)
