"""Seconds since a gig began, for everything in it, across restarts of the machine.

Within a boot they are differences of uptime.  What came in a later boot came after all of the
earlier one and at least its own uptime later: that much is sure.  Where network or phone have
dated both boots, the pause between them is known as well; otherwise it counts as nothing and the
gig is ``in_doubt``.
"""

from __future__ import annotations

from collections.abc import Iterable

from monitor.journal.asks import Instant
from monitor.journal.boots import Boots


class Timeline:
    """Made of a gig's beginning and all of its instants; ``at_s`` never runs backwards."""

    def __init__(self, begun: Instant, instants: Iterable[Instant], boots: Boots) -> None:
        latest_s: dict[str, float] = {begun.boot_id: begun.uptime_s}
        for at in instants:
            latest_s[at.boot_id] = max(latest_s.get(at.boot_id, 0.0), at.uptime_s)
        self._offset_s = {begun.boot_id: -begun.uptime_s}
        self.in_doubt = False
        end_s = latest_s[begun.boot_id] - begun.uptime_s
        later = sorted((b for b in latest_s if b != begun.boot_id), key=boots.seq)
        for boot_id in later:
            pause_s = boots.between_s(begun, Instant(boot_id, 0.0))
            self.in_doubt |= pause_s is None
            self._offset_s[boot_id] = end_s if pause_s is None else max(pause_s, end_s)
            end_s = self._offset_s[boot_id] + latest_s[boot_id]
        self.end_s = end_s
        self.boots = (begun.boot_id, *later)

    def at_s(self, at: Instant) -> float:
        """Return the seconds since the gig began; 0 for what was just before."""
        return max(0.0, self._offset_s[at.boot_id] + at.uptime_s)
