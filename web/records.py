"""Whole records of gigs, put together from the pieces that fit through the link."""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass
from typing import Any

from monitor.link.client import LinkClient
from monitor.link.messages import strict_json

MOST_CHARS = 8 * 1024 * 1024
"""Twice what may be brought in from another box; a gig of three hours has a fiftieth of it."""
KEPT = 2
"""Records in memory: the one that is looked at, in all its forms, and another."""
KEPT_CHARS = 1024 * 1024
"""A longer one is not kept: the page process has 160 MB in all."""
TAKES_TURNS_S = 2.0
PIECE_S = 5.0
"""How long a slow card may take for a piece."""
TRIES = 3
"""A gig that is going on changes while it is read."""


class Busy(Exception):
    """The record cannot be had this moment; the message is for the person."""


class NoRecord(Exception):
    """The watcher has no such record, or cannot give it; the message is for the person."""


@dataclass(frozen=True, slots=True)
class Record:
    """A gig's record: as JSON text, as its parts, and the digest that tells it from another."""

    text: str
    fields: dict[str, Any]
    digest: str


class Records:
    """Reads records one at a time; whoever would wait too long is turned away."""

    def __init__(self, client: LinkClient, *, wait_s: float = TAKES_TURNS_S) -> None:
        self._client = client
        self._wait_s = wait_s
        self._turn = threading.Lock()
        self._kept: OrderedDict[str, Record] = OrderedDict()

    def __enter__(self) -> Records:
        if not self._turn.acquire(timeout=self._wait_s):
            raise Busy("another record is being read; try again in a moment")
        return self

    def __exit__(self, *_: object) -> None:
        self._turn.release()

    def read(self, uid: str) -> Record:
        """Return a record; call it inside ``with``, which takes the turn.

        Raises
        ------
        NoRecord
            If there is none.
        Busy
            If it does not hold still.
        LinkError
            If the watcher cannot be asked.
        """
        for _ in range(TRIES):
            first = self._piece(uid, 0)
            digest = str(first.get("digest", ""))
            kept = self._kept.get(uid)
            if kept is not None and kept.digest == digest:
                self._kept.move_to_end(uid)
                return kept
            text = self._rest(uid, first, digest)
            if text is not None:
                return self._keep(uid, text, digest)
        raise Busy("this gig changes too fast to be read; try again in a moment")

    def _rest(self, uid: str, piece: dict[str, Any], digest: str) -> str | None:
        """The whole text; None if it became another while it was read."""
        total = piece.get("total")
        if not isinstance(total, int) or not 0 < total <= MOST_CHARS:
            raise NoRecord(f"a record of {total!r} characters; at most {MOST_CHARS} are read")
        pieces: list[str] = []
        length = 0
        while True:
            text = piece.get("text")
            if not isinstance(text, str) or not text or piece.get("digest") != digest:
                return None
            pieces.append(text)
            length += len(text)
            if length >= total:
                return "".join(pieces) if length == total else None
            piece = self._piece(uid, length)

    def _piece(self, uid: str, offset: int) -> dict[str, Any]:
        command = {"class": "record", "gig": uid, "offset": offset}
        answer = self._client.request(command, timeout_s=PIECE_S)
        if answer.get("class") != "record":
            raise NoRecord(str(answer.get("message", "there is no such gig")))
        return answer

    def _keep(self, uid: str, text: str, digest: str) -> Record:
        try:
            fields = strict_json(text)
        except (ValueError, RecursionError) as error:
            raise NoRecord(f"the watcher's record cannot be read: {error}") from error
        if not isinstance(fields, dict):
            raise NoRecord("the watcher's record cannot be read: it is no object")
        record = Record(text, fields, digest)
        if len(text) <= KEPT_CHARS:
            self._kept[uid] = record
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        return record
