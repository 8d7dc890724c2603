"""The last gig at a venue: what was said after it for next time is of use on coming back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from monitor.clock import utc_text
from monitor.memory.gig_memory import GigMemory
from monitor.memory.recent import has_date
from monitor.memory.same_evening import are_one_evening

QUIET_SAYS_S = 1800.0
"""A gig in which nothing rang and nothing was pulled says something after half an hour: as long as
the report takes to say that it went well.  The venue chosen once at home is no evening there."""


@dataclass(frozen=True, slots=True)
class LastTime:
    """Which gig it was; its date where somebody set it, its equaliser where it was another."""

    gig_uid: str
    utc_s: float | None
    other_equaliser: str | None

    def fields(self) -> dict[str, Any]:
        """Return it as it goes over the link; what is not known is absent."""
        fields: dict[str, Any] = {"gig": self.gig_uid}
        if self.utc_s is not None:
            fields["utc"] = utc_text(self.utc_s)
        if self.other_equaliser is not None:
            fields["other_equaliser"] = self.other_equaliser
        return fields


def last_time(
    gigs: Sequence[GigMemory], equaliser: str | None, tonight: GigMemory | None
) -> LastTime | None:
    """Return the last gig that says something, the very last if none does; None without any.

    Parameters
    ----------
    gigs : sequence of GigMemory
        Of one venue, oldest first.
    equaliser : str or None
        The name of the one in use; None: that of the last gig.
    tonight : GigMemory or None
        The gig that goes on.  An earlier half of its evening is not last time.
    """
    before = [gig for gig in gigs if tonight is None or not are_one_evening(gig, tonight)]
    if not before:
        return None
    last = next((gig for gig in reversed(before) if _says_something(gig)), before[-1])
    is_other = None not in (equaliser, last.equaliser) and last.equaliser != equaliser
    return LastTime(
        last.uid,
        last.utc_s if has_date(last) else None,
        last.equaliser if is_other else None,
    )


def _says_something(gig: GigMemory) -> bool:
    is_busy = bool(gig.rings or gig.pulls) or gig.ring_out is not None
    return is_busy or sum(gig.hours_heard_s) >= QUIET_SAYS_S
