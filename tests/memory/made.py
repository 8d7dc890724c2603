"""Short ways to write gigs down."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.memory.gig_memory import GigMemory, PullMemory, RingMemory

WEEK_S = 7.0 * 86400.0


def ring(frequency_hz: float, at_s: float = 600.0, *, way: str = "set") -> RingMemory:
    return RingMemory(frequency_hz, "howl", way, at_s)


def pull(label: str, centre_hz: float, pull_db: float, first_at_s: float = 700.0) -> PullMemory:
    return PullMemory(label, centre_hz, pull_db, None, first_at_s)


_count = 0


def gig(
    venue: str | None,
    rang_hz: Sequence[float] = (),
    pulls: Sequence[PullMemory] = (),
    **more: object,
) -> GigMemory:
    """A usual evening at a venue, each a week after the one made before."""
    global _count
    _count += 1
    values: dict[str, object] = {
        "uid": f"gig{_count}",
        "venue_uid": venue,
        "venue_name": venue and f"The {venue}",
        "utc_s": 1.8e9 + WEEK_S * _count,
        "dated": "network",
        "rings": tuple(ring(hz) for hz in rang_hz),
        "pulls": tuple(pulls),
        "hours_heard_s": (3600.0, 3600.0),
        "equaliser": "31 bands",
        **more,
    }
    return GigMemory(**values)  # type: ignore[arg-type]
