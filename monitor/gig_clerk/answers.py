"""What is asked about gigs, venues, records and the memory; answered from the journal's thread.

Every answer fits in a line of the link: lists are cut at their end, records go in pieces.
"""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from monitor.gigs.pieces import Uploads, Whole
from monitor.journal.asks import GetRecord, ListGigs, ListVenues, MergeRecords, Question, Recollect
from monitor.journal.record import check_record
from monitor.journal.store import Journal
from monitor.link.messages import LinkError, Message, encode
from monitor.link.server import Reply

MOST_ASKED = 32
"""Questions that wait for the journal; a crowd that asks for more is told to wait."""
MOST_HELD = 2
HELD_S = 30.0
"""Records are held so long for those who read them piece by piece."""
ROOM_BYTES = 128
"""For the request's number, beside a list in its line."""


class GigAnswers:
    """Answers without waiting; may be asked from any thread.

    Parameters
    ----------
    journal : Journal
        Where it is read.
    in_use : Recollect
        The question to the memory, with the equaliser in use.
    changed : callable
        Called, in the journal's thread, when records were taken in.
    """

    def __init__(self, journal: Journal, *, in_use: Recollect, changed: Callable[[], None]) -> None:
        self._in_use = in_use
        self._journal = journal
        self._changed = changed
        self._lock = threading.Lock()
        self._asked_count = 0
        self._uploads = Uploads()
        self._held: OrderedDict[str, tuple[float, Whole]] = OrderedDict()

    def answer(self, command: Message, reply: Reply) -> None:
        """Answer a command that only looks.

        Raises
        ------
        ValueError
            If too much is waiting already, or what is asked for is not there.
        """
        name = command["class"]
        if name == "gigs":
            question = ListGigs(command["limit"], command.get("before"))
            self._ask(question, reply, lambda gigs: fitting({"class": "gigs", "gigs": gigs}))
        elif name == "venues":
            self._ask(
                ListVenues(), reply, lambda found: fitting({"class": "venues", "venues": found})
            )
        elif name == "recollection":
            self._ask(
                replace(self._in_use, venue=command.get("venue"), but=command.get("but")),
                reply,
                lambda found: {"class": "recollection", **found.fields()},
            )
        else:
            self._record(command["gig"], command["offset"], reply)

    def take_in(self, command: Message, reply: Reply) -> None:
        """Take a piece of records from another box; in one thread only, it can take a moment.

        Raises
        ------
        ValueError
            If it does not fit or is no record; one clear line, and nothing has changed.
        """
        found = self._uploads.take(
            command["upload"],
            offset=command["offset"],
            text=command["text"],
            last=command["last"],
            now_s=time.monotonic(),
        )
        if found is None:
            reply({"class": "done"})
            return
        records = [check_record(one) for one in found]

        def merged(result: Any) -> Mapping[str, Any]:
            self._changed()
            return {"class": "done", **result}

        self._ask(MergeRecords(records), reply, merged)

    def _record(self, uid: str, offset: int, reply: Reply) -> None:
        """A piece of a record; who reads on gets pieces of the same text for a while."""
        if offset > 0 and (whole := self._whole(uid)) is not None:
            reply({"class": "record", "gig": uid, **whole.piece(offset)})
            return

        def piece(record: Any) -> Mapping[str, Any]:
            whole = Whole.of(record)
            with self._lock:
                self._held.pop(uid, None)
                self._held[uid] = (time.monotonic(), whole)
                while len(self._held) > MOST_HELD:
                    self._held.popitem(last=False)
            return {"class": "record", "gig": uid, **whole.piece(offset)}

        self._ask(GetRecord(uid), reply, piece)

    def _whole(self, uid: str) -> Whole | None:
        with self._lock:
            held_mono_s, whole = self._held.get(uid, (0.0, None))
        return whole if time.monotonic() - held_mono_s < HELD_S else None

    def _ask(
        self, question: Question, reply: Reply, shaped: Callable[[Any], Mapping[str, Any]]
    ) -> None:
        with self._lock:
            if self._asked_count >= MOST_ASKED:
                raise ValueError("the journal is behind; ask again in a few seconds")
            self._asked_count += 1

        def answered(result: Any, problem: str) -> None:
            with self._lock:
                self._asked_count -= 1
            reply(_shaped(result, problem, shaped))

        self._journal.ask(question, answered)


def _shaped(
    result: Any, problem: str, shaped: Callable[[Any], Mapping[str, Any]]
) -> Mapping[str, Any]:
    if result is None or (problem and not result):
        return {"class": "error", "message": problem or "the journal has no answer"}
    try:
        message = shaped(result)
        return {**message, "problem": problem} if problem else message
    except ValueError as error:
        return {"class": "error", "message": str(error)}


def fitting(message: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return a message whose list is as long as fits in a line; ``left_off`` counts the rest."""
    (key,) = (key for key, value in message.items() if isinstance(value, list))
    shown, left_off = list(message[key]), 0
    while True:
        cut = {**message, key: shown, **({"left_off": left_off} if left_off else {})}
        try:
            encode({**cut, "request": "x" * ROOM_BYTES})
            return cut
        except LinkError:
            if not shown:
                raise
            gone = max(1, len(shown) // 8)
            shown, left_off = shown[:-gone], left_off + gone
