"""Boots of machines and their dates: how what is stored by uptime is put in order and dated.

A box has no clock battery: after a pulled plug its date may be years off until the network or a
phone tells it.  So nothing is stored by date.  Order is the order of the boots and the uptime
within one, durations are differences of uptime, and a date is looked up when somebody asks: told
an hour late it is right for that hour too.
"""

from __future__ import annotations

import sqlite3
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from monitor.clock import Now
from monitor.journal.asks import Dated, Instant

RANK: dict[str, int] = {"believed": 0, "phone": 1, "network": 2}
"""Whose word stands over whose; of the same rank the latest."""


@dataclass(frozen=True, slots=True)
class Boot:
    """One boot; ``zero_utc_s`` is the date at uptime 0, None if nobody ever said one."""

    seq: int
    boot_id: str
    zero_utc_s: float | None
    source: Dated
    own: bool


class Boots:
    """All boots the journal knows, as they are dated now."""

    def __init__(self, boots: Iterable[Boot]) -> None:
        self._boots = {boot.boot_id: boot for boot in boots}

    @classmethod
    def read(cls, connection: sqlite3.Connection, now: Now | None = None) -> Boots:
        """Return them from the file, with this boot as ``now`` has it where nobody knows better."""
        rows = connection.execute("SELECT seq, boot_id, zero_utc_s, source, own FROM boots")
        boots = cls(Boot(*values) for values in rows)
        if now is not None and now.clock_trusted:
            seq = boots.seq(now.boot_id) or 1 + max(
                (b.seq for b in boots._boots.values()), default=0
            )
            zero_utc_s = now.utc_s - now.uptime_s
            boots._boots[now.boot_id] = Boot(seq, now.boot_id, zero_utc_s, "network", own=True)
        return boots

    def seq(self, boot_id: str) -> int:
        """Return where a boot stands in their order; 0 if it is not known."""
        boot = self._boots.get(boot_id)
        return 0 if boot is None else boot.seq

    def is_own(self, boot_id: str) -> bool:
        """Return whether it was this box that booted."""
        boot = self._boots.get(boot_id)
        return boot is not None and bool(boot.own)

    def dated(self, boot_id: str) -> Dated:
        """Return on whose word the boot's dates are."""
        boot = self._boots.get(boot_id)
        return "believed" if boot is None else boot.source

    def utc_s(self, instant: Instant) -> float | None:
        """Return the date in seconds since 1970; None if nobody ever said one."""
        boot = self._boots.get(instant.boot_id)
        if boot is None or boot.zero_utc_s is None:
            return None
        return boot.zero_utc_s + instant.uptime_s

    def between_s(self, first: Instant, second: Instant) -> float | None:
        """Return the seconds from one instant to another, None if no clock can tell.

        Within a boot by its uptime, across boots only by dates of network or phone.
        """
        if first.boot_id == second.boot_id:
            return second.uptime_s - first.uptime_s
        if "believed" in (self.dated(first.boot_id), self.dated(second.boot_id)):
            return None
        first_s, second_s = self.utc_s(first), self.utc_s(second)
        return None if first_s is None or second_s is None else second_s - first_s

    def order(self, instants: Sequence[Instant]) -> list[int]:
        """Return the places of ``instants`` from the oldest to the newest.

        This box's own by the order of its boots, whatever their dates.  What was taken in from
        another box comes after the last of them that is known to have been earlier: where nobody
        knows, the box's own is the newer.
        """
        own = sorted(
            (i for i, at in enumerate(instants) if self.is_own(at.boot_id)),
            key=lambda i: (self.seq(instants[i].boot_id), instants[i].uptime_s),
        )
        known = self._known_dates([instants[i] for i in own])
        keys = {i: (place, 0, 0.0, 0, 0.0) for place, i in enumerate(own, 1)}
        for i, at in enumerate(instants):
            if i not in keys:
                utc_s = self.utc_s(at)
                earlier = 0 if utc_s is None else bisect_right(known, utc_s, key=lambda k: k[0])
                place = known[earlier - 1][1] if earlier else 0
                keys[i] = (place, 1, utc_s or 0.0, self.seq(at.boot_id), at.uptime_s)
        return sorted(keys, key=keys.__getitem__)

    def _known_dates(self, own: Sequence[Instant]) -> list[tuple[float, int]]:
        """Return the sure dates among instants in order, never earlier than before, with places."""
        found: list[tuple[float, int]] = []
        for place, at in enumerate(own, 1):
            utc_s = self.utc_s(at)
            if utc_s is not None and self.dated(at.boot_id) != "believed":
                found.append((max(utc_s, found[-1][0]) if found else utc_s, place))
        return found


def note_word(
    connection: sqlite3.Connection, at: Instant, utc_s: float | None, source: str, *, own: bool
) -> None:
    """Keep what somebody says the date was at an instant, unless a better word is known."""
    zero_utc_s = None if utc_s is None else utc_s - at.uptime_s
    known = connection.execute(
        "SELECT source, zero_utc_s FROM boots WHERE boot_id = ?", (at.boot_id,)
    ).fetchone()
    if known is None:
        connection.execute(
            "INSERT INTO boots (boot_id, zero_utc_s, source, last_uptime_s, own)"
            " VALUES (?, ?, ?, ?, ?)",
            (at.boot_id, zero_utc_s, source, at.uptime_s, own),
        )
        return
    connection.execute(
        "UPDATE boots SET last_uptime_s = max(last_uptime_s, ?) WHERE boot_id = ?",
        (at.uptime_s, at.boot_id),
    )
    if zero_utc_s is not None and (known[1] is None or RANK[source] >= RANK[known[0]]):
        connection.execute(
            "UPDATE boots SET zero_utc_s = ?, source = ? WHERE boot_id = ?",
            (zero_utc_s, source, at.boot_id),
        )
