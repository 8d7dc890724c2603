"""A journal whose clock is set by hand, and questions that are waited for."""

from __future__ import annotations

import queue
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from monitor.clock import Now
from monitor.journal.asks import GigChange, Happening, Instant, Question, VenueChange
from monitor.journal.rows import RingRow
from monitor.journal.store import Journal
from monitor.journal.writing import Change

PATIENCE_S = 60.0
MAY_2031_S = 1_936_815_300.0
"""2031-05-17T20:15:00Z."""
BEGIN = Now("boot-1", 100.0, MAY_2031_S, False)


@dataclass
class HandClock:
    """A machine's clocks: uptime runs by itself only when told to, the date is what is believed."""

    now: Now = BEGIN

    def __call__(self) -> Now:
        return self.now

    def run(self, seconds: float) -> None:
        """Time goes by."""
        self.now = replace(
            self.now, uptime_s=self.now.uptime_s + seconds, utc_s=self.now.utc_s + seconds
        )

    def jump(self, seconds: float) -> None:
        """Somebody sets the date; no time goes by."""
        self.now = replace(self.now, utc_s=self.now.utc_s + seconds)

    def restart(self, boot_id: str, *, utc_s: float, trusted: bool = False) -> None:
        """The plug is pulled and put back."""
        self.now = Now(boot_id, 5.0, utc_s, trusted)

    def at(self) -> Instant:
        """Return this instant."""
        return Instant(self.now.boot_id, self.now.uptime_s)


class Told:
    """A journal of a test's own, to be told and asked in one line each."""

    def __init__(self, path: Path, clock: HandClock | None = None, **options: Any) -> None:
        self.path = path
        self.clock = clock or HandClock()
        self.journal = Journal(
            path, **{"keep_rings": 100_000, "retry_s": 0.2, "now": self.clock, **options}
        )

    def tell(self, change: Change) -> str:
        """Tell it and wait; return the problem."""
        answers: queue.Queue[str] = queue.Queue()
        self.journal.tell(change, answers.put)
        return answers.get(timeout=PATIENCE_S)

    def ask(self, question: Question, patience_s: float = PATIENCE_S) -> Any:
        """Ask it and wait; the problem must be empty."""
        result, problem = self.ask_badly(question, patience_s)
        assert problem == ""
        return result

    def ask_badly(self, question: Question, patience_s: float = PATIENCE_S) -> tuple[Any, str]:
        """Ask it and wait; return the result and the problem."""
        answers: queue.Queue[tuple[Any, str]] = queue.Queue()
        self.journal.ask(question, lambda result, problem: answers.put((result, problem)))
        return answers.get(timeout=patience_s)

    def begin(self, uid: str, **changes: Any) -> None:
        """Begin a gig now."""
        assert self.tell(GigChange(uid, begun=self.clock.at(), **changes)) == ""

    def end(self, uid: str, by: Any = "button") -> None:
        """End it now."""
        assert self.tell(GigChange(uid, ended=self.clock.at(), ended_by=by)) == ""

    def venue(self, uid: str, name: str) -> None:
        """Make a venue."""
        assert self.tell(VenueChange(uid, name)) == ""

    def happens(self, gig: str, kind: Any, **content: Any) -> None:
        """Something happens now; not waited for."""
        at = self.clock.at()
        self.journal.tell(Happening(gig, kind, at.boot_id, at.uptime_s, content))

    def rings(self, gig: str | None, number: int, **changes: Any) -> RingRow:
        """It rings for two seconds from now on; not waited for."""
        now = self.clock.now
        row = RingRow(
            session="s", id=number, boot_id=now.boot_id, degree="ringing", way="set",
            frequency_hz=2480.0, band="2.5k", slider="2.5k", level_dbfs=-20.0,
            growth_db_per_s=30.0, start_uptime_s=now.uptime_s, end_uptime_s=now.uptime_s + 2.0,
            utc=now.utc_s, clock_trusted=now.clock_trusted, gig=gig,
        )  # fmt: skip
        row = replace(row, **changes)
        self.journal.put(row)
        return row

    def close(self) -> None:
        """Write everything and close."""
        self.journal.close(timeout_s=PATIENCE_S)
