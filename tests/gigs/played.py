"""A gig clerk with a real journal, on a clock that is moved by hand."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from monitor.clock import Now
from monitor.gig_clerk.clerk import GigClerk
from monitor.journal.asks import GetRecord, ListGigs, Question
from monitor.journal.rows import RingRow
from monitor.journal.store import Journal
from monitor.link.commands import check_command
from monitor.link.messages import Message
from tests.core.stand_ins import PLAN
from tests.waiting import awaited

EQUALISER = {
    "name": "two",
    "deepest_db": 12.0,
    "sliders": [{"label": "1k", "centre_hz": 1000.0}, {"label": "2k", "centre_hz": 2000.0}],
}
ON_THE_DAY_UTC_S = 1_800_000_000.0
PATIENCE_S = 20.0


def curve_of(pulls: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """A response that says which pulls it was asked for; none below 12 dB can be."""
    if any(one["pull_db"] > 12.0 for one in pulls):
        raise ValueError("deeper than it goes")
    return {"hz": [100.0, 1000.0], "db": [0.0, -sum(one["pull_db"] for one in pulls)]}


def snapshot(**changes: Any) -> dict[str, Any]:
    """A snapshot with what the clerk looks at."""
    return {
        "class": "snapshot",
        "state": "quiet",
        "way": "set",
        "equaliser": EQUALISER,
        "standing": [],
        "soundcheck": {"ticks": [], "plan_revision": 0},
        "level_dbfs": -60.0,
        "peak_dbfs": -50.0,
        "third_octave_dbfs": [-70.0] * 31,
        **changes,
    }


class Evening:
    """One boot of a box: journal and clerk in ``folder``; ``restart`` or a new one goes on."""

    def __init__(
        self,
        folder: Path,
        *,
        boot_id: str = "boot-1",
        uptime_s: float = 100.0,
        utc_s: float = ON_THE_DAY_UTC_S,
        trusted: bool = False,
        session: str = "first",
        quiet_ends_min: float = 90.0,
    ) -> None:
        self.path = folder / "journal.sqlite3"
        self.boot_id, self.session = boot_id, session
        self.uptime_s, self.utc_s, self.trusted = uptime_s, utc_s, trusted
        self.past: list[tuple[RingRow, float]] = []
        self._next_ring = 1
        self._quiet_ends_min = quiet_ends_min
        self._open()

    def _now(self) -> Now:
        return Now(self.boot_id, self.uptime_s, self.utc_s, self.trusted)

    def _open(self, **changes: Any) -> None:
        self.journal = Journal(self.path, keep_rings=1000, box="left", retry_s=0.2, now=self._now)
        self.shot = snapshot(**changes)
        self.clerk = GigClerk(
            self.journal,
            ask_soundcheck=self._plan,
            settled=lambda: None,
            boot_id=self.boot_id,
            session=self.session,
            equaliser=EQUALISER,
            quiet_ends_min=self._quiet_ends_min,
            curve_of=curve_of,
            uptime_s=lambda: self.uptime_s,
            utc_s=lambda: self.utc_s,
        )
        self.clerk.remember(self.past.extend)
        awaited(self._is_at_work, PATIENCE_S)

    def _is_at_work(self) -> bool:
        self.clerk.see(dict(self.shot))
        return self.clerk._looked_at is not None

    def _plan(self, command: Message, reply: Callable[[Mapping[str, Any]], None]) -> None:
        assert command == {"class": "plan_get"}
        reply({"class": "plan", "revision": 3, "stage": PLAN})

    def pass_s(self, seconds: float) -> None:
        """Let time go by on every clock of the box."""
        self.uptime_s += seconds
        self.utc_s += seconds

    def see(self, **changes: Any) -> None:
        """Show the clerk another snapshot and have it looked at, without waiting for its turn."""
        self.shot = {**self.shot, **changes}
        shot = dict(self.shot)
        self.clerk.see(shot)
        looked: queue.Queue[object] = queue.Queue()
        assert self.clerk._later(lambda: (self.clerk._look(), looked.put(self.clerk._looked_at)))
        assert looked.get(timeout=PATIENCE_S) is shot

    def ring(self, hz: float = 2480.0, *, closes_after_s: float | None = 1.0) -> RingRow:
        """Have a ring begin now, and end."""
        row = RingRow(
            session=self.session,
            id=self._next_ring,
            boot_id=self.boot_id,
            degree="howl",
            way="set",
            frequency_hz=hz,
            band="2.5k",
            slider="2k",
            level_dbfs=-20.0,
            growth_db_per_s=30.0,
            start_uptime_s=self.uptime_s,
            end_uptime_s=None,
            utc=self.utc_s,
            clock_trusted=self.trusted,
        )
        self._next_ring += 1
        self.clerk.ring(row)
        if closes_after_s is not None:
            self.pass_s(closes_after_s)
            row = RingRow(**{**_fields(row), "end_uptime_s": self.uptime_s})
            self.clerk.ring(row)
        self.do_all()
        return row

    def do_all(self) -> None:
        """Wait until the clerk has taken all that was handed to it."""
        awaited(self.clerk._waiting.empty, PATIENCE_S)
        # Answered by the clerk after all before it; a command that is refused changes nothing.
        self.ask({"class": "gig", "do": "rename", "venue": "f" * 16, "name": "x"})

    def ask(self, command: Message) -> Message:
        """Send a command as the link does and return the answer."""
        got: queue.Queue[Mapping[str, Any]] = queue.Queue()
        try:
            self.clerk.ask(check_command(command), got.put)
        except ValueError as error:
            return {"class": "error", "message": str(error)}
        answer = dict(got.get(timeout=PATIENCE_S))
        # The journal answers; the clerk may not have come to show what it has done.
        shown = threading.Event()
        assert self.clerk._later(shown.set)
        assert shown.wait(PATIENCE_S)
        return answer

    def done(self, **command: Any) -> Message:
        """Have a gig command done."""
        answer = self.ask({"class": "gig", **command})
        assert answer["class"] == "done", answer
        assert "problem" not in answer
        return answer

    def journal_s(self, question: Question) -> Any:
        """Ask the journal."""
        got: queue.Queue[tuple[Any, str]] = queue.Queue()
        self.journal.ask(question, lambda result, problem: got.put((result, problem)))
        result, problem = got.get(timeout=PATIENCE_S)
        assert problem == ""
        return result

    def gigs(self) -> list[dict[str, Any]]:
        """All gigs, newest first."""
        return list(self.journal_s(ListGigs(100)))

    def record(self, uid: str) -> dict[str, Any]:
        """A gig's record from the journal itself."""
        return dict(self.journal_s(GetRecord(uid)))

    def gig(self) -> dict[str, Any]:
        """What the snapshot says of the gig."""
        return dict(self.clerk.fields()["gig"])

    def close(self) -> None:
        """Stop, as when the watcher is stopped."""
        self.clerk.close(PATIENCE_S)
        self.journal.close(PATIENCE_S)

    def restart(self, *, session: str = "second", **changes: Any) -> None:
        """The watcher starts again in the same boot; ``changes`` are its first snapshot's."""
        self.close()
        self.session, self.past[:] = session, []
        self._open(**changes)


def _fields(row: RingRow) -> dict[str, Any]:
    return {name: getattr(row, name) for name in row.__slots__}
