"""What a hand can do at the practice stage, read from a command and checked."""

from __future__ import annotations

import math
from typing import Any, Literal

Handle = Literal["fader", "gain", "slider", "room", "placement"]


def handled(command: dict[str, Any]) -> tuple[Handle, dict[str, Any]]:
    """Return which handle is moved, and the values for it.

    {"fader_db": x} is the fader, {"gain_db": x} the input gain of the singer's channel,
    {"slider": i, "cut_db": c} a slider; a filter that can be put anywhere also takes "centre_hz"
    and "q".  {"room": name} and {"placement": name} move the stage.

    Raises
    ------
    ValueError
        For a command that is none of these; one clear line.
    """
    keys = set(command)
    if keys == {"fader_db"}:
        return "fader", {"fader_db": _number(command, "fader_db")}
    if keys == {"gain_db"}:
        return "gain", {"gain_db": _number(command, "gain_db")}
    if {"slider", "cut_db"} <= keys <= {"slider", "cut_db", "centre_hz", "q"}:
        slider = command["slider"]
        if isinstance(slider, bool) or not isinstance(slider, int):
            raise ValueError(f"slider={slider!r} must be a whole number")
        numbers = {key: _number(command, key) for key in keys - {"slider"}}
        return "slider", {"slider": slider, **numbers}
    if keys == {"room"}:
        return "room", {"room": str(command["room"])}
    if keys == {"placement"}:
        return "placement", {"placement": str(command["placement"])}
    raise ValueError(
        "a stage command needs either fader_db, or gain_db, or slider and cut_db, or room, or "
        f"placement, not {', '.join(sorted(map(str, keys))) or 'nothing'}"
    )


def _number(command: dict[str, Any], key: str) -> float:
    value = command[key]
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{key}={value!r} must be a number")
    return float(value)
