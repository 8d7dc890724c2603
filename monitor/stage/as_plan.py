"""A practice room as a stage plan: the same things in the same places, for whoever draws them."""

from __future__ import annotations

import math
from typing import Any

from monitor.placing.directivity import OMNI_PART
from monitor.placing.stage import facing
from monitor.stage.images import Point
from monitor.stage.room import Loudspeaker, Room

_FLOOR_M = 0.6
"""What stands lower and looks up is a wedge."""
_COVERAGE_DEG = 130.0
"""Of the practice stage's simple cabinet above 3 kHz: ((1 + cos) / 2)^2 is -6 dB at 65.5 degrees
to each side (``room._throw``)."""
_LAST_ROW_M = 1.0
_EAR_M = 1.2
"""A listener who sits, a metre from the wall at the far end."""


def as_plan(room: Room) -> dict[str, Any]:
    """Return the stage plan's document (see ``docs/before-it-rings.md``), in metres."""
    mic = room.microphone
    width, depth, height = room.size_m
    return {
        "units": "metres",
        "room": {
            "width": width,
            "depth": depth,
            "height": height,
            "reverberation": room.t60_s if room.t60_s > 0.0 else "dead",
        },
        "microphone": [
            {
                "name": "voice",
                **_place(mic.position_m, mic.aim),
                "pattern": min(OMNI_PART, key=lambda name: abs(OMNI_PART[name] - mic.omni_part)),
                "mouth": round(math.dist(mic.position_m, room.mouth_m), 3),
                "open": True,
            }
        ],
        "loudspeaker": [
            {
                "name": name,
                "kind": "wedge" if _is_wedge(speaker) else "mains",
                **_place(speaker.position_m, speaker.aim),
                "coverage_deg": [_COVERAGE_DEG, _COVERAGE_DEG],
            }
            for name, speaker in zip(_names(room.loudspeakers), room.loudspeakers, strict=True)
        ],
        "listener": {
            "x": round(width / 2.0, 2),
            "y": round(depth - _LAST_ROW_M, 2),
            "height": _EAR_M,
        },
    }


def _is_wedge(speaker: Loudspeaker) -> bool:
    return speaker.position_m[2] < _FLOOR_M


def _place(position_m: Point, aim: Point) -> dict[str, float]:
    x, y, z = position_m
    aim_deg, tilt_deg = facing((0.0, 0.0, 0.0), aim)
    return {
        "x": x,
        "y": y,
        "height": z,
        "aim_deg": round(aim_deg, 1),
        "tilt_deg": round(tilt_deg, 1),
    }


def _names(speakers: tuple[Loudspeaker, ...]) -> list[str]:
    """Name them as a person would: by kind, and by side where there are two of a kind."""
    names = []
    for speaker in speakers:
        kind = "wedge" if _is_wedge(speaker) else "mains"
        same = [s.position_m[0] for s in speakers if _is_wedge(s) == _is_wedge(speaker)]
        if len(same) == 1:
            names.append(kind)
        elif len(same) == 2 and same[0] != same[1]:
            side = "left" if speaker.position_m[0] == min(same) else "right"
            names.append(f"{kind} {side}")
        else:
            names.append(f"{kind} {len(names) + 1}")
    return names
