"""The analysis loop: from blocks to lamp, panel, link and journal, in that order.

Nothing in here waits for a human, a disk, a display or a socket.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Sequence

from firmware.ports import AudioBlock
from monitor import present_snapshot
from monitor.adviser.handover import Handover
from monitor.adviser.practice_desk import desk_stands
from monitor.aside import Aside
from monitor.hearing import NO_BLOCK_S, Hearing
from monitor.journal.rows import RingRow
from monitor.link.messages import Message
from monitor.listening.listener import Listener
from monitor.listening.rings import RingEvent, Way
from monitor.news import DeskStands
from monitor.part_health import PartHealth
from monitor.present_ring import hz_text
from monitor.ring_rows import past_ring, ring_row
from monitor.showing import Showing
from monitor.tonight import Shown, Tonight
from monitor.watcher_parts import Parts

LOG = logging.getLogger(__name__)

READ_TIMEOUT_S = 0.1
CHECK_S = 1.0
MOST_FAILURES_IN_A_ROW = 20


class Watcher:
    """Listens until ``stop`` is set; ``run`` is the analysis thread.

    Parameters
    ----------
    parts : Parts
        Already open.
    box, session, boot_id : str
        The box's name; what this run and this boot are called in the journal.
    way : {"soundcheck", "set"}
        How to listen at first.
    """

    def __init__(
        self,
        parts: Parts,
        *,
        box: str,
        way: Way,
        session: str,
        boot_id: str,
    ) -> None:
        self._parts = parts
        self._way: Way = way
        self._way_after: Way | None = None
        self._is_led = False
        self._session = session
        self._boot_id = boot_id
        self._listener: Listener | None = None
        self._rate_hz = 0
        self._clock_offset_s = 0.0
        started_mono_s = time.monotonic()
        self._hearing = Hearing(started_mono_s)
        self._tonight = Tonight(parts.equaliser)
        self._handover = Handover(parts.adviser)
        self._aside = Aside()
        self._showing = Showing(
            parts,
            box=box,
            hearing=self._hearing,
            tonight=self._tonight,
            aside=self._aside,
            started_mono_s=started_mono_s,
        )
        self._health = PartHealth(parts, self._aside.health)
        self._next_check_mono_s = 0.0
        self._failures = 0

    def run(self, stop: threading.Event) -> None:
        """Listen until ``stop`` is set.

        Raises
        ------
        Exception
            What the listening raised, after ``MOST_FAILURES_IN_A_ROW`` blocks in a row
            failed: starting afresh is the service manager's business then.
        """
        self._parts.gigs.remember(self._remember_later)
        self._showing.show(None, self._way, time.monotonic(), changed=True)
        self._parts.supervisor.ready()
        while not stop.is_set():
            block = self._parts.source.read(READ_TIMEOUT_S)
            now_mono_s = time.monotonic()
            changed = self._take_wishes()
            changed |= self._follow_ring_out()
            if block is not None:
                changed |= self._hear(block, now_mono_s)
                with self._aside("the measuring of the box's microphone"):
                    self._parts.soundcheck.hear(block)
            elif self._listener is not None and not self._hearing.has_sound(now_mono_s):
                # Nothing arrives: what was ringing is no longer known to ring.
                changed |= self._announce(self._listener.reset(), now_mono_s)
                self._listener = None
                self._handover.restart()
            self._showing.show(self._listener, self._way, now_mono_s, changed=changed)
            self._handover.step(
                self._listener,
                now_mono_s,
                clock_offset_s=self._clock_offset_s,
                levels=lambda: self._showing.third_octaves(self._listener),
                desk=self._desk_stands,
                first=self._tonight.first_id,
            )
            if now_mono_s >= self._next_check_mono_s:
                self._next_check_mono_s = now_mono_s + CHECK_S
                with self._aside("the look at the parts"):
                    self._health.look()
            self._parts.supervisor.alive()

    # --- sound in -------------------------------------------------------------------------

    def _hear(self, block: AudioBlock, now_mono_s: float) -> bool:
        self._hearing.take(block, now_mono_s)
        events: list[RingEvent] = []
        try:
            if self._listener is None or block.sample_rate_hz != self._rate_hz:
                if self._listener is not None:
                    events += self._listener.reset()
                    self._announce(events, now_mono_s)
                    events = []
                self._listener = Listener(sample_rate_hz=block.sample_rate_hz, way=self._way)
                self._rate_hz = block.sample_rate_hz
                self._handover.restart()
            elif block.gap and self._missing_s(self._listener, block) < NO_BLOCK_S:
                # The listening goes on over the seam: begun afresh it would have to wait for a
                # second and more until it knew again what howls already.
                self._handover.skip(self._listener)
            elif block.gap:
                events += self._listener.reset()
                self._handover.restart()
            events += self._listener.push(block.samples)
            self._clock_offset_s = block.captured_mono_s - self._listener.clock_s
            self._failures = 0
        except Exception:
            self._failures += 1
            if self._failures == 1:
                LOG.exception("the listening failed on a block and begins afresh")
            if self._failures >= MOST_FAILURES_IN_A_ROW:
                raise
            if self._listener is not None:
                # What rang is followed no longer: it must not stay lit, nor lend its number.
                events += self._listener.reset()
                self._listener = None
            self._handover.restart()
        return self._announce(events, now_mono_s)

    def _missing_s(self, listener: Listener, block: AudioBlock) -> float:
        """How much sound is missing before a block."""
        begun_mono_s = block.captured_mono_s - len(block.samples) / block.sample_rate_hz
        return begun_mono_s - (listener.clock_s + self._clock_offset_s)

    def _announce(self, events: list[RingEvent], now_mono_s: float) -> bool:
        """Lamp, advice, link, gigs, log: the order of those who cannot wait."""
        if not events:
            return False
        taken = [
            (event, self._tonight.take(event, clock_offset_s=self._clock_offset_s))
            for event in events
        ]
        self._showing.light(self._listener, self._way, now_mono_s)
        self._handover.say([(event, shown.id) for event, shown in taken], self._clock_offset_s)
        with self._aside("the telling of a ring"):
            self._tell(taken)
        with self._aside("the keeping of a ring"):
            for event, shown in taken:
                self._parts.gigs.ring(
                    ring_row(shown, session=self._session, boot_id=self._boot_id, way=self._way)
                )
                LOG.info("%s %s (%s)", event.kind, shown.band.label, hz_text(shown.frequency_hz))
        return True

    def _tell(self, taken: Sequence[tuple[RingEvent, Shown]]) -> None:
        for event, shown in taken:
            ring = event.ring
            self._parts.server.publish_event(
                present_snapshot.ring_message(
                    shown,
                    event.kind,
                    start_s=ring.start_s,
                    flagged_s=ring.flagged_s,
                    end_s=ring.end_s,
                    now_mono_s=time.monotonic(),
                )
            )

    # --- wishes from other threads ----------------------------------------------------------

    def _take_wishes(self) -> bool:
        changed = False
        while not self._parts.desk.wishes.empty():
            wish = self._parts.desk.wishes.get_nowait()
            changed = True
            with self._aside("a wish of another part"):
                self._take_wish(wish)
        return changed

    def _take_wish(self, wish: Message) -> None:
        if wish["class"] == "way":
            self._way_after = None  # a person's word outlasts the ring-out
            self._listen_the_way_of(wish["way"])
        elif wish["class"] == "address":
            self._showing.take_address(wish["url"])
        elif wish["class"] == "remember":
            self._tonight.remember(wish["past"], next_id=wish["next_id"])

    def _follow_ring_out(self) -> bool:
        """Listen the quick way while a ring-out leads, then as before.

        Its rings are made on purpose.  Returns whether anything changed.
        """
        ring_out = self._parts.adviser.result.ring_out
        leads = ring_out is not None and ring_out.leads
        if leads == self._is_led:
            return False
        self._is_led = leads
        if leads:
            self._way_after = self._way
            self._listen_the_way_of("soundcheck")
        elif self._way_after is not None:
            self._listen_the_way_of(self._way_after)
            self._way_after = None
        return True

    def _listen_the_way_of(self, way: Way) -> None:
        if way == self._way:
            return
        self._way = way
        if self._listener is not None:
            self._listener.set_way(way)
        LOG.info("listening the way of a %s", way)

    def _remember_later(self, rows: Sequence[tuple[RingRow, float]]) -> None:
        """In the gig clerk's thread: wish the rings of a gig that goes on remembered."""
        found = [past_ring(row, age_s=age_s) for row, age_s in rows]
        past = [ring for ring in found if ring is not None]
        if len(past) < len(found):
            LOG.warning("%d rings of tonight make no sense on the card", len(found) - len(past))
        next_id = max((ring.id for ring in past), default=0) + 1
        self._parts.desk.wish({"class": "remember", "past": past, "next_id": next_id})

    def _desk_stands(self) -> DeskStands | None:
        if self._parts.stage is None:
            return None
        return desk_stands(self._parts.stage.state(), len(self._parts.equaliser.sliders))
