"""Where commands from the link arrive: each is answered without holding up anybody.

Runs in the link server's thread.  What concerns the listening becomes a wish that the analysis
loop takes up by itself; history is answered later by the journal's thread, what concerns the
advice by the adviser's, and the soundcheck with its plan by the clerk's.
"""

from __future__ import annotations

import queue
from collections.abc import Callable, Mapping
from typing import Any, Protocol

from firmware.ports import AudioBlock
from monitor import clock
from monitor.access.clerk import AccessClerk
from monitor.adviser.adviser import Adviser
from monitor.gig_clerk.clerk import GigClerk
from monitor.journal.rows import RingRow, history_fields
from monitor.journal.store import Journal
from monitor.link.gig_commands import GIG_COMMANDS
from monitor.link.messages import Message
from monitor.link.server import Reply
from monitor.soundcheck.clerk import SoundcheckClerk

DONE = {"class": "done"}
MOST_WISHES = 64
"""The analysis loop takes them up many times a second; more wait only where it hangs."""


class Stage(Protocol):
    """The practice stage's handles: fader, input gain and sliders."""

    def control(self, command: dict[str, Any]) -> dict[str, Any]:
        """Move a handle or the stage; ValueError with a clear line if that cannot be."""

    def state(self) -> dict[str, Any]:
        """Return how the stage stands and what to do next."""

    def tap_line(self, take: Callable[[AudioBlock], None] | None) -> None:
        """Hand the blocks of the practice desk's line to ``take``; None ends it."""

    def plan(self) -> dict[str, Any]:
        """Return the placement that is played, as a stage plan."""


class Desk:
    """Answers commands; what the analysis loop must do waits in ``wishes``."""

    def __init__(
        self,
        *,
        journal: Journal,
        adviser: Adviser,
        soundcheck: SoundcheckClerk,
        access: AccessClerk,
        gigs: GigClerk,
        boot_id: str,
        stage: Stage | None = None,
    ) -> None:
        self.wishes: queue.Queue[Message] = queue.Queue(MOST_WISHES)
        self._journal = journal
        self._adviser = adviser
        self.soundcheck = soundcheck
        self.access = access
        self.gigs = gigs
        self._boot_id = boot_id
        self._stage = stage

    def handle(self, command: Message, reply: Reply) -> None:
        """Answer one checked command.

        Raises
        ------
        ValueError
            If the command cannot be followed; the server sends the reason.
        """
        name = command["class"]
        if name == "history":
            self._history(command["limit"], reply)
        elif name == "stage":
            if self._stage is None:
                raise ValueError("there is no practice stage here; run howl-lantern demo")
            self._stage.control({k: command[k] for k in command.keys() - {"class", "request"}})
            reply(DONE)
        elif name in ("pull", "ring_out"):
            self._adviser.ask(command, reply)
        elif name in ("soundcheck", "plan", "plan_get"):
            self.soundcheck.ask(command, reply)
        elif name in ("pair_ask", "pair", "pair_here", "key_check", "phones", "unpair"):
            self.access.ask(command, reply)
        elif name in GIG_COMMANDS:
            self.gigs.ask(command, reply)
        else:
            self.wish(command)
            reply(DONE)

    def wish(self, message: Message) -> None:
        """Have the analysis loop do something; from any thread.

        Raises
        ------
        ValueError
            If too much is waiting already.
        """
        try:
            self.wishes.put_nowait(message)
        except queue.Full:
            raise ValueError("the listening is behind; ask again in a few seconds") from None

    def _history(self, limit: int, reply: Reply) -> None:
        def answer(rows: list[RingRow], problem: str) -> None:
            message: Mapping[str, Any] = {
                "class": "history",
                "rings": [
                    history_fields(row, boot_id=self._boot_id, uptime_s=clock.uptime_s())
                    for row in rows
                ],
                "problem": problem or None,
            }
            reply(message)

        self._journal.read(limit, answer)
