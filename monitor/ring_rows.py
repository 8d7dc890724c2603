"""Between what is shown of a ring and what the journal keeps of it."""

from __future__ import annotations

import math
import time

from monitor import clock
from monitor.journal.rows import RingRow
from monitor.listening.rings import Way
from monitor.tonight import PastRing, Shown


def ring_row(shown: Shown, *, session: str, boot_id: str, way: Way) -> RingRow:
    """Return a ring as the journal keeps it; times on the clock that counts from boot."""
    to_uptime_s = clock.uptime_s() - time.monotonic()
    started_ago_s = time.monotonic() - shown.started_mono_s
    ended = shown.ended_mono_s
    return RingRow(
        session=session,
        id=shown.id,
        boot_id=boot_id,
        degree=shown.degree,
        way=way,
        frequency_hz=shown.frequency_hz,
        band=shown.band.label,
        slider=shown.slider.label,
        level_dbfs=_kept(shown.level_dbfs),
        growth_db_per_s=_kept(shown.growth_db_per_s),
        start_uptime_s=shown.started_mono_s + to_uptime_s,
        end_uptime_s=None if ended is None else ended + to_uptime_s,
        utc=time.time() - started_ago_s,
        clock_trusted=clock.is_trusted(),
    )


def past_ring(row: RingRow, *, age_s: float) -> PastRing | None:
    """Return a kept ring as tonight remembers it; it ended, or was cut off, ``age_s`` ago.

    None where it makes no sense: a card that fails may change a value and nothing else.
    """
    figures = (row.frequency_hz, row.level_dbfs, row.growth_db_per_s, row.id, age_s)
    if not all(isinstance(each, int | float) and math.isfinite(each) for each in figures):
        return None
    if row.frequency_hz <= 0.0:
        return None
    ended_mono_s = time.monotonic() - age_s
    ended_uptime_s = row.start_uptime_s if row.end_uptime_s is None else row.end_uptime_s
    return PastRing(
        id=row.id,
        degree="howl" if row.degree == "howl" else "ringing",
        frequency_hz=row.frequency_hz,
        level_dbfs=row.level_dbfs,
        growth_db_per_s=row.growth_db_per_s,
        started_mono_s=ended_mono_s - (ended_uptime_s - row.start_uptime_s),
        ended_mono_s=ended_mono_s,
    )


def _kept(value: float) -> float:
    return value if math.isfinite(value) else 0.0
