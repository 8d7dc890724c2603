"""What was counted of one place on the axis, for people to judge a verdict by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass

from monitor.memory.clusters import Group
from monitor.memory.exposure import hidden_part
from monitor.memory.gig_memory import GigMemory

_HIDDEN = 0.5
"""An evening is counted as pulled quiet from half its chance on."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """On how many evenings it rang at its venue and elsewhere, and at how many venues.

    ``hidden_count`` are the evenings on which it stood pulled and so could not ring.
    ``quiet_count`` are the evenings since it rang last on which it could have, at its venue;
    ``quiet_anywhere_count`` the same at any.
    """

    here_rang: int
    here_of: int
    elsewhere_rang: int
    elsewhere_of: int
    venues_rang: int
    venues_of: int
    hidden_count: int
    quiet_count: int
    quiet_anywhere_count: int

    @property
    def rang(self) -> int:
        """On how many evenings in all."""
        return self.here_rang + self.elsewhere_rang

    @property
    def of(self) -> int:
        """How many evenings in all."""
        return self.here_of + self.elsewhere_of

    def fields(self) -> dict[str, int]:
        """Return it as it goes over the link."""
        return asdict(self)


def evidence_of(group: Group, gigs: Sequence[GigMemory], own: str) -> Evidence:
    """Return what was counted; ``gigs`` all have a venue, oldest first, ``own`` is one of them."""
    here = [gig for gig in gigs if gig.venue_uid == own]
    here_rang = sum(_rang(group, gig) for gig in here)
    hidden = sum(not _rang(group, gig) and _is_hidden(group, gig) for gig in gigs)
    return Evidence(
        here_rang,
        len(here),
        sum(_rang(group, gig) for gig in gigs) - here_rang,
        len(gigs) - len(here),
        len(group.venues),
        len({gig.venue_uid for gig in gigs}),
        hidden,
        _quiet(group, here),
        _quiet(group, gigs),
    )


def _rang(group: Group, gig: GigMemory) -> bool:
    return group.first_at_s(gig.uid) is not None


def _is_hidden(group: Group, gig: GigMemory) -> bool:
    return hidden_part(gig, group.frequency_hz) >= _HIDDEN


def _quiet(group: Group, gigs: Sequence[GigMemory]) -> int:
    count = 0
    for gig in reversed(gigs):
        if _rang(group, gig):
            break
        count += not _is_hidden(group, gig)
    return count
