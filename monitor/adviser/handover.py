"""The analysis loop's end of the advice: gathers what was heard and hands it over."""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from monitor.adviser.adviser import Adviser
from monitor.listening.listener import Listener
from monitor.listening.rings import RingEvent
from monitor.news import DeskStands, LineHeard, News, RingSaid

LOG = logging.getLogger(__name__)

EVERY_S = 0.1
CALM_S = 1.0
"""While nothing rings and no ring-out is under way."""
AFTER_S = 2.0
"""A ring that has closed is listened to for so long: how it dies tells the margin."""
APART_S = 0.05
MOST_FOLLOWED = 8
"""More at once is a room's limit many times over; the loudest opened first."""


@dataclass(slots=True)
class _Line:
    id: int
    frequency_hz: float
    told_s: float = 0.0
    closed_s: float | None = None


class Handover:
    """Hands over to an adviser; no call waits, and none raises into the loop."""

    def __init__(self, adviser: Adviser) -> None:
        self._adviser = adviser
        self._lines: dict[int, _Line] = {}
        self._said: list[RingSaid] = []
        self._offset_s: float | None = None
        self._fresh = True
        self._since_s = 0.0
        self._next_mono_s = 0.0
        self._failed = False

    def restart(self) -> None:
        """The listening begins afresh: no line runs on."""
        self._lines.clear()
        self._offset_s, self._fresh, self._since_s = None, True, 0.0

    def skip(self, listener: Listener) -> None:
        """Samples were lost, the listening goes on: of no line is told what was before."""
        self._offset_s, self._fresh, self._since_s = None, True, listener.clock_s
        for line in self._lines.values():
            line.told_s = listener.clock_s

    def say(self, events: Sequence[tuple[RingEvent, int]], clock_offset_s: float) -> None:
        """Note events of the listening with the number that each ring has tonight."""
        offset_s = self._settled_offset_s(clock_offset_s)
        for event, number in events:
            ring = event.ring
            if event.kind == "closed":
                line = self._lines.get(number)
                if line is not None:
                    line.closed_s = event.at_s
            elif number not in self._lines and len(self._lines) < MOST_FOLLOWED:
                self._lines[number] = _Line(number, ring.frequency_hz, self._since_s)
            said = RingSaid(
                event.kind, number, ring.frequency_hz, ring.level_dbfs, event.at_s + offset_s
            )
            self._said.append(said)

    def step(
        self,
        listener: Listener | None,
        now_mono_s: float,
        *,
        clock_offset_s: float,
        levels: Callable[[], np.ndarray | None],
        desk: Callable[[], DeskStands | None],
        first: int | None,
    ) -> None:
        """Hand over what has gathered, if it is time or a ring has something to say.

        ``first`` is the number of the ring that is shown first.
        """
        if not self._said and now_mono_s < self._next_mono_s:
            return
        busy = bool(self._lines or self._said or self._adviser.result.ring_out is not None)
        self._next_mono_s = now_mono_s + (EVERY_S if busy else CALM_S)
        said, self._said = tuple(self._said), []
        try:
            offset_s = self._settled_offset_s(clock_offset_s)
            at_s = now_mono_s if listener is None else listener.clock_s + offset_s
            lines = () if listener is None else tuple(self._heard(listener, offset_s))
            self._adviser.hear(News(at_s, said, lines, levels(), desk(), first, self._fresh))
            self._fresh, self._failed = False, False
        except Exception:  # the listening goes on without advice
            if not self._failed:
                LOG.exception("nothing could be handed over to the advice")
            self._failed = True
            self._adviser.lost_count += 1

    def _heard(self, listener: Listener, offset_s: float) -> list[LineHeard]:
        found = []
        for line in list(self._lines.values()):
            trace = listener.trace(line.frequency_hz, line.told_s)
            if len(trace.times_s):
                line.told_s = float(trace.times_s[-1])
                found.append(
                    LineHeard(
                        line.id,
                        line.frequency_hz,
                        trace.times_s + offset_s,
                        trace.level_dbfs,
                        trace.floor_dbfs,
                    )
                )
            if line.closed_s is not None and listener.clock_s > line.closed_s + AFTER_S:
                del self._lines[line.id]
        return found

    def _settled_offset_s(self, clock_offset_s: float) -> float:
        """The clock's offset, held still while lines are followed: a slope must not be bent."""
        held = self._offset_s
        if held is None or (not self._lines and abs(clock_offset_s - held) > APART_S):
            self._offset_s = held = clock_offset_s
        return held
