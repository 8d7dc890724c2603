"""Gigs of one evening at one place, put together: only another evening is further evidence.

An evening comes in two gigs where it was quiet for long between soundcheck and set, where the plug
was out, or where two boxes listened to it and one took in the other's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import zip_longest

from monitor.memory.gig_memory import GigMemory, PullMemory
from monitor.memory.recent import has_date

EVENING_S = 6 * 3600.0
"""From load-in to the last set of a small venue it is no longer; a matinee counts by itself."""
_HOUR_S = 3600.0


def evenings_of(gigs: Sequence[GigMemory]) -> list[GigMemory]:
    """Return one for each evening, in the order given.

    Parameters
    ----------
    gigs : sequence of GigMemory
        Oldest first.  One whose date nobody confirmed, or without a venue, stays by itself.
    """
    found: list[GigMemory] = []
    newest: dict[str, int] = {}
    for gig in gigs:
        before = newest.get(gig.venue_uid or "")
        if before is not None and are_one_evening(found[before], gig):
            found[before] = _together(found[before], gig)
            continue
        if gig.venue_uid is not None and has_date(gig):
            newest[gig.venue_uid] = len(found)
        found.append(gig)
    return found


def are_one_evening(first: GigMemory, later: GigMemory) -> bool:
    """Return whether two gigs at one venue are surely one evening: by dates that somebody set."""
    return has_date(first) and has_date(later) and 0.0 <= _since_s(first, later) < EVENING_S


def _since_s(first: GigMemory, later: GigMemory) -> float:
    return (later.utc_s or 0.0) - (first.utc_s or 0.0)


def _together(first: GigMemory, later: GigMemory) -> GigMemory:
    """What the later one says of the end stands; seconds count from the first one's beginning."""
    since_s = _since_s(first, later)
    # The equaliser goes with the pulls: the other box may have been told of neither.
    whose = later if later.equaliser and (later.pulls or not first.pulls) else first
    rings = [*first.rings, *(replace(r, at_s=r.at_s + since_s) for r in later.rings)]
    songs = [*first.songs, *(replace(s, at_s=s.at_s + since_s) for s in later.songs)]
    return replace(
        first,
        rings=tuple(sorted(rings, key=lambda ring: ring.at_s)),
        songs=tuple(sorted(songs, key=lambda song: song.at_s)),
        pulls=_pulls(first, later, since_s),
        ring_out=later.ring_out or first.ring_out,
        hours_heard_s=_hours(first.hours_heard_s, later.hours_heard_s, since_s),
        hours_set_s=_hours(first.hours_set_s, later.hours_set_s, since_s),
        voice_dbfs=first.voice_dbfs if later.voice_dbfs is None else later.voice_dbfs,
        equaliser=whose.equaliser,
        sliders=whose.sliders,
        is_whole=first.is_whole and later.is_whole,
    )


def _pulls(first: GigMemory, later: GigMemory, since_s: float) -> tuple[PullMemory, ...]:
    """How the sliders stood at the end, each since it was first pulled that evening."""
    if not later.pulls:
        return first.pulls  # the other box was told of none
    begun = {pull.label: pull for pull in first.pulls}
    return tuple(
        replace(pull, first_at_s=begun[pull.label].first_at_s, begun_db=begun[pull.label].begun_db)
        if pull.label in begun
        else replace(pull, first_at_s=pull.first_at_s + since_s)
        for pull in later.pulls
    )


def _hours(first: Sequence[float], later: Sequence[float], since_s: float) -> tuple[float, ...]:
    """Add what was heard, to whole hours; no hour is heard for longer than it is."""
    moved = [0.0] * round(since_s / _HOUR_S) + [*later] if later else []
    return tuple(min(a + b, _HOUR_S) for a, b in zip_longest(first, moved, fillvalue=0.0))
