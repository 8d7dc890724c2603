"""The rest of what rang, while it dies away, begins no ring of its own."""

from __future__ import annotations

import pytest

from monitor.listening.listener import Listener
from monitor.listening.rings import RingEvent
from monitor.stage.loop import StageLoop
from monitor.stage.scenario import ROOMS
from tests.core.played_stage import BLOCK, EQUALISER


@pytest.mark.parametrize("room", list(ROOMS))
def test_the_fader_pulled_down_ends_rings_and_begins_none(room: str) -> None:
    """The room's own modes ring on at their own frequencies, some Hz beside that of the loop."""
    loop = StageLoop(room=ROOMS[room], equaliser=EQUALISER, seed=1)
    listener = Listener(sample_rate_hz=48000, way="set")

    def played(seconds: float) -> list[RingEvent]:
        blocks = range(round(seconds * 48000 / BLOCK))
        return [event for _ in blocks for event in listener.push(loop.process(BLOCK))]

    played(2.0)
    loop.fader_db = 4.0
    before = played(5.0)
    assert any(event.kind == "howl" for event in before)
    loop.fader_db = -20.0
    after = played(3.0)
    assert {event.kind for event in after} == {"closed"}
    assert listener.open_rings == ()
