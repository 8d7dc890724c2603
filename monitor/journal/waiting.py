"""What is not on the disk yet: bounded, and whoever asked to be told is told."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from monitor.journal.asks import Happening
from monitor.journal.rows import RingRow
from monitor.journal.writing import Change

LOG = logging.getLogger(__name__)

Done = Callable[[str], None]
"""Called with nothing when it is on the disk, or with one line that says why it is not."""
LOST = "the journal could not be written for so long that this was lost"


class Waiting:
    """Changes in the order they came; a ring that has changed again stays one.

    Parameters
    ----------
    most : int
        Beyond it a minute's level goes first, then the oldest ring or happening; what makes a
        gig or a venue goes last.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._held: dict[Any, tuple[Change, list[Done]]] = {}
        self._next = 0
        self.lost_count = 0

    def __len__(self) -> int:
        return len(self._held)

    def hold(self, change: Change, done: Done | None) -> None:
        """Take one more; the least of what waits is lost if there is no room."""
        if isinstance(change, RingRow):
            key: Any = (change.session, change.id)
        else:
            key, self._next = self._next, self._next + 1
        if key not in self._held and len(self._held) >= self._most:
            self._lose()
        before = self._held.get(key)
        dones = [] if before is None else before[1]
        if done is not None:
            dones.append(done)
        if isinstance(change, RingRow) and change.gig is None and before is not None:
            change = replace(change, gig=getattr(before[0], "gig", None))
        self._held[key] = (change, dones)

    def changes(self) -> list[Change]:
        """Return what waits, oldest first."""
        return [change for change, _ in self._held.values()]

    def rings(self) -> list[RingRow]:
        """Return the rings that wait, oldest first."""
        return [change for change in self.changes() if isinstance(change, RingRow)]

    def written(self, refused: dict[int, str]) -> None:
        """All of it is on the disk, but for what was ``refused`` (by ``id()``, with reasons)."""
        held, self._held = self._held, {}
        for change, dones in held.values():
            reason = refused.get(id(change), "")
            self.lost_count += bool(reason)
            _tell(dones, reason)

    def still_waits(self, why: str) -> None:
        """The disk does not take it; say so to those who have not been told yet."""
        for _, dones in self._held.values():
            told, dones[:] = list(dones), []
            _tell(told, why)

    def _lose(self) -> None:
        def worth(change: Change) -> int:
            if isinstance(change, Happening):
                return 0 if change.kind == "level" else 1
            return 1 if isinstance(change, RingRow) else 2

        key = min(self._held, key=lambda k: worth(self._held[k][0]))
        _, dones = self._held.pop(key)
        self.lost_count += 1
        _tell(dones, LOST)


def _tell(dones: list[Done], problem: str) -> None:
    for done in dones:
        try:
            done(problem)
        except Exception:  # the asker's trouble must not end the journal
            LOG.exception("telling what has become of a change failed")
