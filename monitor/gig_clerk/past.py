"""The rings of a gig that goes on after a restart: tonight's list forgets nothing."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from monitor.gig_clerk.asking import NoAnswerError, asked
from monitor.gig_clerk.resuming import ages_of
from monitor.journal.asks import GigRings, GigStanding
from monitor.journal.rows import RingRow
from monitor.journal.store import Journal

REMEMBERED = 500

Remember = Callable[[Sequence[tuple[RingRow, float]]], None]
"""Takes rings, oldest first, each with how many seconds ago it ended."""


class GigPast:
    """Looks the rings up and hands them over, whichever comes first; in the clerk's thread."""

    def __init__(
        self, journal: Journal, *, boot_id: str, session: str, uptime_s: Callable[[], float]
    ) -> None:
        self._journal = journal
        self._boot_id = boot_id
        self._session = session
        self._uptime_s = uptime_s
        self._remember: Remember | None = None
        self._found: list[tuple[RingRow, float]] = []
        self._found_s = 0.0

    def look_up(self, standing: GigStanding) -> None:
        """Read the rings of a gig that goes on; this run's own are known already."""
        try:
            kept = asked(self._journal, GigRings(standing.uid, REMEMBERED))
        except NoAnswerError:
            return  # tonight's list begins anew; nothing is lost
        rows = [row for row in kept if row.session != self._session]
        self._found_s = self._uptime_s()
        self._found = ages_of(rows, standing, boot_id=self._boot_id, now_s=self._found_s)
        self._hand_over()

    def hand_to(self, remember: Remember) -> None:
        """Name who is to be told."""
        self._remember = remember
        self._hand_over()

    def _hand_over(self) -> None:
        if self._found and self._remember is not None:
            later_s = self._uptime_s() - self._found_s
            found, self._found = self._found, []
            self._remember([(row, age_s + later_s) for row, age_s in found])
