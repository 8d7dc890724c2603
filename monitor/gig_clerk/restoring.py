"""What the gigs go on from after a start: the newest gig and the venues, as the journal has them.

A card that does not come up with the box is asked again until it does; meanwhile a gig may have
begun, which is put into the older one if that goes on.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from typing import Any

from monitor.gig_clerk.asking import NoAnswerError, asked
from monitor.gig_clerk.keeping import GigKeeping
from monitor.journal.asks import GigStanding, ListVenues, NewestGig
from monitor.journal.store import Journal

LOG = logging.getLogger(__name__)

AGAIN_S = 5.0
"""As often as the journal itself tries a disk that failed."""


class Restoring:
    """Restores once; in the clerk's thread.

    Parameters
    ----------
    journal, keeping : Journal, GigKeeping
        From where, and into what.
    goes_on : callable
        Told of a gig from before the restart that goes on.
    in_doubt : callable
        Called where no clock could tell; a date may have been told meanwhile.
    later : callable
        Has a function called in the clerk's thread; returns False if there is no room.

    Attributes
    ----------
    is_done : bool
        Whether the journal has answered.
    """

    def __init__(
        self,
        journal: Journal,
        keeping: GigKeeping,
        *,
        goes_on: Callable[[GigStanding], None],
        in_doubt: Callable[[], None],
        later: Callable[[Callable[[], None]], bool],
    ) -> None:
        self._journal = journal
        self._keeping = keeping
        self._goes_on = goes_on
        self._in_doubt = in_doubt
        self._later = later
        self._next_mono_s = 0.0
        self.is_done = False

    def begin(self) -> None:
        """Wait for the journal's first answer, and go on from it."""
        try:
            self._go_on(asked(self._journal, NewestGig()))
        except NoAnswerError:
            LOG.warning("whether a gig goes on is asked again until the journal answers")

    def look(self) -> None:
        """Ask again if the journal has not answered yet; waits for nothing."""
        if self.is_done or time.monotonic() < self._next_mono_s:
            return
        self._next_mono_s = time.monotonic() + AGAIN_S
        gig = self._keeping.gig

        def answered(standing: Any, problem: str) -> None:
            if standing is not None or not problem:
                self._later(lambda: self._go_on(standing))

        self._journal.ask(NewestGig(but=None if gig is None else gig.uid), answered)

    def read_venues(self) -> None:
        """Read what venues there are."""
        for venue in asked(self._journal, ListVenues()):
            self._keeping.venues.setdefault(venue["uid"], venue["name"])

    def _go_on(self, standing: GigStanding | None) -> None:
        gig = self._keeping.gig
        if self.is_done or (gig is not None and standing is not None and gig.uid == standing.uid):
            return
        self.read_venues()
        self.is_done = True
        found = self._keeping.resume(standing)
        if found is not None and found.goes_on and standing is not None:
            self._goes_on(standing)
        if found is not None and found.in_doubt:
            self._in_doubt()
