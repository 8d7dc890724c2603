"""A placement that is played: the loop, with a fader whose scale belongs to the room.

Conventions
-----------
Each room has one fader scale: 0 dB is where its *first* placement begins to ring with all
sliders flat.  A placement that feeds back less rings at a higher mark on the same scale, so that
moving a loudspeaker is seen to bring decibels.  ``gain_db`` of a placement is that mark.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.advice.equaliser import Equaliser
from monitor.stage.filters import low_cut_response
from monitor.stage.fir import folded
from monitor.stage.loop import (
    EQUALISER_S,
    FADER_DEFAULT_DB,
    FADER_MAX_DB,
    LATENCY_S,
    LOW_CUT_HZ,
    PROGRAMME_DB,
    StageLoop,
)
from monitor.stage.nyquist import highest_gain_db
from monitor.stage.performer import Programme
from monitor.stage.room import Responses, responses
from monitor.stage.scenario import PRACTICE_ROOMS, Placement, PracticeRoom


def flat_loop_gain_db(known: Responses) -> float:
    """Return the gain in dB of the stage's loop, as it is built by default, where it rings first:
    all sliders flat, fader gain 1.
    """
    rate = known.sample_rate_hz
    latency, tail = round(LATENCY_S * rate), int(EQUALISER_S * rate)
    length = len(known.feedback) + latency + tail
    size = int(2 ** math.ceil(math.log2(length + tail)))
    channel = low_cut_response(
        corner_hz=LOW_CUT_HZ,
        frequency_hz=np.fft.rfftfreq(size, 1.0 / rate),
        sample_rate_hz=rate,
    )
    taps = folded(known.feedback, channel, size=size, length=length, delay=latency)
    return highest_gain_db(taps)


@dataclass
class Seat:
    """A loop, where it stands in the scenario, and its fader on the room's scale.

    Attributes
    ----------
    first_gain_db : float or None
        Loop gain of the room's first placement, what 0 dB on the fader means; None if unknown.
    gain_db : float
        How much further this placement lets the fader go than the first, all sliders flat.
    """

    loop: StageLoop
    room: PracticeRoom | None = None
    placement: Placement | None = None
    first_gain_db: float | None = None
    gain_db: float = 0.0

    @property
    def fader_db(self) -> float:
        """The fader on the room's scale."""
        return self.loop.fader_db + self.gain_db

    @fader_db.setter
    def fader_db(self, value: float) -> None:
        self.loop.fader_db = value - self.gain_db

    @property
    def fader_max_db(self) -> float:
        """The fader's upper end: as far above this placement's limit as the first one's.

        With the input gain turned down it goes as much further.
        """
        return (
            FADER_MAX_DB
            + max(0.0, math.ceil(self.gain_db))
            + max(0.0, math.ceil(-self.loop.input_db))
        )

    def turn_gain(self, input_db: float) -> None:
        """Set the input gain; the fader stays, but never beyond its end."""
        self.loop.input_db = input_db
        self.fader_db = min(self.fader_db, self.fader_max_db)


def seat_of(loop: StageLoop) -> Seat:
    """Return the seat of a loop that somebody else built, in its room if that is known."""
    for room in PRACTICE_ROOMS.values():
        if room.placements[0].room is loop.room:
            return Seat(loop, room, room.placements[0])
    return Seat(loop)


def take_seat(
    room: PracticeRoom,
    placement: Placement,
    *,
    sample_rate_hz: int,
    equaliser: Equaliser | None,
    programme: Programme = "song",
    seed: int = 1,
    first_gain_db: float | None = None,
    cuts_db: Sequence[float] | None = None,
) -> Seat:
    """Build a placement; takes about a second, so never where somebody waits for sound.

    Parameters
    ----------
    first_gain_db : float, optional
        Loop gain of the room's first placement where it is known; worked out otherwise.
    cuts_db : sequence of float, optional
        How the sliders stand; flat by default.
    """
    known = responses(placement.room, sample_rate_hz)
    own_db = flat_loop_gain_db(known)
    if first_gain_db is None:
        first = room.placements[0]
        first_gain_db = (
            own_db
            if placement is first
            else flat_loop_gain_db(responses(first.room, sample_rate_hz))
        )
    gain_db = first_gain_db - own_db
    loop = StageLoop(
        room=placement.room,
        sample_rate_hz=sample_rate_hz,
        equaliser=equaliser,
        programme=programme,
        # The singer is as loud wherever the loudspeaker stands.
        programme_db=PROGRAMME_DB + gain_db,
        seed=seed,
        known=known,
    )
    for index, cut_db in enumerate(cuts_db or ()):
        if cut_db != 0.0:
            loop.set_cut(index, cut_db)
    seat = Seat(loop, room, placement, first_gain_db, gain_db)
    seat.fader_db = FADER_DEFAULT_DB
    return seat
