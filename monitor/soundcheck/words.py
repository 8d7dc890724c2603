"""What is said of each step of the soundcheck: one line."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

_TO_DO = {
    "place": "say where microphones and loudspeakers stand, and see what moving one gives",
    "level": "sing your loudest line, and set the gain by it",
    "low_cut": "sing or speak for a minute, and see which low cut costs you nothing",
    "ring_out": "raise the fader until it rings, pull what rings, and again",
}
_LEFT_OUT = "left out tonight"
_UNDER_WAY = {
    "raise": "under way: raise the fader slowly",
    "pull": "under way: something is to be pulled",
    "listen": "under way: listening whether it has gone",
    "back_off": "nearly done: come down with the fader",
    "paused": "paused; go on or stop it",
}


def step_words(step: str, state: str, taken: Mapping[str, Any] | None, ring_out: str | None) -> str:
    """Return the line for a step in ``state``; ``taken`` is what was taken of a measurement."""
    if step == "ring_out" and ring_out in _UNDER_WAY:
        return _UNDER_WAY[ring_out]
    if state == "left_out":
        return _LEFT_OUT
    if state != "done":
        return _TO_DO[step]
    if step == "level":
        return _level(taken or {})
    if step == "low_cut":
        return _low_cut(taken or {})
    return "the plan is done" if step == "place" else "rung out to its end"


def _level(taken: Mapping[str, Any]) -> str:
    loudest = taken.get("loudest")
    peak_dbfs = loudest.get("peak_dbfs") if isinstance(loudest, Mapping) else None
    if not isinstance(peak_dbfs, int | float):
        return "the level was taken"
    of = loudest.get("of") if isinstance(loudest, Mapping) else None
    how = of if of in ("sung", "spoken") else "heard"
    return f"taken: the loudest, {how}, peaks at {round(peak_dbfs)} dBFS"


def _low_cut(taken: Mapping[str, Any]) -> str:
    low_cut = taken.get("low_cut")
    if not isinstance(low_cut, Mapping):
        return "the low cut was taken"
    label = low_cut.get("choice_label") or low_cut.get("choice_hz")
    return f"taken: low cut at {label}" if label else "taken: leave the low cut out"
