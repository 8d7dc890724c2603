"""A stage plan as TOML or JSON: reading it, every mistake said in one line, and writing it back.

The keys are the same in both; lengths are in the document's own ``units``.  Every key but a
thing's name, x, y and a microphone's pattern or a loudspeaker's kind has a default.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, get_args

from monitor.input_file import read_within
from monitor.placing.fields import Table, a_table, tables
from monitor.placing.stage import (
    UNIT_M,
    Kind,
    Listener,
    Loudspeaker,
    Microphone,
    Pattern,
    Room,
    Stage,
    StageError,
    Units,
    facing,
)
from monitor.placing.stage_rules import check_stage

REVERBERATION_S: dict[str, float] = {"dead": 0.3, "usual": 0.6, "live": 1.2}
"""What people call rooms, as reverberation times in s.  Common practice, no source: a carpeted
rehearsal room, a bar with people in it, a bare hall."""
EXAMPLE = Path(__file__).with_name("example.toml")
UNITS: tuple[Units, ...] = get_args(Units)
PATTERNS: tuple[Pattern, ...] = get_args(Pattern)
KINDS: tuple[Kind, ...] = get_args(Kind)
LARGEST_FILE_BYTES = 200_000
"""64 microphones with every key need about 12 kB."""
_T60_S = (0.1, 5.0)
_ROOM_M = (6.0, 9.0, 2.8)
_MICROPHONE_HEIGHT_M = 1.5
_MICROPHONE_TILT_DEG = 15.0
_MOUTH_M = 0.05
_MOUTH_RANGE_M = (0.01, 3.0)
_LOUDSPEAKER_HEIGHT_M: dict[Kind, float] = {"mains": 1.8, "wedge": 0.3}
_COVERAGE_DEG = (90.0, 60.0)
_LISTENER_HEIGHT_M = 1.5
_LISTENER_FROM_WALL_M = 1.0
_EAD_M = 1.5
_EAD_RANGE_M = (0.3, 30.0)
"""Defaults: a small room, a stand, a voice worked close, a cabinet on a pole (common practice, no
source).  EAD 1.5 m: the noisy case of J. Eargle, Sound System Design Reference Manual, p. 4-4."""
LONGEST_M = 200.0
"""Nothing on a small stage is further off; it also catches a room in centimetres."""


def parse_stage(document: Mapping[str, Any]) -> Stage:
    """Return the stage that a document describes.

    Raises
    ------
    StageError
        If something is wrong with it: one line, which thing, what value, what was expected.
    """
    top = a_table(document, "the stage plan")
    top.only("units", "name", "room", "microphone", "loudspeaker", "listener", "need")
    units = top.choice("units", UNITS, "metres")
    scale = UNIT_M[units]
    room = _room(top.table("room", scale))
    microphones = tuple(_microphone(t) for t in tables(top, "microphone", scale))
    stage = Stage(
        room=room,
        microphones=microphones,
        loudspeakers=tuple(_loudspeaker(t, microphones) for t in tables(top, "loudspeaker", scale)),
        listener=_listener(top.table("listener", scale), room),
        ead_m=_ead_m(top.table("need", scale)),
        units=units,
        name=top.text("name", ""),
    )
    check_stage(stage)
    return stage


def read_stage(path: Path | str) -> Stage:
    """Return the stage in a TOML file.

    Raises
    ------
    StageError
        If the file cannot be read or is no stage plan; the line begins with the file's name.
    """
    path = Path(path)
    try:
        raw = read_within(path, LARGEST_FILE_BYTES)
    except OSError as error:
        raise StageError(f"{path}: cannot be read ({error.strerror}); name a stage plan") from error
    try:
        document = tomllib.loads(raw.decode("utf-8-sig"))
    except ValueError as error:  # also a number of thousands of digits
        line = " ".join(str(error).split())
        raise StageError(f"{path}: no TOML text ({line}); see the example plan") from error
    except RecursionError as error:
        raise StageError(f"{path}: nested too deeply; see the example plan") from error
    try:
        return parse_stage(document)
    except StageError as error:
        raise StageError(f"{path}: {error}") from error


def stage_fields(stage: Stage) -> dict[str, Any]:
    """Return the document of a stage, in its own units, ready for JSON; all keys are written."""
    scale_m = UNIT_M[stage.units]
    fields: dict[str, Any] = {"units": stage.units}
    if stage.name:
        fields["name"] = stage.name
    fields["room"] = {
        "width": _length(stage.room.width_m, scale_m),
        "depth": _length(stage.room.depth_m, scale_m),
        "height": _length(stage.room.height_m, scale_m),
        "reverberation": stage.room.reverberation,
    }
    fields["microphone"] = [
        {
            "name": one.name,
            **_place(one, scale_m),
            "pattern": one.pattern,
            **_angles(one),
            "mouth": _length(one.mouth_m, scale_m),
            "open": one.open,
        }
        for one in stage.microphones
    ]
    fields["loudspeaker"] = [
        {
            "name": one.name,
            "kind": one.kind,
            **_place(one, scale_m),
            **_angles(one),
            "coverage_deg": list(one.coverage_deg),
        }
        for one in stage.loudspeakers
    ]
    fields["listener"] = _place(stage.listener, scale_m)
    fields["need"] = {"ead": _length(stage.ead_m, scale_m)}
    return fields


def _length(metres: float, scale_m: float) -> float:
    return round(metres / scale_m, 4)


def _place(one: Microphone | Loudspeaker | Listener, scale_m: float) -> dict[str, float]:
    return {
        "x": _length(one.x_m, scale_m),
        "y": _length(one.y_m, scale_m),
        "height": _length(one.height_m, scale_m),
    }


def _angles(one: Microphone | Loudspeaker) -> dict[str, float]:
    return {"aim_deg": round(one.aim_deg, 2), "tilt_deg": round(one.tilt_deg, 2)}


def _room(table: Table) -> Room:
    table.only("width", "depth", "height", "reverberation")
    width_m, depth_m, height_m = (
        table.length(key, (1.0, LONGEST_M), default)
        for key, default in zip(("width", "depth", "height"), _ROOM_M, strict=True)
    )
    word = table.word_or_number("reverberation", tuple(REVERBERATION_S), _T60_S, "s", "usual")
    t60_s = REVERBERATION_S[word] if isinstance(word, str) else word
    return Room(width_m, depth_m, height_m, t60_s, word)


def _microphone(table: Table) -> Microphone:
    table.only(
        "name", "x", "y", "height", "pattern", "aim_deg", "tilt_deg", "mouth", "open"
    )  # keys of the document, in the order they are written
    return Microphone(
        name=table.name(),
        x_m=table.length("x", (-LONGEST_M, LONGEST_M)),
        y_m=table.length("y", (-LONGEST_M, LONGEST_M)),
        height_m=table.length("height", (0.0, LONGEST_M), _MICROPHONE_HEIGHT_M),
        pattern=table.choice("pattern", PATTERNS),
        aim_deg=table.number("aim_deg", (-360.0, 360.0), "degrees", 180.0) % 360.0,
        tilt_deg=table.number("tilt_deg", (-90.0, 90.0), "degrees", _MICROPHONE_TILT_DEG),
        mouth_m=table.length("mouth", _MOUTH_RANGE_M, _MOUTH_M),
        open=table.yes_or_no("open", True),
    )


def _loudspeaker(table: Table, microphones: tuple[Microphone, ...]) -> Loudspeaker:
    table.only("name", "kind", "x", "y", "height", "aim_deg", "tilt_deg", "coverage_deg")
    name, kind = table.name(), table.choice("kind", KINDS)
    here = (
        table.length("x", (-LONGEST_M, LONGEST_M)),
        table.length("y", (-LONGEST_M, LONGEST_M)),
        table.length("height", (0.0, LONGEST_M), _LOUDSPEAKER_HEIGHT_M[kind]),
    )
    aim_deg, tilt_deg = 0.0, 0.0
    if kind == "wedge" and microphones:
        # A wedge that says nothing of its aim looks at the singer whose microphone is nearest.
        nearest = min(microphones, key=lambda one: math.dist(one.position_m, here))
        aim_deg, tilt_deg = facing(here, nearest.ears_at_m)
    return Loudspeaker(
        name=name,
        kind=kind,
        x_m=here[0],
        y_m=here[1],
        height_m=here[2],
        aim_deg=table.number("aim_deg", (-360.0, 360.0), "degrees", aim_deg) % 360.0,
        tilt_deg=table.number("tilt_deg", (-90.0, 90.0), "degrees", tilt_deg),
        coverage_deg=table.two_numbers("coverage_deg", (20.0, 360.0), "degrees", _COVERAGE_DEG),
    )


def _listener(table: Table, room: Room) -> Listener:
    table.only("x", "y", "height")
    last_m = max(room.depth_m - _LISTENER_FROM_WALL_M, room.depth_m / 2.0)
    reach = (-LONGEST_M, LONGEST_M)
    return Listener(
        x_m=table.length("x", reach, room.width_m / 2.0),
        y_m=table.length("y", reach, last_m),
        height_m=table.length("height", (0.0, LONGEST_M), min(_LISTENER_HEIGHT_M, room.height_m)),
    )


def _ead_m(table: Table) -> float:
    table.only("ead")
    return table.length("ead", _EAD_RANGE_M, _EAD_M)
