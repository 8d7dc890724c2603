"""The practice stage's scenario: an invented band, the invented rooms it plays in, and where
things can be put in each of them.

Band, rooms, names and measures are made up; any likeness is chance.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from monitor.stage.images import Point
from monitor.stage.room import Loudspeaker, Room, VocalMicrophone, unit

BAND = "The Ferry Lamps"
"""Three people, one of whom sings, plays the guitar and mixes at the same time."""


@dataclass(frozen=True, slots=True)
class Placement:
    """One way to put things in a room: what a person would call it, why, and the room so."""

    name: str
    description: str
    room: Room


@dataclass(frozen=True, slots=True)
class PracticeRoom:
    """A room and what can be tried in it; the first placement is how the band found it.

    Nothing moves but loudspeakers and the microphone's pattern or aim: singer, microphone and
    walls stay, so that what changes in gain is the placement's doing.
    """

    name: str
    description: str
    placements: tuple[Placement, ...]

    def placement(self, name: str) -> Placement:
        """Return a placement by its name.

        Raises
        ------
        ValueError
            If there is none of that name; the line says which there are.
        """
        for one in self.placements:
            if one.name == name:
                return one
        known = ", ".join(f'"{one.name}"' for one in self.placements)
        raise ValueError(f'no placement "{name}" in {self.name}; there are {known}')


def _mains(x: float, y: float, z: float) -> Loudspeaker:
    return Loudspeaker((x, y, z), unit(0.0, 1.0, -0.1))


def _wedge(x: float, y: float, towards: Point) -> Loudspeaker:
    """A wedge on the floor that looks up at ``towards``."""
    aim = unit(towards[0] - x, towards[1] - y, towards[2] - 0.3)
    return Loudspeaker((x, y, 0.3), aim, 90.0, 14000.0)


def _with(room: Room, *loudspeakers: Loudspeaker) -> Room:
    return replace(room, loudspeakers=loudspeakers)


def _microphone(room: Room, omni_part: float, aim: Point) -> Room:
    return replace(room, microphone=VocalMicrophone(room.microphone.position_m, aim, omni_part))


_CELLAR = Room(
    name="Cellar under the Rope Shop",
    description="brick and low, 40 people; one loudspeaker on a stand, a little too near",
    size_m=(5.2, 9.4, 2.4),
    t60_s=0.45,
    loudspeakers=(_mains(4.1, 2.9, 1.7),),
    microphone=VocalMicrophone((2.5, 1.9, 1.5), unit(0.0, -1.0, 0.2), 0.5),
    box_m=(2.55, 1.98, 1.15),
    mouth_m=(2.5, 1.85, 1.52),
    seed=11,
)
_BACK_ROOM = Room(
    name="Back Room of the Blue Heron",
    description="carpet and curtains; a wedge on the floor in front of the singer",
    size_m=(6.8, 8.1, 2.9),
    t60_s=0.35,
    loudspeakers=(Loudspeaker((3.4, 3.2, 0.3), unit(0.05, -0.7, 0.7), 90.0, 14000.0),),
    microphone=VocalMicrophone((3.3, 2.0, 1.55), unit(0.0, -1.0, 0.3), 0.37),
    box_m=(3.36, 2.07, 1.2),
    mouth_m=(3.3, 1.95, 1.57),
    seed=22,
)
_CHAPEL = Room(
    name="Tin Chapel",
    description="bare boards and a high ceiling, rings on for more than a second; two mains",
    size_m=(7.6, 13.5, 5.2),
    t60_s=1.2,
    loudspeakers=(_mains(1.4, 3.4, 2.0), _mains(6.2, 3.4, 2.0)),
    microphone=VocalMicrophone((3.7, 2.1, 1.5), unit(0.0, -1.0, 0.2), 0.5),
    box_m=(3.76, 2.18, 1.1),
    mouth_m=(3.7, 2.06, 1.52),
    seed=33,
)
_LOFT = Room(
    name="Loft above the Boatyard",
    description="wood and glass; the loudspeaker stands behind the singer, where it should not",
    size_m=(8.3, 10.2, 3.3),
    t60_s=0.7,
    loudspeakers=(_mains(5.9, 1.0, 1.6),),
    microphone=VocalMicrophone((4.2, 2.2, 1.52), unit(0.0, -1.0, 0.25), 0.5),
    box_m=(4.26, 2.28, 1.12),
    mouth_m=(4.2, 2.15, 1.54),
    seed=44,
)
_TEA_ROOM = Room(
    name="Tea Room on the Slipway",
    description="tiles and windows; an all-round microphone that hears the whole counter",
    size_m=(6.1, 7.3, 2.7),
    t60_s=0.6,
    loudspeakers=(_mains(4.6, 3.6, 1.8),),
    microphone=VocalMicrophone((2.9, 1.8, 1.48), unit(0.0, -1.0, 0.2), 1.0),
    box_m=(2.96, 1.88, 1.1),
    mouth_m=(2.9, 1.74, 1.5),
    seed=55,
)
_SAIL_STORE = Room(
    name="Old Sail Store",
    description="long, narrow and dry; a wedge beside the singer and one loudspeaker further on",
    size_m=(4.4, 15.0, 3.1),
    t60_s=0.5,
    loudspeakers=(_mains(3.6, 4.6, 1.9), _wedge(3.5, 2.2, (2.1, 1.95, 1.55))),
    microphone=VocalMicrophone((2.1, 2.0, 1.53), unit(0.0, -1.0, 0.3), 0.5),
    box_m=(2.16, 2.08, 1.15),
    mouth_m=(2.1, 1.95, 1.55),
    seed=66,
)


def _practice(room: Room, *placements: tuple[str, str, Room]) -> PracticeRoom:
    return PracticeRoom(
        room.name, room.description, tuple(Placement(*placement) for placement in placements)
    )


_HEAD = (3.3, 1.95, 1.57)
_PRACTICE_ROOMS = (
    _practice(
        _CELLAR,
        ("too near", "the loudspeaker a metre forward of the singer, as it was found", _CELLAR),
        ("well forward", "the stand three metres forward", _with(_CELLAR, _mains(4.1, 4.9, 1.7))),
        ("behind", "the stand behind the singer's shoulder", _with(_CELLAR, _mains(4.1, 0.9, 1.7))),
    ),
    _practice(
        _BACK_ROOM,
        (
            "straight ahead",
            "the wedge right behind a microphone that hears a little there",
            _BACK_ROOM,
        ),
        (
            "in the null",
            "the wedge to one side, where this microphone is deaf",
            _with(_BACK_ROOM, _wedge(4.5, 2.75, _HEAD)),
        ),
        ("beside", "the wedge level with the singer", _with(_BACK_ROOM, _wedge(4.7, 1.9, _HEAD))),
    ),
    _practice(
        _CHAPEL,
        ("beside the band", "both mains a good metre forward, as they were found", _CHAPEL),
        (
            "well forward",
            "both three metres further forward, towards the people",
            _with(_CHAPEL, _mains(1.4, 6.4, 2.0), _mains(6.2, 6.4, 2.0)),
        ),
        (
            "one, forward",
            "only one of them, three metres further forward: half the sound comes back",
            _with(_CHAPEL, _mains(6.2, 6.4, 2.0)),
        ),
    ),
    _practice(
        _LOFT,
        ("behind", "the loudspeaker behind the singer, as it was found", _LOFT),
        (
            "beside",
            "the loudspeaker level with the microphone",
            _with(_LOFT, _mains(7.0, 2.4, 1.6)),
        ),
        ("forward", "the loudspeaker three metres forward", _with(_LOFT, _mains(6.4, 5.2, 1.8))),
    ),
    _practice(
        _TEA_ROOM,
        ("all-round", "a microphone that hears every side alike, as it was found", _TEA_ROOM),
        (
            "one-sided",
            "a microphone that is deaf to the back, its back to the loudspeaker",
            _microphone(_TEA_ROOM, 0.5, unit(0.0, -1.0, 0.2)),
        ),
        (
            "aimed wrong",
            "the same one-sided microphone, turned so that it looks at the loudspeaker",
            _microphone(_TEA_ROOM, 0.5, unit(0.7, 0.7, 0.2)),
        ),
    ),
    _practice(
        _SAIL_STORE,
        ("wedge beside", "the wedge level with the singer, as it was found", _SAIL_STORE),
        (
            "wedge ahead",
            "the wedge in front and a step away, where a one-sided microphone hears less",
            _with(_SAIL_STORE, _mains(3.6, 4.6, 1.9), _wedge(2.6, 3.6, (2.1, 1.95, 1.55))),
        ),
        (
            "no wedge",
            "only the loudspeaker; no one hears themselves",
            _with(_SAIL_STORE, _mains(3.6, 4.6, 1.9)),
        ),
    ),
)
PRACTICE_ROOMS: dict[str, PracticeRoom] = {room.name: room for room in _PRACTICE_ROOMS}
"""The practice stage's rooms by name, the default first."""
ROOMS: dict[str, Room] = {room.name: room.placements[0].room for room in _PRACTICE_ROOMS}
"""The same rooms as they were found."""
DEFAULT_ROOM = _CELLAR


def practice_room(name: str) -> PracticeRoom:
    """Return a room by its name.

    Raises
    ------
    ValueError
        If there is none of that name; the line says which there are.
    """
    room = PRACTICE_ROOMS.get(name)
    if room is None:
        known = ", ".join(f'"{one}"' for one in PRACTICE_ROOMS)
        raise ValueError(f'no room "{name}" on the practice stage; there are {known}')
    return room
