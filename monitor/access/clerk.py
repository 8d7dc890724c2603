"""Pairing's own thread: what must be on the memory card before it is answered waits here.

What a tap on a paired phone needs, whether its key is good, is answered at once from what is
known, so that no crowd at the door holds up those who are in.  Codes are never logged.
"""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from monitor import clock
from monitor.access.doorkeeper import Doorkeeper, Refused
from monitor.access.phones import Phones
from monitor.clock import Now
from monitor.kept_file import KeptFile, age_s
from monitor.link.messages import Message
from monitor.link.server import Reply

LOG = logging.getLogger(__name__)

MOST_WAITING = 32
AT_ONCE = ("key_check", "phones", "pair_here")

Answer = Mapping[str, Any]


class AccessClerk:
    """Keeps keys and codes; everything outside its thread returns at once.

    Parameters
    ----------
    kept : KeptFile
        Where it is kept over a restart, for as long as the box lives.
    doorkeeper : Doorkeeper
        Belongs to this clerk from now on.
    tell : callable
        Is given each code that the panel shows, where a person can read it in another way too.

    Attributes
    ----------
    hindrance : str
        Why the panel may not show a code now, for whoever asks; the analysis loop says so.
    """

    def __init__(
        self,
        kept: KeptFile,
        doorkeeper: Doorkeeper,
        *,
        tell: Callable[[str], object] = lambda _: None,
    ) -> None:
        self._kept = kept
        self._doorkeeper = doorkeeper
        self._phones = Phones()
        self._tell = tell
        self._told = ""
        self._trouble = ""
        self._lock = threading.Lock()
        self.hindrance = "the lantern is still starting; ask again in a moment"
        self._waiting: queue.Queue[tuple[Message, Reply] | None] = queue.Queue(MOST_WAITING)
        self._begun = threading.Event()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="access", daemon=True)
        self._thread.start()

    def ask(self, command: Message, reply: Reply) -> None:
        """Have a checked command answered, at once or in the clerk's thread.

        Raises
        ------
        ValueError
            If too much is waiting already, or what was kept is not back yet.
        """
        if not self._begun.is_set():
            raise ValueError("the watcher is still starting; ask again")
        if command["class"] in AT_ONCE:
            reply(self._answered(command))
            return
        try:
            self._waiting.put_nowait((command, reply))
        except queue.Full:
            raise ValueError("too many are at the door; ask again in a few seconds") from None

    def code(self) -> str:
        """Return the code that the panel is to show now, "" for none."""
        with self._lock:
            return self._doorkeeper.on_panel(clock.uptime_s())

    def fields(self) -> dict[str, Any]:
        """Return how it stands, for the snapshot; everybody may see that."""
        with self._lock:
            return {
                "control": self._doorkeeper.control,
                "showing": bool(self._doorkeeper.on_panel(clock.uptime_s())),
                "phones": len(self._phones),
                "revision": self._phones.revision,
            }

    def health(self) -> str:
        """Return "ok" or one sentence that says what is wrong."""
        return "; ".join(filter(None, (self._trouble, self._kept.trouble))) or "ok"

    def wait_until_begun(self, timeout_s: float) -> None:
        """Wait until what was kept is back; for the start only."""
        self._begun.wait(timeout_s)

    def close(self, timeout_s: float = 3.0) -> None:
        """Keep what is to be kept, and stop; may be called twice."""
        self._stopping.set()
        try:
            self._waiting.put_nowait(None)
        except queue.Full:
            pass  # then it is busy, and looks whether to stop after the next
        self._thread.join(timeout=timeout_s)

    # --- everything below runs in the clerk's thread, but _answered for AT_ONCE ----------------

    def _run(self) -> None:
        try:
            self._restore()
        except ValueError as error:
            self._phones = Phones()
            self._kept.put_aside(str(error))
        except Exception as error:
            LOG.exception("who was paired cannot be known")
            self._phones = Phones()
            self._kept.put_aside(f"it cannot be gone on from: {error!r}")
        self._begun.set()
        while not self._stopping.is_set():
            asked = self._waiting.get()
            if asked is None:
                break
            command, reply = asked
            answer = self._answered(command)
            troubles = [self._guarded("telling the code", self._tell_code)]
            if not self._keep():
                answer = {**answer, "problem": self._kept.trouble}
            troubles.append(self._guarded("answering", partial(reply, answer)))
            self._trouble = "; ".join(filter(None, troubles))
        self._keep()  # which phone was used last

    def _guarded(self, what: str, do: Callable[[], None]) -> str:
        """Do it; return what went wrong: nobody's broken pipe may end the pairing."""
        try:
            do()
        except Exception as error:
            LOG.exception("pairing: %s failed", what)
            return f"{what} failed: {error!r}"
        return ""

    def _tell_code(self) -> None:
        """Tell a code that is new on the panel; without the lock, which the analysis loop takes."""
        code = self.code()
        is_new = bool(code) and code != self._told
        self._told = code
        if is_new:
            self._tell(code)

    def _restore(self) -> None:
        now = clock.now()
        kept = self._kept.read(now)
        if kept is None:
            return
        self._phones.restore(kept.content)
        self._doorkeeper.restore(
            kept.content, same_boot=kept.written.boot_id == now.boot_id, now_s=now.uptime_s
        )

    def _answered(self, command: Message) -> Answer:
        try:
            with self._lock:
                return self._answer(command)
        except Refused as error:
            wait = {} if error.wait_s is None else {"wait_s": round(error.wait_s, 1)}
            return {"class": "error", "message": str(error), "why": error.why, **wait}
        except Exception as error:
            LOG.exception("the door failed on a command")
            return {"class": "error", "message": f"pairing failed: {type(error).__name__}"}

    def _answer(self, command: Message) -> Answer:
        name, now = command["class"], clock.now()
        if name == "key_check":
            phone = self._phones.known(command["key_digest"])
            return _UNPAIRED if phone is None else {"class": "key", "phone": phone.id}
        if name == "phones":
            return {
                "class": "phones",
                "phones": self._phones.fields(lambda paired: age_s(paired, now)),
            }
        if name == "pair_here":
            showing = self._doorkeeper.ask_here(now.uptime_s)
            LOG.info("a code was asked for at the box")
            return {"class": "code", "code": showing.code, "lasts_s": showing.lasts_s}
        if name == "pair_ask":
            return self._asked(command["from"], now)
        if name == "pair":
            return self._paired(command, now)
        if not self._phones.unpair(command["phone"]):
            return _UNPAIRED if command["phone"] != "all" else _NOBODY
        LOG.info("unpaired: %s", command["phone"])
        return {"class": "done"}

    def _asked(self, asker: str, now: Now) -> Answer:
        was_on_panel = self._doorkeeper.on_panel(now.uptime_s)
        showing = self._doorkeeper.ask(now.uptime_s, asker, hindrance=self.hindrance)
        if showing.where == "panel" and showing.code != was_on_panel:
            LOG.info("the panel shows a code, asked for from %s", asker)
        lasts = {} if showing.lasts_s is None else {"lasts_s": round(showing.lasts_s, 1)}
        return {"class": "done", "showing": True, "where": showing.where, **lasts}

    def _paired(self, command: Message, now: Now) -> Answer:
        try:
            self._doorkeeper.judge(now.uptime_s, command["code"], command["from"])
        except Refused as error:
            if error.why == "wrong":
                LOG.warning("a wrong code from %s", command["from"])
            raise
        phone, key = self._phones.pair(command["name"], now)
        LOG.info("paired: %s, %s, from %s", phone.id, phone.name, command["from"])
        return {"class": "paired", "key": key, "phone": phone.id}

    def _keep(self) -> bool:
        with self._lock:
            content = {**self._phones.kept, **self._doorkeeper.kept}
        return self._kept.write(content, clock.now())


_UNPAIRED = {"class": "error", "message": "that phone is not paired", "why": "unpaired"}
_NOBODY = {**_UNPAIRED, "message": "no phone is paired"}
