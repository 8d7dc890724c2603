"""The advice's own thread: the listening hands over what it heard and never waits for an answer.

Working out a pull takes milliseconds and a plan tens of them; a memory card takes as long as it
likes.  So nothing of this may run in the analysis loop.
"""

from __future__ import annotations

import contextlib
import logging
import queue
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from monitor import clock
from monitor.adviser.counsel import Counsel
from monitor.aside import Aside
from monitor.clock import Now
from monitor.kept_file import KeptFile
from monitor.link.messages import Message
from monitor.link.server import Reply
from monitor.news import Advised, News

LOG = logging.getLogger(__name__)

MOST_WAITING = 100
"""Ten seconds of hand-overs: an adviser that is so far behind is of no use anyway."""
KEEP_EVERY_S = 5.0
"""What changes with every hop is written this often at most; pulls, what is asked for and
commands at once."""
STEADY_S = 10.0
"""A failure so soon after the last one is blamed on what was kept."""
DOUBT = (
    "from before a restart, and no clock can tell how long ago: of another evening? "
    "Then stop it and put it away"
)


class Adviser:
    """Runs a ``Counsel``; everything outside its thread returns at once.

    Parameters
    ----------
    make : callable
        Makes a counsel from what was kept, or from nothing (None).
    kept : KeptFile
        Where it is kept for a restart.
    boot_id : str
        What this boot is called.

    Attributes
    ----------
    result : Advised
        The newest; replaced as a whole.
    lost_count : int
        Hand-overs that found no room.
    """

    def __init__(
        self, make: Callable[[dict[str, Any] | None], Counsel], kept: KeptFile, *, boot_id: str
    ) -> None:
        self._make = make
        self._kept = kept
        self._boot_id = boot_id
        self._waiting: queue.Queue[Callable[[], None]] = queue.Queue(MOST_WAITING)
        self.result = Advised()
        self.lost_count = 0
        self._trouble = ""
        self._aside = Aside()
        self._in_doubt = False
        self._failed_mono_s = -STEADY_S
        self._written_mono_s = -KEEP_EVERY_S
        self._told: object = None
        self._counsel: Counsel | None = None
        self._begun = threading.Event()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="adviser", daemon=True)
        self._thread.start()

    def wait_until_begun(self, timeout_s: float) -> Advised:
        """Return the first result, with what was kept; for the start only."""
        self._begun.wait(timeout_s)
        return self.result

    def hear(self, news: News) -> None:
        """Hand over what was heard; counted as lost if there is no room.  Returns at once."""
        try:
            self._waiting.put_nowait(lambda: self._hear(news))
        except queue.Full:
            self.lost_count += 1

    def ask(self, command: Message, reply: Reply) -> None:
        """Have a checked command done and answered in the adviser's thread.  Returns at once.

        Raises
        ------
        ValueError
            If too much is waiting already.
        """
        asked_mono_s = time.monotonic()
        try:
            self._waiting.put_nowait(lambda: self._answer(command, asked_mono_s, reply))
        except queue.Full:
            raise ValueError("the advice is behind; ask again in a few seconds") from None

    def health(self) -> str:
        """Return "ok" or one sentence that says what is wrong."""
        troubles = (self._trouble, self._aside.health(), self._kept.trouble)
        parts = [text for text in troubles if text not in ("", "ok")]
        if self.lost_count:
            parts.append(f"{self.lost_count} hand-overs to the advice were lost")
        return "; ".join(parts) or "ok"

    def close(self, timeout_s: float = 3.0) -> None:
        """Keep what there is and stop; may be called twice."""
        self._stopping.set()
        with contextlib.suppress(queue.Full):  # what waits wakes it as well
            self._waiting.put_nowait(lambda: None)
        self._thread.join(timeout=timeout_s)

    # --- everything below runs in the adviser's thread --------------------------------------

    def _run(self) -> None:
        try:
            self._begin_with_kept()
        except Exception as error:  # whatever a file says, this thread must live
            LOG.exception("the advice cannot go on from what was kept")
            self._in_doubt = False
            self._kept.put_aside(f"it cannot be gone on from: {error!r}")
            self._begin(None)
        self._begun.set()
        while not self._stopping.is_set():
            do = self._waiting.get()
            with self._aside("the advice"):
                try:
                    do()
                except Exception:
                    self._begin_afresh()
                    raise
        self._keep(at_once=True)

    def _hear(self, news: News) -> None:
        if self._counsel is not None:
            self._counsel.hear(news)
            self._publish(self._counsel)
            self._keep(at_once=False)

    def _answer(self, command: Message, asked_mono_s: float, reply: Reply) -> None:
        counsel = self._counsel
        if counsel is None:
            reply({"class": "error", "message": self._trouble})
            return
        try:
            try:
                counsel.command(command, asked_mono_s)
            except ValueError as error:
                reply({"class": "error", "message": str(error)})
                return
            self._in_doubt = self._in_doubt and command["class"] != "ring_out"
            self._publish(counsel)
            # Kept first: a plug that is pulled after the answer loses nothing that was answered.
            self._keep(at_once=True)
        except Exception as error:
            reply({"class": "error", "message": f"the advice failed on it: {error!r}"})
            raise
        reply({"class": "done"})

    def _publish(self, counsel: Counsel) -> None:
        result = counsel.result
        shown = result.fields.get("ring_out")
        if self._in_doubt and shown is not None:
            shown = {**shown, "detail": DOUBT, "doubt": DOUBT}
            result = replace(result, fields={**result.fields, "ring_out": shown})
        self.result = result

    def _begin_with_kept(self) -> None:
        """Go on from what is on the disk, if it is of this evening.

        Where no clock can tell (another boot, no date from the network), only a ring-out is worth
        the doubt: it comes back as it was, paused, and says so.
        """
        kept = self._kept.read(self._now())
        evening = False if kept is None else kept.is_of_this_evening
        if (
            kept is None
            or evening is False
            or (evening is None and not kept.content.get("ring_out"))
        ):
            self._begin(None)
            return
        self._in_doubt = evening is None
        if not self._begin(kept.content):
            self._in_doubt = False
            self._kept.put_aside(self._trouble)
            self._trouble = ""

    def _begin(self, kept: dict[str, Any] | None) -> bool:
        """Make a counsel from what was kept, or from nothing; return whether as wished."""
        self._trouble = ""
        try:
            self._counsel = self._make(kept)
            self._publish(self._counsel)
            return True
        except ValueError as error:
            self._trouble = str(error)
        except Exception as error:
            LOG.exception("the advice cannot go on from what was kept")
            self._trouble = f"the advice cannot go on from what was kept: {error!r}"
        try:
            self._counsel = self._make(None)
            self._publish(self._counsel)
        except Exception as error:  # without advice the listening still names the slider
            LOG.exception("there is no advice")
            self._counsel, self.result = None, Advised()
            self._trouble = f"there is no advice: {error!r}"
        return False

    def _begin_afresh(self) -> None:
        """After a failure: from where it was; the second time in a row from nothing."""
        now_mono_s = time.monotonic()
        kept = None
        if now_mono_s - self._failed_mono_s > STEADY_S and self._counsel is not None:
            try:
                kept = self._counsel.kept
            except Exception:
                LOG.exception("nothing of the advice can be kept")
        self._failed_mono_s = now_mono_s
        self._begin(kept)

    def _keep(self, *, at_once: bool) -> None:
        if self._counsel is None:
            return
        state = self.result.ring_out
        asked = state and (state.phase, state.pulls, state.pulls_now)
        told = (self.result.fields.get("standing"), asked)
        now_mono_s = time.monotonic()
        if not (at_once or told != self._told or now_mono_s > self._written_mono_s + KEEP_EVERY_S):
            return
        self._told, self._written_mono_s = told, now_mono_s
        self._kept.write(self._counsel.kept, self._now())

    def _now(self) -> Now:
        return Now(self._boot_id, clock.uptime_s(), time.time(), clock.is_trusted())
