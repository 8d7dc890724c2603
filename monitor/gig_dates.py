"""Who has told the date in this boot, and what that says of a gig from before the restart."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from monitor.gig_asking import asked
from monitor.gig_desk import answer
from monitor.gig_keeping import GigKeeping
from monitor.gig_resuming import doubted_age_s
from monitor.journal.asks import (
    ClockWord,
    Dated,
    DeleteGig,
    GigChange,
    GigRings,
    GigStanding,
    ListGigs,
)
from monitor.journal.store import Journal
from monitor.link_server import Reply

MOST_RINGS = 5000


class GigDates:
    """Takes the word of phones and of the network; in the clerk's thread.

    Parameters
    ----------
    journal, keeping : Journal, GigKeeping
        Whom it is passed on to.
    boot_id : str
        What this boot is called.
    uptime_s, utc_s : callable
        The clock that counts from boot, and the date as the box believes it.
    goes_on : callable
        Told of a gig from before the restart that goes on after all.

    Attributes
    ----------
    dated : {"network", "phone", "believed"}
        Whose word the date is at present.
    """

    def __init__(
        self,
        journal: Journal,
        keeping: GigKeeping,
        *,
        boot_id: str,
        uptime_s: Callable[[], float],
        utc_s: Callable[[], float],
        goes_on: Callable[[GigStanding], None],
    ) -> None:
        self._journal = journal
        self._keeping = keeping
        self._boot_id = boot_id
        self._uptime_s = uptime_s
        self._utc_s = utc_s
        self._goes_on = goes_on
        self.dated: Dated = "believed"

    def told(self, utc_s: float, at_s: float, reply: Reply) -> None:
        """A phone said that it was ``utc_s`` at ``at_s`` of this boot."""
        word = ClockWord(self._boot_id, at_s, utc_s, "phone")
        self._journal.tell(word, lambda problem: reply(answer(problem, {})))
        if self.dated != "network":
            self.dated = "phone"
            self._settle_doubt(utc_s - at_s)

    def look(self) -> None:
        """See whether the network has set the date by now, or a phone had before a restart."""
        dated = self._journal.dated
        if dated == "believed" or self.dated in (dated, "network"):
            return
        self.dated = dated
        if dated == "network":
            self._settle_doubt(self._utc_s() - self._uptime_s())

    def _settle_doubt(self, zero_utc_s: float) -> None:
        """Now that there is a date: did the gig from before the restart go on?"""
        doubted = self._keeping.doubted
        if doubted is None:
            return
        gigs = asked(self._journal, ListGigs(10)) or []
        ages = doubted_age_s(doubted, gigs, zero_utc_s + self._uptime_s())
        since = self._keeping.settle_doubt(ages.last_s, ages.begun_s)
        gig = self._keeping.gig
        if gig is None or gig.uid != doubted.uid:
            return
        if since is not None:
            self._put_together(since, gig.uid)
        self._goes_on(replace(doubted, last_age_s=ages.last_s, begun_age_s=ages.begun_s))

    def _put_together(self, since: str, into: str) -> None:
        """Move the rings of the gig that was begun since, and take it away once they are there."""
        rows = asked(self._journal, GigRings(since, MOST_RINGS)) or []

        def moved(problem: str) -> None:
            if not problem:
                self._journal.ask(DeleteGig(since), lambda _result, _problem: None)

        for row in rows:
            self._journal.put(replace(row, gig=into))
        # Changes are written in their order: with this one all before it are on the disk.
        self._journal.tell(GigChange(into), moved)
