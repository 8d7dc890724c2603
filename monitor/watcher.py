"""The analysis loop: from blocks to lamp, panel, link and journal, in that order.

Nothing in here waits for a human, a disk, a display or a socket.
"""

from __future__ import annotations

import logging
import math
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from firmware.ports import AudioBlock, AudioSource, Lamp, LampPattern
from monitor import clock, present
from monitor.advice.equaliser import Equaliser
from monitor.adviser import Adviser
from monitor.desk import Desk, Stage
from monitor.handover import Handover
from monitor.hearing import Hearing
from monitor.journal.evening import Now, this_evening
from monitor.journal.rows import RingRow
from monitor.journal.store import Journal
from monitor.link_server import LinkServer
from monitor.listening.levels import Levels
from monitor.listening.listener import Listener
from monitor.listening.rings import RingEvent, Way
from monitor.news import DeskStands
from monitor.panel_thread import PanelThread
from monitor.practice_desk import desk_stands
from monitor.soundcheck_clerk import SoundcheckClerk
from monitor.tonight import PastRing, Shown, Tonight

LOG = logging.getLogger(__name__)

READ_TIMEOUT_S = 0.1
SNAPSHOT_S = 0.1
LEVELS_S = 0.08
IDLE_SNAPSHOT_S = 1.0
"""With nobody on the link the levels need not be worked out ten times a second."""
CHECK_S = 1.0
MOST_FAILURES_IN_A_ROW = 20
REMEMBERED = 500


class Heartbeat(Protocol):
    """The service manager's end."""

    def ready(self) -> None: ...
    def status(self, text: str) -> None: ...
    def alive(self) -> None: ...
    def stopping(self) -> None: ...


