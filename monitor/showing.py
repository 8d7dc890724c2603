"""Out to lamp, panel and link: how all stands now, ten times a second.

Runs in the analysis loop; nothing in here waits for a display or a socket, or raises into it.
"""

from __future__ import annotations

import logging
import time
from typing import Any

import numpy as np

from firmware.ports import Face, LampPattern
from monitor import present, present_snapshot
from monitor.aside import Aside
from monitor.hearing import Hearing
from monitor.listening.levels import Levels
from monitor.listening.listener import Listener
from monitor.tonight import Tonight
from monitor.watcher_parts import Parts

LOG = logging.getLogger(__name__)

SNAPSHOT_S = 0.1
LEVELS_S = 0.08
IDLE_SNAPSHOT_S = 1.0
"""With nobody on the link the levels need not be worked out ten times a second."""

AGE_ROUNDED_S = 0.2
"""A gig's age is told to a tenth of a second: no ring of its own may seem to be from before."""

FAULT = Face("deaf", "fault", "watch the lamp", "switch me off and on")
"""On the panel while nothing else can be made out: what it showed before may be true no more."""


class Showing:
    """Shows what the loop knows.

    Parameters
    ----------
    parts : Parts
        Already open.
    box : str
        The box's name.
    hearing, tonight : Hearing, Tonight
        The loop's own, looked at here.
    aside : Aside
        Where what fails ends.
    started_mono_s : float
        When the watcher began.
    """

    def __init__(
        self,
        parts: Parts,
        *,
        box: str,
        hearing: Hearing,
        tonight: Tonight,
        aside: Aside,
        started_mono_s: float,
    ) -> None:
        self._parts = parts
        self._box = box
        self._hearing = hearing
        self._tonight = tonight
        self._aside = aside
        self._started_mono_s = started_mono_s
        self._levels: Levels | None = None
        self._levels_mono_s = 0.0
        self._address = ""
        self._address_mono_s: float | None = None
        self._pattern: LampPattern | None = None
        self._state = ""
        self._seq = 0
        self._snapshot_mono_s = 0.0
        self._equaliser_fields = present_snapshot.equaliser_fields(parts.equaliser)

    def take_address(self, url: str) -> None:
        """Show the page's address on the panel."""
        if url != self._address:
            self._address_mono_s = time.monotonic()
        self._address = url

    def light(self, listener: Listener | None, way: str, now_mono_s: float) -> None:
        """Bring the lamp up to date; it comes before all that can take a moment."""
        self._light(listener, self._known(listener, way, now_mono_s))

    def show(
        self, listener: Listener | None, way: str, now_mono_s: float, *, changed: bool
    ) -> None:
        """Show how all stands, if something has changed or it is time."""
        idle = self._parts.server.client_count == 0
        wait_s = IDLE_SNAPSHOT_S if idle else SNAPSHOT_S
        if not changed and now_mono_s < self._snapshot_mono_s + wait_s:
            return
        self._snapshot_mono_s = now_mono_s
        gig: dict[str, Any] = {}
        with self._aside("what is known of the gig"):
            gig = self._gig(listener, now_mono_s)
        situation = self._known(listener, way, now_mono_s)
        state = self._light(listener, situation)
        face = FAULT
        if situation is not None:
            with self._aside("the panel's face"):
                face = present.face(situation)
        self._parts.panel.show(face)
        if situation is None:
            return
        with self._aside("the page's news"):
            self._parts.access.hindrance = present.hindrance(situation, self._parts.panel.health())
            if state != self._state:
                self._tell(situation, state)
            self._publish(listener, situation, now_mono_s, gig)

    def third_octaves(self, listener: Listener | None) -> np.ndarray | None:
        """Return the present levels of the 31 bands, None while nothing is heard."""
        levels = self._measured(listener)
        return None if levels is None else levels.third_octave_dbfs

    def _light(
        self, listener: Listener | None, situation: present.Situation | None
    ) -> present.State:
        """Bring the lamp up to date; return the state that it tells."""
        if situation is not None:
            state = present.state_of(situation)
        else:  # what rings is seen all the same; "quiet" cannot be said
            rings = () if listener is None else listener.open_rings
            howls = any(ring.degree == "howl" for ring in rings)
            state = "howl" if howls else "ringing" if rings else "deaf"
        if (pattern := present.lamp_pattern(state)) != self._pattern:
            with self._aside("the lamp"):
                self._parts.lamp.show(pattern)
                self._pattern = pattern
        return state

    def _gig(self, listener: Listener | None, now_mono_s: float) -> dict[str, Any]:
        """Bring tonight's rings up to date; return the gig's fields."""
        if listener is not None:
            self._tonight.follow(listener.open_rings)
        gig = self._parts.gigs.fields()
        begun_age_s = gig["gig"].get("begun_age_s")
        if begun_age_s is not None:
            self._tonight.begin_at(now_mono_s - begun_age_s - AGE_ROUNDED_S)
        return gig

    def _known(
        self, listener: Listener | None, way: str, now_mono_s: float
    ) -> present.Situation | None:
        """Return how all stands, None if that cannot be found out."""
        with self._aside("what is known"):
            return self._situation(listener, way, now_mono_s)
        return None

    def _situation(
        self, listener: Listener | None, way: str, now_mono_s: float
    ) -> present.Situation:
        quiet_since = self._tonight.last_end_mono_s
        return present.Situation(
            now_mono_s=now_mono_s,
            uptime_s=now_mono_s - self._started_mono_s,
            box=self._box,
            address=self._address,
            address_age_s=(
                None if self._address_mono_s is None else now_mono_s - self._address_mono_s
            ),
            way=way,
            hears=listener is not None and self._hearing.has_sound(now_mono_s),
            deafness=self._hearing.deafness(self._parts.source.status(), now_mono_s),
            rings=self._tonight.open_rings,
            recent=self._tonight.recent,
            has_rung=self._tonight.has_rung,
            quiet_since_mono_s=(self._hearing.first_mono_s if quiet_since is None else quiet_since),
            advised=self._parts.adviser.result,
            code=self._parts.access.code(),
            is_leaving=self._parts.hand.is_leaving,
            settings_health=self._parts.settings_health,
        )

    def _tell(self, situation: present.Situation, state: str) -> None:
        self._state = state
        why = situation.deafness
        self._parts.supervisor.status(state if why is None else f"{state}: {why.sentence}")
        if state == "deaf" and why is not None:
            LOG.warning("cannot hear: %s", why.sentence)
        elif state == "quiet":
            LOG.info("quiet")

    def _publish(
        self,
        listener: Listener | None,
        situation: present.Situation,
        now_mono_s: float,
        gig: dict[str, Any],
    ) -> None:
        self._seq += 1
        picture = self._parts.panel.picture
        parts: dict[str, Any] = {
            "equaliser": self._equaliser_fields,
            "lamp": {"pattern": self._pattern, "health": self._parts.lamp.health()},
            "panel": present_snapshot.panel_fields(
                picture.width, picture.height, picture.bits, self._parts.panel.health()
            ),
            "button": {"health": self._parts.hand.health()},
            "board": self._parts.board.fields(),
            "settings": {"health": self._parts.settings_health},
            "link": {
                "dropped_client_count": self._parts.server.dropped_client_count,
                "skipped_snapshot_count": self._parts.server.skipped_snapshot_count,
                "lost_event_count": self._parts.server.lost_event_count,
                "health": self._parts.server.problem or "ok",
            },
            "journal": {"health": self._parts.journal.health()},
            "adviser": {"health": self._parts.adviser.health()},
            "soundcheck": self._parts.soundcheck.fields(),
            "access": {
                **self._parts.access.fields(),
                "health": self._parts.access.health(),
            },
            "gigs": {"health": self._parts.gigs.health()},
            "showing": {"health": self._aside.health()},
            **gig,
            **present.advised_fields(situation),
        }
        if self._parts.stage is not None:
            parts["stage"] = self._parts.stage.state()
        snapshot = present_snapshot.snapshot(
            situation,
            seq=self._seq,
            audio_age_s=self._hearing.audio_age_s(now_mono_s),
            levels=self._measured(listener) if situation.hears else None,
            clipping=self._hearing.is_clipping(now_mono_s),
            status=self._parts.source.status(),
            parts=parts,
        )
        self._parts.server.publish_snapshot(snapshot)
        self._parts.gigs.see(snapshot)

    def _measured(self, listener: Listener | None) -> Levels | None:
        """The present levels; who asks twice within a snapshot's time gets the same again."""
        now_mono_s = time.monotonic()
        if listener is None:
            self._levels = None
        elif self._levels is None or now_mono_s >= self._levels_mono_s + LEVELS_S:
            self._levels, self._levels_mono_s = listener.levels(), now_mono_s
        return self._levels
