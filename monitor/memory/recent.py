"""How much an earlier evening still counts."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.memory.gig_memory import GigMemory

HALVES_AFTER = 2
"""Evenings at the same venue: chairs, people and wedge have moved since.  Our choice."""


def has_date(gig: GigMemory) -> bool:
    """Return whether its date was set from the network or by a phone."""
    return gig.utc_s is not None and gig.dated != "believed"


def in_order(gigs: Sequence[GigMemory]) -> list[GigMemory]:
    """Return gigs oldest first: those with a date that somebody set by it, others as they came."""
    dated = iter(sorted((gig for gig in gigs if has_date(gig)), key=lambda gig: gig.utc_s or 0.0))
    return [next(dated) if has_date(gig) else gig for gig in gigs]


def weight(evenings_ago: int) -> float:
    """Return the weight of an evening; 0 is the last one."""
    return 0.5 ** (evenings_ago / HALVES_AFTER)


def weighted_median(values: Sequence[tuple[float, float]]) -> float:
    """Return the value below which half the weight lies; the lower one on a tie.

    ``values`` are (value, weight), at least one.
    """
    half = sum(w for _, w in values) / 2.0
    reached = 0.0
    for value, w in sorted(values):
        reached += w
        if reached >= half - 1e-12:
            return value
    return max(values)[0]
