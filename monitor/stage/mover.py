"""Moves the practice stage: builds the next placement in a thread of its own.

Building takes about a second.  Nobody waits for it: the stage plays on as it stands until the
new one is ready, and takes it between two blocks.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable

from monitor.advice.equaliser import Equaliser
from monitor.stage.performer import Programme
from monitor.stage.scenario import Placement, PracticeRoom
from monitor.stage.seat import Seat, take_seat

LOG = logging.getLogger(__name__)


class Mover:
    """Builds one seat at a time; the newest wish counts.

    Parameters
    ----------
    sample_rate_hz, equaliser, programme, seed
        What stays the same wherever the stage moves.
    present : callable
        Returns the seat that is played now, whose sliders stay as they are within a room.
    take : callable
        Builds the next seat, as ``take_seat``.

    Attributes
    ----------
    moving_to : tuple of PracticeRoom and Placement, or None
        What is being built or about to be played; read without a lock by the analysis loop.
    """

    def __init__(
        self,
        *,
        sample_rate_hz: int,
        equaliser: Equaliser,
        programme: Programme,
        seed: int,
        present: Callable[[], Seat],
        take: Callable[..., Seat] = take_seat,
    ) -> None:
        self._rate_hz = sample_rate_hz
        self._equaliser = equaliser
        self._programme: Programme = programme
        self._seed = seed
        self._present = present
        self._take = take
        self._lock = threading.Lock()
        self._wanted: tuple[PracticeRoom, Placement] | None = None
        self._ready: Seat | None = None
        self._busy = False
        self.moving_to: tuple[PracticeRoom, Placement] | None = None
        self.problem = ""

    def move(self, room: PracticeRoom, placement: Placement) -> None:
        """Begin to build; a wish that is still being built is forgotten.  Returns at once."""
        with self._lock:
            self._wanted, self._ready, self.problem = (room, placement), None, ""
            self.moving_to = self._wanted
            if not self._busy:
                self._busy = True
                threading.Thread(target=self._run, name="stage-mover", daemon=True).start()

    def ready(self) -> Seat | None:
        """Return the new seat once, when it is built."""
        with self._lock:
            ready, self._ready = self._ready, None
            if ready is not None:
                self.moving_to = None
            return ready

    def _run(self) -> None:
        while True:
            with self._lock:
                wanted = self._wanted
                if wanted is None:
                    self._busy = False
                    return
            seat, problem = self._built(*wanted)
            with self._lock:
                if self._wanted == wanted:
                    self._wanted, self._ready, self.problem = None, seat, problem
                    if seat is None:
                        self.moving_to = None

    def _built(self, room: PracticeRoom, placement: Placement) -> tuple[Seat | None, str]:
        present = self._present()
        stays = present.room is room
        try:
            seat = self._take(
                room,
                placement,
                sample_rate_hz=self._rate_hz,
                # Within a room filters stay where they were put.
                equaliser=present.loop.equaliser if stays else self._equaliser,
                programme=self._programme,
                seed=self._seed,
                first_gain_db=present.first_gain_db if stays else None,
                cuts_db=tuple(present.loop.cuts_db) if stays else None,
            )
        except Exception as error:  # the thread's edge: the person must be told, and may go on
            LOG.exception("the stage could not be moved")
            return None, f"{room.name}, {placement.name} cannot be built: {error}"
        return seat, ""
