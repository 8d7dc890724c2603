"""The ring-out in full sound: the practice stage is played, the real listening hears it.

What the box does with it is the product's own counsel; the performer is that of
``ring_out_hands``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.advice.equaliser import Equaliser
from monitor.advice.margin import WANTED_MARGIN_DB
from monitor.adviser.counsel import Counsel
from monitor.listening.listener import Listener
from monitor.news import LineHeard, News, RingSaid
from monitor.stage.loop import StageLoop
from monitor.stage.room import random_room
from tests.bench.ring_out_hands import STEP_S, Hands, Outcome, Performer

RATE_HZ = 48000
MOST_S = 600.0
BEGINS_DB = -4.0
AFTER_S = 2.0
"""A line is followed for so long after its ring has closed: how it dies tells its margin."""
_NEAR_PART = 0.01


@dataclass(frozen=True, slots=True)
class _Sounds:
    frequency_hz: float
    margin_db: float
    level_db: float


class PlayedRoom:
    """A random room that is played and heard; what ``Sounding`` and ``BenchRoom`` are in one.

    0 dB of gain is where it begins to ring with a flat equaliser: the stage's own fader scale.
    """

    def __init__(self, seed: int, equaliser: Equaliser, programme: str) -> None:
        self.equaliser = equaliser
        self.gain_db = BEGINS_DB
        self.pulls_db = [0.0] * len(equaliser.sliders)
        self.clock_s = 0.0
        self._loop = StageLoop(
            room=random_room(seed),
            sample_rate_hz=RATE_HZ,
            equaliser=equaliser,
            programme=programme,  # type: ignore[arg-type]
            seed=seed,
        )
        self._listener = Listener(sample_rate_hz=RATE_HZ, way="soundcheck")
        self._lines: dict[int, list[float]] = {}
        self._closed_s: dict[int, float] = {}

    def set(self, equaliser: Equaliser, pulls_db: Sequence[float]) -> None:
        """Pull sliders."""
        self.equaliser, self.pulls_db = equaliser, list(pulls_db)
        self._loop.equalise(equaliser, [-pull_db for pull_db in pulls_db])

    def limit_db(self, equaliser: Equaliser, pulls_db: Sequence[float]) -> float:
        """Return the gain at which it begins to ring as it stands."""
        if list(pulls_db) != self.pulls_db or equaliser != self.equaliser:
            raise ValueError("a played room knows its limit only as its sliders stand")
        return self._loop.margin_db() + self._loop.fader_db

    def rings(self) -> list[_Sounds]:
        """What rings and is flagged, with its true margin at 0 dB of gain."""
        flagged = [hz for number, (hz, _) in self._lines.items() if number not in self._closed_s]
        critical = self._loop.critical()
        return [
            _Sounds(one.frequency_hz, self.gain_db + one.margin_db, 0.0)
            for hz in flagged
            for one in critical
            if abs(one.frequency_hz - hz) <= _NEAR_PART * hz and one.margin_db < 0.0
        ]

    def hear_s(self, seconds: float) -> News:
        """Let time go by; return what the listening hands over."""
        self._loop.fader_db = self.gain_db
        events = self._listener.push(self._loop.process(round(seconds * RATE_HZ)))
        self.clock_s = self._listener.clock_s
        said = []
        for event in events:
            ring = event.ring
            if event.kind == "closed":
                self._closed_s[ring.id] = event.at_s
            elif ring.id not in self._lines:
                self._lines[ring.id] = [ring.frequency_hz, 0.0]
            said.append(
                RingSaid(event.kind, ring.id, ring.frequency_hz, ring.level_dbfs, event.at_s)
            )
        return News(self.clock_s, tuple(said), tuple(self._heard()))

    def _heard(self) -> list[LineHeard]:
        found = []
        for number, (hz, told_s) in list(self._lines.items()):
            trace = self._listener.trace(hz, told_s)
            if len(trace.times_s):
                self._lines[number][1] = float(trace.times_s[-1])
                found.append(
                    LineHeard(number, hz, trace.times_s, trace.level_dbfs, trace.floor_dbfs)
                )
            closed_s = self._closed_s.get(number)
            if closed_s is not None and self.clock_s > closed_s + AFTER_S:
                del self._lines[number], self._closed_s[number]
        return found


def sounded(seed: int, kind: str, hands: Hands, programme: str) -> Outcome:
    """Do what the ring-out says in a room that sounds."""
    equaliser = Equaliser.from_settings(kind)
    room = PlayedRoom(seed, equaliser, programme)
    who = Performer(room, equaliser, hands, np.random.default_rng([seed, 3]), sound=room)
    box = Counsel(equaliser, margin_db=WANTED_MARGIN_DB)
    for do in ("open", "begin"):
        box.command({"class": "ring_out", "do": do}, 0.0)
    while room.clock_s < MOST_S:
        box.hear(room.hear_s(STEP_S))
        state = box.result.ring_out
        if state is None or state.phase in ("back_off", "done"):
            return who.finish("" if state is None else state.why_ended)
        who.follow(state)
        if who.presses_pulled(state):
            box.command({"class": "ring_out", "do": "pulled"}, room.clock_s)
    return who.finish("time")
