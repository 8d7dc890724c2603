"""What the memory says of the venue of the gig that is on; worked out when it may have changed."""

from __future__ import annotations

import logging
import time
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from monitor.gig_clerk.keeping import GigKeeping
from monitor.journal.asks import Recollect
from monitor.journal.store import Journal

LOG = logging.getLogger(__name__)

ASK_AGAIN_S = 60.0
"""After no answer: a disk that failed when the venue was chosen may be well by the soundcheck."""


class Recollecting:
    """Asks the journal for what the memory says; ``of`` may be called from any thread."""

    def __init__(self, journal: Journal, keeping: GigKeeping, *, in_use: Recollect) -> None:
        self._in_use = in_use
        self._journal = journal
        self._keeping = keeping
        self._asked_for: tuple[str, str] | None = None
        self._again_mono_s = float("inf")
        self._said: tuple[str, Mapping[str, Any]] | None = None

    def is_old(self) -> None:
        """Gigs or venues have changed: ask again.  From any thread."""
        self._asked_for = None

    def look(self) -> None:
        """Ask, if the gig or its venue is another than was asked for; in the clerk's thread."""
        gig = self._keeping.gig
        if gig is None or gig.venue_uid is None:
            self._asked_for, self._said = None, None
            return
        wanted, venue_uid = (gig.uid, gig.venue_uid), gig.venue_uid
        if wanted == self._asked_for and time.monotonic() < self._again_mono_s:
            return
        self._asked_for, self._again_mono_s = wanted, float("inf")

        def told(found: Any, problem: str) -> None:
            if found is None:
                LOG.warning("the memory says nothing: %s", problem or "no answer")
                self._again_mono_s = time.monotonic() + ASK_AGAIN_S
            else:
                self._said = (venue_uid, found.on_arriving())

        # Tonight's own rings are on the page anyway; what they are held against is the past.
        question = replace(self._in_use, venue=venue_uid, but=gig.uid)
        self._journal.ask(question, told)

    def of(self, venue: Mapping[str, Any] | None) -> Mapping[str, Any] | None:
        """Return what was said of a venue, None as long as nothing was."""
        said = self._said
        return said[1] if said is not None and venue and said[0] == venue["uid"] else None
