"""The gigs' own thread: what the analysis loop hands over is kept of the evening, and nobody waits.

The loop gives every ring and the newest snapshot; what happens between two snapshots, the commands
of people and the passing of time make the gigs.
"""

from __future__ import annotations

import logging
import queue
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from monitor import clock
from monitor.gig_clerk.answers import GigAnswers
from monitor.gig_clerk.dates import GigDates
from monitor.gig_clerk.desk import GigDesk
from monitor.gig_clerk.keeping import CurveOf, GigKeeping
from monitor.gig_clerk.past import GigPast, Remember
from monitor.gig_clerk.recollecting import Recollecting
from monitor.gig_clerk.restoring import Restoring
from monitor.gigs.minutes import Minutes
from monitor.gigs.noticing import Noticing, Snapshot
from monitor.journal.asks import Recollect
from monitor.journal.rows import RingRow
from monitor.journal.store import Journal
from monitor.link.messages import Message
from monitor.link.server import Reply

LOG = logging.getLogger(__name__)

MOST_WAITING = 256
"""Rings and commands; rings beyond it are kept without being looked at."""
LOOK_S = 0.5
SNAPSHOT_WAIT_S = 2.0
NO_GIG = {"on": False, "ring_count": 0}


class GigClerk:
    """Keeps the gigs; everything outside its thread returns at once.

    Parameters
    ----------
    journal : Journal
        Where all is kept.
    ask_soundcheck : callable
        ``SoundcheckClerk.ask``, for the stage plan.
    settled : callable
        Waits until what other parts kept over a restart is back: it has not just happened.
    boot_id, session : str
        What this boot and this run are called.
    equaliser : mapping
        The one in use, as the snapshot tells it.
    curve_of : callable
        The response of pulls, as they are kept, for the report; raises ``ValueError`` for pulls
        that cannot be.
    quiet_ends_min : float
        A gig ends after so many minutes in which nothing was done.
    uptime_s, utc_s : callable
        This boot's clock and the date's.
    """

    def __init__(
        self,
        journal: Journal,
        *,
        ask_soundcheck: Callable[[Message, Reply], None],
        settled: Callable[[], None],
        boot_id: str,
        session: str,
        equaliser: Mapping[str, Any],
        quiet_ends_min: float,
        curve_of: CurveOf,
        uptime_s: Callable[[], float] = clock.uptime_s,
        utc_s: Callable[[], float] = time.time,
    ) -> None:
        self._journal = journal
        self._settled = settled
        self._uptime_s = uptime_s
        self._snapshot: Snapshot | None = None
        self._looked_at: Snapshot | None = None
        self._minutes, self._noticing = Minutes(), Noticing()
        self._keeping = GigKeeping(
            journal,
            boot_id=boot_id,
            quiet_ends_s=60.0 * quiet_ends_min,
            uptime_s=uptime_s,
            get_plan=lambda got: ask_soundcheck({"class": "plan_get"}, got),
            snapshot=lambda: self._snapshot,
            curve_of=curve_of,
        )
        sliders = tuple((one["label"], float(one["centre_hz"])) for one in equaliser["sliders"])
        in_use = Recollect(equaliser=equaliser["name"], sliders=sliders)
        self._answers = GigAnswers(journal, in_use=in_use, changed=self._venues_are_old)
        self._past = GigPast(journal, boot_id=boot_id, session=session, uptime_s=uptime_s)
        self._recollecting = Recollecting(journal, self._keeping, in_use=in_use)
        self._desk = GigDesk(
            journal, self._keeping, uptime_s=uptime_s, changed=self._recollecting.is_old
        )
        self._dates = GigDates(
            journal,
            self._keeping,
            boot_id=boot_id,
            uptime_s=uptime_s,
            utc_s=utc_s,
            goes_on=self._past.look_up,
        )
        self._restoring = Restoring(
            journal,
            self._keeping,
            goes_on=self._past.look_up,
            in_doubt=self._dates.settle_doubt,
            later=self._later,
        )
        self._shown: Mapping[str, Any] = NO_GIG
        self._begun_s: float | None = None
        self._trouble = self._logged = ""
        self.lost_count = 0
        self._waiting: queue.Queue[Callable[[], None]] = queue.Queue(MOST_WAITING)
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="gigs", daemon=True)
        self._thread.start()

    # --- from the analysis loop ----------------------------------------------------------------

    def ring(self, row: RingRow) -> None:
        """Keep a ring, or bring it up to date.  Returns at once."""
        if not self._later(lambda: self._keeping.ring(row)):
            # The ring is not lost; it is only not counted, and begins no gig.
            self.lost_count += 1
            self._journal.put(replace(row, gig=self._shown.get("uid")))

    def see(self, snapshot: Snapshot) -> None:
        """Take the newest snapshot; it is looked at about twice a second."""
        self._snapshot = snapshot

    def remember(self, remember: Remember) -> None:
        """Have it called, in the clerk's thread, with the rings of a gig that goes on."""
        self._later(lambda: self._past.hand_to(remember))

    def fields(self) -> dict[str, Any]:
        """Return how it stands, for the snapshot."""
        shown, begun_s = dict(self._shown), self._begun_s
        now_s = self._uptime_s()
        if shown["on"] and begun_s is not None:
            shown["begun_age_s"] = round(max(0.0, now_s - begun_s), 1)
        stays_over_for_s = self._keeping.evening.stays_over_for_s(now_s)
        if not shown["on"] and stays_over_for_s > 0.0:
            shown["stays_over_for_s"] = round(stays_over_for_s, 1)
        fields: dict[str, Any] = {"gig": shown, "dated": self._dates.dated}
        if (utc_s := self._dates.utc_s) is not None:
            # To the minute: a phone sees whether its own clock is far off, and the key keeps still.
            fields["utc_s"] = 60.0 * round(utc_s / 60.0)
        memory = self._recollecting.of(shown.get("venue"))
        return fields if memory is None else {**fields, "memory": memory}

    def health(self) -> str:
        """Return "ok" or one sentence that says what is wrong."""
        lost = f"{self.lost_count} ring events were kept without their gig's count"
        return "; ".join(filter(None, (self._trouble, lost if self.lost_count else ""))) or "ok"

    # --- from the link ---------------------------------------------------------------------------

    def ask(self, command: Message, reply: Reply) -> None:
        """Answer a checked command, later and from another thread.  Returns at once.

        Raises
        ------
        ValueError
            If too much is waiting already.
        """
        if command["class"] in ("gigs", "venues", "record", "recollection"):
            self._answers.answer(command, reply)
            return
        asked_s = self._uptime_s()
        if not self._later(lambda: self._answer(command, reply, asked_s)):
            raise ValueError("the gigs are behind; ask again in a few seconds")

    def close(self, timeout_s: float = 3.0) -> None:
        """Hand over what waits and stop; a gig that is on stays on.  May be called twice."""
        self._stopping.set()
        self._thread.join(timeout=timeout_s)

    # --- everything below runs in the clerk's thread ---------------------------------------------

    def _run(self) -> None:
        self._guarded(self._restoring.begin)
        self._guarded(self._dates.look)
        self._show()
        self._settled()
        self._wait_for_a_snapshot()
        look_mono_s = 0.0
        while not (self._stopping.is_set() and self._waiting.empty()):
            try:
                do = self._waiting.get(timeout=LOOK_S)
            except queue.Empty:
                pass
            else:
                self._guarded(do)
                self._show()
            if time.monotonic() >= look_mono_s:
                look_mono_s = time.monotonic() + LOOK_S
                if self._guarded(self._look):
                    self._trouble = ""

    def _guarded(self, do: Callable[[], None]) -> bool:
        try:
            do()
        except Exception as error:  # the listening goes on, and so does the next look
            trouble = f"keeping the gig failed: {error!r}"
            if trouble != self._logged:
                LOG.exception("keeping the gig failed")
            self._trouble = self._logged = trouble
            return False
        return True

    def _answer(self, command: Message, reply: Reply, asked_s: float) -> None:
        try:
            if command["class"] == "gig":
                self._desk.do(command, reply)
            elif command["class"] == "import":
                self._answers.take_in(command, reply)
            else:
                self._dates.told(command["utc_s"], asked_s, reply)
        except ValueError as error:
            reply({"class": "error", "message": str(error)})
        except Exception as error:
            LOG.exception("the gigs failed on a command")
            reply({"class": "error", "message": f"the gigs failed on it: {error!r}"})

    def _wait_for_a_snapshot(self) -> None:
        """One from after what other parts kept has come back."""
        self._snapshot = None
        until_mono_s = time.monotonic() + SNAPSHOT_WAIT_S
        while self._snapshot is None and time.monotonic() < until_mono_s:
            if self._stopping.wait(0.02):
                return  # none will come, and to wait on would be to spin

    def _venues_are_old(self) -> None:
        """Records were taken in; in the journal's thread."""
        if not self._later(self._restoring.read_venues):
            LOG.warning("the venues that were taken in are known after a restart")
        self._recollecting.is_old()

    def _later(self, do: Callable[[], None]) -> bool:
        """From any thread: have it done in the clerk's, if there is room."""
        try:
            self._waiting.put_nowait(do)
        except queue.Full:
            return False
        return True

    def _look(self) -> None:
        snapshot, now_s = self._snapshot, self._uptime_s()
        self._keeping.follow_journal()
        self._keeping.follow_restart()
        if snapshot is not None and snapshot is not self._looked_at:
            self._looked_at = snapshot
            for one in self._noticing.look(snapshot, now_s):
                self._keeping.noticed(one, now_s)
            self._hear(snapshot, now_s)
        self._keeping.passed()
        self._restoring.look()
        self._dates.look()
        self._recollecting.look()
        self._show()

    def _hear(self, snapshot: Snapshot, now_s: float) -> None:
        if snapshot.get("state") in ("deaf", "starting"):
            self._minutes.lost()
            return
        minute = self._minutes.push(
            now_s,
            level_dbfs=snapshot["level_dbfs"],
            peak_dbfs=snapshot["peak_dbfs"],
            bands_dbfs=snapshot["third_octave_dbfs"],
        )
        if (since_s := self._minutes.sound_since_s) is not None:
            self._keeping.did("sound", now_s if self._keeping.gig is not None else since_s)
        if minute is not None:
            self._keeping.minute(minute)

    def _show(self) -> None:
        gig = self._keeping.gig
        shown: dict[str, Any] = dict(NO_GIG) if gig is None else gig.fields()
        if self._keeping.doubted is not None:
            shown["in_doubt"] = True
        self._begun_s = self._keeping.evening.begun_s
        self._shown = shown
