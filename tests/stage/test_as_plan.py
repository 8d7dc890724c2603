"""The practice rooms as stage plans: what is read back stands where the room's things stand."""

from __future__ import annotations

import math

import pytest

from monitor.placing.stage_file import parse_stage
from monitor.stage.as_plan import as_plan
from monitor.stage.room import Room
from monitor.stage.scenario import PRACTICE_ROOMS

PLACES = [
    pytest.param(placement.room, id=f"{room.name}, {placement.name}")
    for room in PRACTICE_ROOMS.values()
    for placement in room.placements
]


@pytest.mark.parametrize("room", PLACES)
def test_every_placement_is_a_plan(room: Room) -> None:
    stage = parse_stage(as_plan(room))
    assert len(stage.loudspeakers) == len(room.loudspeakers)
    for drawn, real in zip(stage.loudspeakers, room.loudspeakers, strict=True):
        assert (drawn.x_m, drawn.y_m, drawn.height_m) == pytest.approx(real.position_m)
        aim, tilt = math.radians(drawn.aim_deg), math.radians(drawn.tilt_deg)
        # The convention of the plan: 0 degrees to the audience (+y), 90 to +x, tilt up positive.
        direction = (
            math.sin(aim) * math.cos(tilt),
            math.cos(aim) * math.cos(tilt),
            math.sin(tilt),
        )
        assert direction == pytest.approx(real.aim, abs=0.01)
    (mic,) = stage.microphones
    assert (mic.x_m, mic.y_m, mic.height_m) == pytest.approx(room.microphone.position_m)
    assert mic.mouth_m == pytest.approx(
        math.dist(room.microphone.position_m, room.mouth_m), abs=0.001
    )
    assert stage.room.t60_s == room.t60_s


def test_what_things_are_called() -> None:
    def names(room: str, placement: int = 0) -> list[tuple[str, str]]:
        plan = as_plan(PRACTICE_ROOMS[room].placements[placement].room)
        return [(one["name"], one["kind"]) for one in plan["loudspeaker"]]

    assert names("Tin Chapel") == [("mains left", "mains"), ("mains right", "mains")]
    assert names("Old Sail Store") == [("mains", "mains"), ("wedge", "wedge")]
    assert names("Back Room of the Blue Heron") == [("wedge", "wedge")]
    patterns = {
        name: as_plan(room.placements[0].room)["microphone"][0]["pattern"]
        for name, room in PRACTICE_ROOMS.items()
    }
    assert patterns["Tea Room on the Slipway"] == "omni"
    assert patterns["Back Room of the Blue Heron"] == "supercardioid"
    assert patterns["Tin Chapel"] == "cardioid"
