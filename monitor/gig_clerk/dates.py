"""Who has told the date in this boot, and what that says of a gig from before the restart."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from monitor.gig_clerk.asking import NoAnswerError, asked
from monitor.gig_clerk.desk import answer
from monitor.gig_clerk.keeping import GigKeeping
from monitor.gig_clerk.resuming import doubted_age_s
from monitor.journal.asks import ClockWord, Dated, GigStanding, ListGigs
from monitor.journal.store import Journal
from monitor.link.server import Reply


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
        self._zero_utc_s: float | None = None
        self.dated: Dated = "believed"

    @property
    def utc_s(self) -> float | None:
        """What the date is on that word, None while nobody has given one to this run."""
        zero_utc_s = self._zero_utc_s
        return None if zero_utc_s is None else zero_utc_s + self._uptime_s()

    def told(self, utc_s: float, at_s: float, reply: Reply) -> None:
        """A phone said that it was ``utc_s`` at ``at_s`` of this boot."""
        word = ClockWord(self._boot_id, at_s, utc_s, "phone")
        self._journal.tell(word, lambda problem: reply(answer(problem, {})))
        if self.dated != "network":
            self.dated, self._zero_utc_s = "phone", utc_s - at_s
            self.settle_doubt()

    def look(self) -> None:
        """See whether the network has set the date by now, or a phone had before a restart."""
        dated = self._journal.dated
        if dated == "believed" or self.dated in (dated, "network"):
            return
        self.dated = dated
        if dated == "network":
            self._zero_utc_s = self._utc_s() - self._uptime_s()
            self.settle_doubt()

    def settle_doubt(self) -> None:
        """Where there is a date: did the gig from before the restart go on?"""
        doubted = self._keeping.doubted
        if doubted is None or self._zero_utc_s is None:
            return
        try:
            gigs = asked(self._journal, ListGigs(10))
        except NoAnswerError:
            return  # still in doubt; the next word on the date settles it
        ages = doubted_age_s(doubted, gigs, self._zero_utc_s + self._uptime_s())
        if self._keeping.settle_doubt(ages.last_s, ages.begun_s):
            self._goes_on(replace(doubted, last_age_s=ages.last_s, begun_age_s=ages.begun_s))
