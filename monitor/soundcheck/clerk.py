"""The soundcheck's own thread: commands wait here for the memory card, and nothing else does.

What is answered is on the disk and shown, or the answer says that it is not on the disk.
"""

from __future__ import annotations

import logging
import queue
import threading
import time
from collections.abc import Callable, Mapping
from typing import Any

from firmware.ports import AudioBlock
from monitor import clock
from monitor.clock import Now
from monitor.kept_file import Kept, KeptFile
from monitor.level.measuring import Measuring
from monitor.link.messages import Message
from monitor.link.server import Reply
from monitor.soundcheck.steps import MEASURED, Soundcheck

LOG = logging.getLogger(__name__)

MOST_WAITING = 32
LOOK_S = 0.25

Asked = tuple[Message, Reply]


class SoundcheckClerk:
    """Keeps the soundcheck; everything outside its thread returns at once.

    Parameters
    ----------
    kept : KeptFile
        Where it is kept over a restart.
    measuring : Measuring
        What measures; belongs to this clerk from now on.
    ring_out : callable
        Returns the ring-out's phase, None without one; asked in the clerk's thread.
    first_plan : callable, optional
        Returns the stage plan to begin with, as long as none was saved.
    """

    def __init__(
        self,
        kept: KeptFile,
        measuring: Measuring,
        *,
        ring_out: Callable[[], str | None],
        first_plan: Callable[[], Mapping[str, Any] | None] = lambda: None,
    ) -> None:
        self._kept = kept
        self._measuring = measuring
        self._ring_out = ring_out
        self._first_plan = first_plan
        self._soundcheck = Soundcheck()
        self._shown: Mapping[str, Any] = self._soundcheck.fields(clock.uptime_s(), None)
        self._trouble = ""
        self._unanswered = ""
        self._waiting: queue.Queue[Asked] = queue.Queue(MOST_WAITING)
        self._begun = threading.Event()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="soundcheck", daemon=True)
        self._thread.start()

    def ask(self, command: Message, reply: Reply) -> None:
        """Have a checked command done and answered in the clerk's thread.  Returns at once.

        Raises
        ------
        ValueError
            If too much is waiting already.
        """
        try:
            self._waiting.put_nowait((command, reply))
        except queue.Full:
            raise ValueError("the soundcheck is behind; ask again in a few seconds") from None

    def hear(self, block: AudioBlock) -> None:
        """Take a block of the box's own microphone, if that is being measured."""
        self._measuring.feed_box(block)

    def fields(self) -> dict[str, Any]:
        """Return how it stands, for the snapshot."""
        return {
            **self._shown,
            "line": self._measuring.line_fields(),
            **self._measuring.shown(time.monotonic()),
            "health": self.health(),
        }

    def health(self) -> str:
        """Return "ok" or one sentence that says what is wrong."""
        troubles = (self._trouble, self._unanswered, self._kept.trouble)
        return "; ".join(filter(None, troubles)) or "ok"

    def wait_until_begun(self, timeout_s: float) -> None:
        """Wait until what was kept is back; for the start only."""
        self._begun.wait(timeout_s)

    def close(self, timeout_s: float = 3.0) -> None:
        """End what measures, and stop; may be called twice."""
        self._stopping.set()
        self._thread.join(timeout=timeout_s)
        self._measuring.close()

    # --- everything below runs in the clerk's thread -----------------------------------------

    def _run(self) -> None:
        try:
            self._restore()
        except Exception as error:
            LOG.exception("the soundcheck cannot go on from what was kept")
            self._soundcheck = Soundcheck()
            self._kept.put_aside(f"it cannot be gone on from: {error!r}")
        self._look()
        self._begun.set()
        while not self._stopping.is_set():
            try:
                command, reply = self._waiting.get(timeout=LOOK_S)
            except queue.Empty:
                self._look()
                continue
            answer = self._answered(command)
            self._look()  # what is answered is shown already
            self._reply(reply, answer)

    def _reply(self, reply: Reply, answer: Mapping[str, Any]) -> None:
        try:
            reply(answer)
        except Exception as error:  # the asker's trouble must not end the soundcheck
            LOG.exception("the soundcheck could not answer")
            self._unanswered = f"an answer could not be given: {error!r}"
        else:
            self._unanswered = ""

    def _answered(self, command: Message) -> Mapping[str, Any]:
        try:
            return self._answer(command)
        except ValueError as error:
            return {"class": "error", "message": str(error)}
        except Exception as error:
            LOG.exception("the soundcheck failed on a command")
            return {"class": "error", "message": f"the soundcheck failed on it: {error!r}"}

    def _restore(self) -> None:
        now = clock.now()
        kept = self._kept.read(now)
        if kept is None:
            return
        wrong = [text for text in (self._restored_plan(kept), self._restored(kept, now)) if text]
        if wrong:
            self._kept.put_aside("; ".join(wrong))

    def _restored_plan(self, kept: Kept) -> str:
        try:
            self._soundcheck.restore_plan(kept.content)
        except ValueError as error:
            return str(error)
        return ""

    def _restored(self, kept: Kept, now: Now) -> str:
        is_ours = kept.is_of_this_evening
        if is_ours is False:
            return ""
        # Its times are of the boot that wrote it.
        shift_s = now.uptime_s - kept.written.uptime_s - (kept.age_s or 0.0)
        try:
            self._soundcheck.restore_evening(
                kept.content, shift_s=shift_s, in_doubt=is_ours is None
            )
        except ValueError as error:
            return str(error)
        return ""

    def _look(self) -> None:
        """Follow the ring-out, and show how all stands now."""
        try:
            phase = self._ring_out()
            now_s = clock.uptime_s()
            if self._soundcheck.see_ring_out(phase, now_s):
                self._keep()
            self._shown = self._soundcheck.fields(now_s, phase)
            self._trouble = ""
        except Exception as error:
            if not self._trouble:
                LOG.exception("the soundcheck cannot be shown")
            self._trouble = f"the soundcheck cannot be shown: {error!r}"

    def _answer(self, command: Message) -> Mapping[str, Any]:
        name = command["class"]
        if name == "plan_get":
            found = self._soundcheck
            stage = self._first_plan() if found.plan is None else found.plan
            return {"class": "plan", "revision": found.revision, "stage": stage}
        if name == "plan":
            return self._keep_plan(command["stage"])
        do = command["do"]
        if do == "measure":
            self._measuring.begin(command["source"])
        elif do == "measure_stop":
            self._measuring.stop()
        measured = self._measuring.measured(time.monotonic())
        self._soundcheck.command(command, clock.uptime_s(), measured)
        ends = do.startswith("take_") or (do == "skip" and command["step"] in MEASURED)
        if ends and self._soundcheck.has_measured:
            self._measuring.stop()  # or it would run on into the ring-out, and say that it stopped
        if self._keep():
            return {"class": "done"}
        return {"class": "done", "problem": self._kept.trouble}

    def _keep_plan(self, document: Mapping[str, Any]) -> Mapping[str, Any]:
        """A plan is saved or it is not: one that is not on the disk does not count."""
        found = self._soundcheck
        before = found.plan, found.revision
        found.keep_plan(document)
        if not self._keep():
            found.plan, found.revision = before
            raise ValueError(f"the plan is not saved: {self._kept.trouble}")
        return {"class": "done", "revision": found.revision}

    def _keep(self) -> bool:
        return self._kept.write(self._soundcheck.kept, clock.now())
