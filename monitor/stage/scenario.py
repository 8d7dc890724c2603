"""The practice stage's scenario: an invented band and the invented rooms it plays in.

Band, rooms, names and measures are made up; any likeness is chance.
"""

from __future__ import annotations

from monitor.stage.room import Loudspeaker, Room, VocalMicrophone, unit

BAND = "The Ferry Lamps"
"""Three people, one of whom sings, plays the guitar and mixes at the same time."""


def _mains(x: float, y: float, z: float) -> Loudspeaker:
    return Loudspeaker((x, y, z), unit(0.0, 1.0, -0.1))


_ROOMS = (
    Room(
        name="Cellar under the Rope Shop",
        description="brick and low, 40 people; one loudspeaker on a stand, a little too near",
        size_m=(5.2, 9.4, 2.4),
        t60_s=0.45,
        loudspeakers=(_mains(4.1, 2.9, 1.7),),
        microphone=VocalMicrophone((2.5, 1.9, 1.5), unit(0.0, -1.0, 0.2), 0.5),
        box_m=(2.55, 1.98, 1.15),
        mouth_m=(2.5, 1.85, 1.52),
        seed=11,
    ),
    Room(
        name="Back Room of the Blue Heron",
        description="carpet and curtains; a wedge on the floor in front of the singer",
        size_m=(6.8, 8.1, 2.9),
        t60_s=0.35,
        loudspeakers=(Loudspeaker((3.4, 3.2, 0.3), unit(0.05, -0.7, 0.7), 90.0, 14000.0),),
        microphone=VocalMicrophone((3.3, 2.0, 1.55), unit(0.0, -1.0, 0.3), 0.37),
        box_m=(3.36, 2.07, 1.2),
        mouth_m=(3.3, 1.95, 1.57),
        seed=22,
    ),
    Room(
        name="Tin Chapel",
        description="bare boards and a high ceiling, rings on for more than a second; two mains",
        size_m=(7.6, 13.5, 5.2),
        t60_s=1.2,
        loudspeakers=(_mains(1.4, 3.4, 2.0), _mains(6.2, 3.4, 2.0)),
        microphone=VocalMicrophone((3.7, 2.1, 1.5), unit(0.0, -1.0, 0.2), 0.5),
        box_m=(3.76, 2.18, 1.1),
        mouth_m=(3.7, 2.06, 1.52),
        seed=33,
    ),
    Room(
        name="Loft above the Boatyard",
        description="wood and glass; the loudspeaker stands behind the singer, where it should not",
        size_m=(8.3, 10.2, 3.3),
        t60_s=0.7,
        loudspeakers=(_mains(5.9, 1.0, 1.6),),
        microphone=VocalMicrophone((4.2, 2.2, 1.52), unit(0.0, -1.0, 0.25), 0.5),
        box_m=(4.26, 2.28, 1.12),
        mouth_m=(4.2, 2.15, 1.54),
        seed=44,
    ),
)
ROOMS: dict[str, Room] = {room.name: room for room in _ROOMS}
"""The named rooms, the practice stage's default first."""
DEFAULT_ROOM = _ROOMS[0]