@dataclass(frozen=True, slots=True)
class Parts:
    """What the watcher is made of; everything that can fail does so behind its own front."""

    source: AudioSource
    lamp: Lamp
    panel: PanelThread
    journal: Journal
    server: LinkServer
    desk: Desk
    supervisor: Heartbeat
    equaliser: Equaliser
    adviser: Adviser
    soundcheck: SoundcheckClerk
    stage: Stage | None = None


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
        make_listener: Callable[..., Listener] = Listener,
    ) -> None:
        self._parts = parts
        self._box = box
        self._way: Way = way
        self._session = session
        self._boot_id = boot_id
        self._make_listener = make_listener
        self._listener: Listener | None = None
        self._rate_hz = 0
        self._clock_offset_s = 0.0
        self._started_mono_s = time.monotonic()
        self._hearing = Hearing(self._started_mono_s)
        self._tonight = Tonight(parts.equaliser)
        self._handover = Handover(parts.adviser)
        self._levels: Levels | None = None
        self._levels_mono_s = 0.0
        self._address = ""
        self._address_mono_s: float | None = None
        self._pattern: LampPattern | None = None
        self._state = ""
        self._heard_mono_s: float | None = None
        self._seq = 0
        self._snapshot_mono_s = 0.0
        self._next_check_mono_s = 0.0
        self._said: dict[str, str] = {}
        self._failures = 0
        self._equaliser_fields = present.equaliser_fields(parts.equaliser)

    def run(self, stop: threading.Event) -> None:
        """Listen until ``stop`` is set.

        Raises
        ------
        Exception
            What the listening raised, after ``MOST_FAILURES_IN_A_ROW`` blocks in a row
            failed: starting afresh is the service manager's business then.
        """
        self._parts.journal.read(REMEMBERED, self._remember_later)
        self._show(time.monotonic(), changed=True)
        self._parts.supervisor.ready()
        while not stop.is_set():
            block = self._parts.source.read(READ_TIMEOUT_S)
            now_mono_s = time.monotonic()
            changed = self._take_wishes()
            if block is not None:
                changed |= self._hear(block, now_mono_s)
                self._parts.soundcheck.hear(block)
            elif self._listener is not None and not self._hearing.has_sound(now_mono_s):
                # Nothing arrives: what was ringing is no longer known to ring.
                changed |= self._announce(self._listener.reset(), now_mono_s)
                self._listener = None
                self._handover.restart()
            self._show(now_mono_s, changed=changed)
            self._handover.step(
                self._listener,
                now_mono_s,
                clock_offset_s=self._clock_offset_s,
                levels=self._third_octaves,
                desk=self._desk_stands,
            )
            if now_mono_s >= self._next_check_mono_s:
                self._next_check_mono_s = now_mono_s + CHECK_S
                self._check()
                self._parts.supervisor.alive()

    # --- sound in -------------------------------------------------------------------------

    def _hear(self, block: AudioBlock, now_mono_s: float) -> bool:
        self._hearing.take(block, now_mono_s)
        if self._heard_mono_s is None:
            self._heard_mono_s = now_mono_s
        events: list[RingEvent] = []
        try:
            if self._listener is None or block.sample_rate_hz != self._rate_hz:
                if self._listener is not None:
                    events += self._listener.reset()
                    self._announce(events, now_mono_s)
                    events = []
                self._listener = self._make_listener(
                    sample_rate_hz=block.sample_rate_hz, way=self._way
                )
                self._rate_hz = block.sample_rate_hz
                self._handover.restart()
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
            self._listener = None
            self._handover.restart()
        return self._announce(events, now_mono_s)

    def _announce(self, events: list[RingEvent], now_mono_s: float) -> bool:
        """Lamp, link, journal, log: the order of those who cannot wait."""
        if not events:
            return False
        taken = [
            (event, self._tonight.take(event, clock_offset_s=self._clock_offset_s))
            for event in events
        ]
        self._light(present.lamp_pattern(present.state_of(self._situation(now_mono_s))))
        self._handover.say([(event, shown.id) for event, shown in taken], self._clock_offset_s)
        for event, shown in taken:
            ring = event.ring
            self._parts.server.publish_event(
                present.ring_message(
                    shown,
                    event.kind,
                    start_s=ring.start_s,
                    flagged_s=ring.flagged_s,
                    end_s=ring.end_s,
                    now_mono_s=time.monotonic(),
                )
            )
        for event, shown in taken:
            self._parts.journal.put(self._row(shown))
            LOG.info(
                "%s %s (%s)", event.kind, shown.band.label, present.hz_text(shown.frequency_hz)
            )
        return True

    def _row(self, shown: Shown) -> RingRow:
        to_uptime_s = clock.uptime_s() - time.monotonic()
        started_ago_s = time.monotonic() - shown.started_mono_s
        ended = shown.ended_mono_s
        return RingRow(
            session=self._session,
            id=shown.id,
            boot_id=self._boot_id,
            degree=shown.degree,
            way=self._way,
            frequency_hz=shown.frequency_hz,
            band=shown.band.label,
            slider=shown.slider.label,
            level_dbfs=_kept(shown.level_dbfs),
            growth_db_per_s=_kept(shown.growth_db_per_s),
            start_uptime_s=shown.started_mono_s + to_uptime_s,
            end_uptime_s=None if ended is None else ended + to_uptime_s,
            utc=time.time() - started_ago_s,
            clock_trusted=clock.is_trusted(),
        )

    # --- wishes from other threads ----------------------------------------------------------

    def _take_wishes(self) -> bool:
        changed = False
        while not self._parts.desk.wishes.empty():
            wish = self._parts.desk.wishes.get_nowait()
            changed = True
            if wish["class"] == "way":
                self._way = wish["way"]
                if self._listener is not None:
                    self._listener.set_way(self._way)
                LOG.info("listening the way of a %s", self._way)
            elif wish["class"] == "address":
                if wish["url"] != self._address:
                    self._address_mono_s = time.monotonic()
                self._address = wish["url"]
            elif wish["class"] == "remember":
                self._tonight.remember(wish["past"], next_id=wish["next_id"])
        return changed

    def _remember_later(self, rows: list[RingRow], _problem: str) -> None:
        """In the journal's thread: work out what belongs to tonight and wish it remembered."""
        now = Now(self._boot_id, clock.uptime_s(), time.time(), clock.is_trusted())
        mono_s = time.monotonic()
        past = [
            PastRing(
                id=row.id,
                degree="howl" if row.degree == "howl" else "ringing",
                frequency_hz=row.frequency_hz,
                level_dbfs=row.level_dbfs,
                growth_db_per_s=row.growth_db_per_s,
                started_mono_s=mono_s
                - age_s
                - ((row.end_uptime_s or row.start_uptime_s) - row.start_uptime_s),
                ended_mono_s=mono_s - age_s,
            )
            for row, age_s in this_evening(
                (row for row in rows if row.session != self._session), now
            )
        ]
        if past:
            next_id = max(ring.id for ring in past) + 1
            self._parts.desk.wishes.put({"class": "remember", "past": past, "next_id": next_id})

    # --- out to lamp, panel and link ---------------------------------------------------------

    def _light(self, pattern: LampPattern) -> None:
        if pattern != self._pattern:
            self._pattern = pattern
            self._parts.lamp.show(pattern)

    def _situation(self, now_mono_s: float) -> present.Situation:
        quiet_since = self._tonight.last_end_mono_s
        return present.Situation(
            now_mono_s=now_mono_s,
            uptime_s=now_mono_s - self._started_mono_s,
            box=self._box,
            address=self._address,
            address_age_s=(
                None if self._address_mono_s is None else now_mono_s - self._address_mono_s
            ),
            way=self._way,
            hears=self._listener is not None and self._hearing.has_sound(now_mono_s),
            deafness=self._hearing.deafness(self._parts.source.status(), now_mono_s),
            rings=self._tonight.open_rings,
            recent=self._tonight.recent,
            has_rung=self._tonight.has_rung,
            quiet_since_mono_s=self._heard_mono_s if quiet_since is None else quiet_since,
            advised=self._parts.adviser.result,
        )

    def _show(self, now_mono_s: float, *, changed: bool) -> None:
        idle = self._parts.server.client_count == 0
        wait_s = IDLE_SNAPSHOT_S if idle else SNAPSHOT_S
        if not changed and now_mono_s < self._snapshot_mono_s + wait_s:
            return
        if self._listener is not None:
            self._tonight.follow(self._listener.open_rings)
        situation = self._situation(now_mono_s)
        state = present.state_of(situation)
        self._light(present.lamp_pattern(state))
        self._parts.panel.show(present.face(situation))
        if state != self._state:
            self._tell(situation, state)
        self._snapshot_mono_s = now_mono_s
        self._publish(situation, now_mono_s)

    def _tell(self, situation: present.Situation, state: str) -> None:
        self._state = state
        why = situation.deafness
        self._parts.supervisor.status(state if why is None else f"{state}: {why.sentence}")
        if state == "deaf" and why is not None:
            LOG.warning("cannot hear: %s", why.sentence)
        elif state == "quiet":
            LOG.info("quiet")

    def _publish(self, situation: present.Situation, now_mono_s: float) -> None:
        self._seq += 1
        picture = self._parts.panel.picture
        parts: dict[str, Any] = {
            "equaliser": self._equaliser_fields,
            "lamp": {"pattern": self._pattern, "health": self._parts.lamp.health()},
            "panel": present.panel_fields(
                picture.width, picture.height, picture.bits, self._parts.panel.health()
            ),
            "journal": {"health": self._parts.journal.health()},
            "adviser": {"health": self._parts.adviser.health()},
            "soundcheck": self._parts.soundcheck.fields(),
            **(situation.advised.fields if situation.advised else {}),
        }
        if self._parts.stage is not None:
            parts["stage"] = self._parts.stage.state()
        hears = self._listener is not None and situation.hears
        self._parts.server.publish_snapshot(
            present.snapshot(
                situation,
                seq=self._seq,
                audio_age_s=self._hearing.audio_age_s(now_mono_s),
                levels=self._measured() if hears else None,
                clipping=self._hearing.is_clipping(now_mono_s),
                status=self._parts.source.status(),
                parts=parts,
            )
        )

    def _measured(self) -> Levels | None:
        """The present levels; who asks twice within a snapshot's time gets the same again."""
        now_mono_s = time.monotonic()
        if self._listener is None:
            self._levels = None
        elif self._levels is None or now_mono_s >= self._levels_mono_s + LEVELS_S:
            self._levels, self._levels_mono_s = self._listener.levels(), now_mono_s
        return self._levels

    def _third_octaves(self) -> np.ndarray | None:
        levels = self._measured()
        return None if levels is None else levels.third_octave_dbfs

    def _desk_stands(self) -> DeskStands | None:
        if self._parts.stage is None:
            return None
        return desk_stands(self._parts.stage.state(), len(self._parts.equaliser.sliders))

    def _check(self) -> None:
        """Log what has changed about the parts' health, once."""
        status = self._parts.source.status()
        now = {
            "microphone": f"{status.state}: {status.detail}",
            "lamp": self._parts.lamp.health(),
            "panel": self._parts.panel.health(),
            "link": self._parts.server.problem or "ok",
            "advice": self._parts.adviser.health(),
            "soundcheck": self._parts.soundcheck.health(),
        }
        for name, text in now.items():
            if self._said.get(name) != text:
                level = logging.INFO if text in ("ok", "off", "opening") else logging.WARNING
                if name == "microphone" and status.state == "hearing":
                    level = logging.INFO
                if text not in ("ok", "opening") or name in self._said:
                    LOG.log(level, "%s: %s", name, text)
                self._said[name] = text


def _kept(value: float) -> float:
    return value if math.isfinite(value) else 0.0
