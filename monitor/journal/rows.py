"""A ring as it is kept.

Conventions
-----------
Times ending in ``_uptime_s`` are seconds of ``CLOCK_BOOTTIME`` of the boot ``boot_id``.  Put in,
``utc`` is the date as the box believed it when the ring began, in seconds since 1970, and
``clock_trusted`` says whether it had been set from the network by then.  Read back, both are by
the best word that has come about that boot since, a phone's included (``boots``).
"""

from __future__ import annotations

from dataclasses import astuple, dataclass, fields
from typing import Any

from monitor.clock import utc_text


@dataclass(frozen=True, slots=True)
class RingRow:
    """One ring as it is kept; ``session`` is one run of the watcher, ``id`` unique within it.

    ``gig`` is the uid of the gig it belongs to, None where there is none.
    """

    session: str
    id: int
    boot_id: str
    degree: str
    way: str
    frequency_hz: float
    band: str
    slider: str
    level_dbfs: float
    growth_db_per_s: float
    start_uptime_s: float
    end_uptime_s: float | None
    utc: float
    clock_trusted: bool
    gig: str | None = None


COLUMNS = ", ".join(f.name for f in fields(RingRow))
INSERT = (
    f"INSERT INTO rings ({COLUMNS}) VALUES ({', '.join('?' * len(fields(RingRow)))}) "
    "ON CONFLICT (session, id) DO UPDATE SET "
    + ", ".join(
        f"{c} = excluded.{c}"
        for c in ("degree frequency_hz band slider level_dbfs growth_db_per_s end_uptime_s".split())
    )
)
"""What is known of a ring that is here already is brought up to date; behind it, where."""
UPSERT = f"{INSERT}, gig = coalesce(excluded.gig, gig)"


def to_sql(row: RingRow) -> tuple[Any, ...]:
    """Return the values for ``INSERT``."""
    return astuple(row)


def from_sql(values: tuple[Any, ...]) -> RingRow:
    """Return the row that ``SELECT COLUMNS`` gave."""
    *others, clock_trusted, gig = values
    return RingRow(*(*others, bool(clock_trusted), gig))


def what_rang(row: RingRow) -> dict[str, Any]:
    """Return what is told of a ring wherever it is told; what is not known is None."""
    lasted_s = None if row.end_uptime_s is None else row.end_uptime_s - row.start_uptime_s
    return {
        "lasted_s": None if lasted_s is None else round(max(0.0, lasted_s), 2),
        "degree": row.degree,
        "way": row.way,
        "frequency_hz": round(row.frequency_hz, 2),
        "band": row.band,
        "slider": row.slider,
        "level_dbfs": round(row.level_dbfs, 1),
        "growth_db_per_s": round(row.growth_db_per_s, 1) + 0.0,  # and never -0.0
    }


def history_fields(row: RingRow, *, boot_id: str, uptime_s: float) -> dict[str, Any]:
    """Return a row as it goes over the link; what is not known is None."""
    same_boot = row.boot_id == boot_id
    ended = row.end_uptime_s if row.end_uptime_s is not None else row.start_uptime_s
    return {
        "id": row.id,
        **what_rang(row),
        "start_uptime_s": round(row.start_uptime_s, 2),
        "ended_ago_s": round(max(0.0, uptime_s - ended), 1) if same_boot else None,
        "utc": utc_text(row.utc),
        "clock_trusted": row.clock_trusted,
    }
