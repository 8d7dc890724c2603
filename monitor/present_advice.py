"""The advice as it is shown: fields of the snapshot, and the panel's faces in a ring-out.  Pure."""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from firmware.ports import Face
from monitor.advice.equaliser import Equaliser
from monitor.advice.labels import decibels, is_frequency, written
from monitor.advice.margin import Excess
from monitor.advice.moves import Move, is_on, place_of, switched
from monitor.advice.pulls import Pull, standing_response_db, stood
from monitor.advice.ring_out_state import RingOutState, RingSoFar
from monitor.advice.ring_out_words import AT_ITS_END, FURTHER_DOWN, LEFT_RINGS, margin_line
from monitor.advice.set_advice import LINE_CHARACTERS, LONGEST_LABEL, SetAdvice
from monitor.advice.sliders import LOW_CUT
from monitor.listening.bands import third_octave_of

HOLD = "hold the fader"
COME_DOWN = "come down"
CURVE_POINTS = 64
_CURVE_HZ = np.geomspace(20.0, 20000.0, CURVE_POINTS)


def _tenths(value: float) -> float:
    """Return a figure to one decimal, never a negative zero."""
    return round(float(value), 1) + 0.0


def pull_fields(equaliser: Equaliser, pull: Pull) -> dict[str, Any]:
    """Return a pull with the place of its slider in the row; depths are positive.

    A low cut is on or off: it has no depth that a hand could set.
    """
    places = [slider.label for slider in equaliser.sliders]
    index = places.index(pull.label) if pull.label in places else None
    swept = index is not None and equaliser.sliders[index].is_swept
    switch = pull.label == LOW_CUT
    return {
        "slider": index,
        "label": pull.label,
        "on": is_on(pull.pull_db) if switch else None,
        "pull_db": None if switch else _tenths(pull.pull_db),
        "more_db": None if switch else _tenths(pull.more_db),
        "centre_hz": _tenths(pull.centre_hz) if swept else None,
        "q": round(float(pull.q), 2) if swept else None,
    }


def advice_fields(equaliser: Equaliser, advice: SetAdvice) -> dict[str, Any]:
    """Return what to do now, in a set."""
    return {
        "line": advice.line,
        "pulls": [pull_fields(equaliser, pull) for pull in advice.pulls],
        "second": None if advice.second is None else pull_fields(equaliser, advice.second),
        "second_too": None if advice.second is None else advice.second_too,
        "hint": advice.hint or None,
        "why": advice.why or None,
    }


def _excess_fields(excess: Excess | None) -> dict[str, Any]:
    if excess is None:
        return {}
    return {
        "excess_db": _tenths(excess.db),
        "excess_low_db": _tenths(excess.low_db),
        "excess_high_db": _tenths(excess.high_db),
    }


def _margin_fields(ring: RingSoFar) -> dict[str, Any]:
    if ring.margin is None:
        return {}
    return {
        "margin_db": _tenths(ring.margin.db),
        "margin_low_db": _tenths(ring.margin.low_db),
        "margin_high_db": _tenths(ring.margin.high_db),
        "margin_sure": ring.margin.sure,
        "margin_line": margin_line(ring.frequency_hz, ring.margin),
    }


def _ring_fields(ring: RingSoFar) -> dict[str, Any]:
    return {
        "frequency_hz": _tenths(ring.frequency_hz),
        "band": third_octave_of(ring.frequency_hz).label,
        "fate": ring.fate,
        "times": ring.times,
        "depth_db": _tenths(ring.depth_db),
        **_excess_fields(ring.excess),
        **_margin_fields(ring),
    }


def curve_fields(equaliser: Equaliser, pulls: Sequence[Pull]) -> dict[str, Any]:
    """Return the response of these pulls together: ``hz`` and ``db``, lowest first.

    Beside a grid it has the middle of each pulled peak and where half its decibels are left: a
    narrow one lies between two points of the grid and would be drawn shallower than it is.

    Raises
    ------
    ValueError
        As ``stood``.
    """
    shown_hz, shown_db = _curve(equaliser, tuple(pulls))
    return {"hz": list(shown_hz), "db": list(shown_db)}


@functools.lru_cache(maxsize=2)
def _curve(
    equaliser: Equaliser, pulls: tuple[Pull, ...]
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """The curve's points; a ring-out that is done shows them ten times a second."""
    there, pulls_db = stood(equaliser, pulls)
    peaks = [s for s, db in zip(there.sliders, pulls_db, strict=True) if db and s.kind == "peak"]
    # Half-gain points of a bell, from Q: as in ``memory.exposure``.
    sides = [(s.centre_hz, math.asinh(0.5 / s.q)) for s in peaks]
    own_hz = [hz * math.exp(side * half) for hz, half in sides for side in (-1, 0, 1)]
    inside_hz = [hz for hz in own_hz if _CURVE_HZ[0] < hz < _CURVE_HZ[-1]]
    shown_hz = sorted({float(f"{hz:.5g}") for hz in (*_CURVE_HZ, *inside_hz)})
    shown_db = standing_response_db(equaliser, pulls, np.array(shown_hz))
    return tuple(shown_hz), tuple(map(_tenths, shown_db))


def ring_out_fields(equaliser: Equaliser, state: RingOutState) -> dict[str, Any]:
    """Return where a ring-out stands; the curve of what was pulled comes with its end."""
    ended = state.phase in ("back_off", "done")
    return {
        "phase": state.phase,
        "say": state.say,
        "detail": state.detail,
        "pulls_now": [pull_fields(equaliser, pull) for pull in state.pulls_now],
        "put_back": [pull_fields(equaliser, pull) for pull in state.put_back] or None,
        "pulls": [pull_fields(equaliser, pull) for pull in state.pulls],
        "rings": [_ring_fields(ring) for ring in state.rings[-32:]],
        "cut_count": state.pulled_count,
        "gain_won_db": None if state.gain_won_db is None else _tenths(state.gain_won_db),
        "top_fader_db": None if state.top_fader_db is None else _tenths(state.top_fader_db),
        "tone_cost_db": round(float(state.tone_cost_db), 2),
        "why": state.why_ended or None,
        "cautions": list(state.cautions),
        "hints": [hint.text for hint in state.hints],
        "asks": state.asks,
        "may": list(state.may),
        "curve": curve_fields(equaliser, state.pulls) if ended else None,
    }


def standing_fields(equaliser: Equaliser, standing: Sequence[Pull]) -> list[dict[str, Any]]:
    """Return the sliders that are known to stand pulled; cuts are negative, as on the stage."""
    pulled = [pull for pull in standing if pull.pull_db > 0.0]
    shown = [pull_fields(equaliser, pull) for pull in pulled]
    return [
        {
            "slider": one["slider"],
            "cut_db": _tenths(-pull.pull_db),
            "centre_hz": one["centre_hz"],
            "q": one["q"],
        }
        for pull, one in zip(pulled, shown, strict=True)
    ]


def _pull_face(moves: Sequence[Move]) -> Face:
    """Return the first of some moves in large type, the second below, how many more behind it."""
    first, *others = moves
    line_2 = f"and {_in_short(others[0])}" if others else ""
    if len(others) > 1:
        line_2 += f", +{len(others) - 1}"
    if len(line_2) > LINE_CHARACTERS:
        line_2 = line_2.removeprefix("and ")
    if first.kind == "pull" and is_frequency(first.label):
        return Face("pull", first.label, f"pull by {decibels(first.more_db)}", line_2)
    # A filter has to be put there first.
    if first.kind == "pull":
        line_1 = f"{first.label} by {decibels(first.more_db)}"
    else:
        line_1 = switched(first) if first.kind == "switch" else _put_in_short(first)
    return Face("pull", written(first.centre_hz), line_1, line_2)


def _look_face(moves: Sequence[Move]) -> Face:
    """Return the sliders that should stand already, the first in large type with where."""
    first, *others = moves
    line_1 = switched(first) if first.kind == "switch" else f"at -{decibels(first.pull_db)}"
    line_2 = f"and {', '.join(move.label for move in others)}" if others else ""
    if len(line_2) > LINE_CHARACTERS:
        line_2 = f"and {len(others)} more"
    if is_frequency(first.label):
        return Face("pull", first.label, f"{line_1}?", line_2)
    if first.kind != "switch":
        line_1 = f"{first.label} {line_1}"
    return Face("pull", written(first.centre_hz), f"{line_1}?", line_2)


def _back_face(back: Sequence[Move]) -> Face:
    """Return what was undone, a row for a slider, how many more behind the second.

    A filter whose place is new takes both rows: in one its Q and depth would be cut off.
    """
    first, *others = back
    if first.is_elsewhere and first.kind != "switch":
        where, *how = place_of(first).split(", ")
        line_2 = ", ".join([*how, f"-{decibels(first.pull_db)}"])
        if others:
            line_2 += f", +{len(others)}"
        return Face("raise", "put back", f"{first.label} to {where}", line_2)
    rows = [_back_in_short(move) for move in back]
    more = f", +{len(rows) - 2}" if len(rows) > 2 else ""
    return Face("raise", "put back", rows[0], rows[1] + more if len(rows) > 1 else "")


def _back_in_short(move: Move) -> str:
    if move.kind == "switch":
        return switched(move)
    if move.is_elsewhere:
        return f"{move.label} to {place_of(move)}, -{decibels(move.pull_db)}"
    return _put_in_short(move)


def _in_short(move: Move) -> str:
    """Return one move as the panel's second line has it: "500 by 5"."""
    if move.kind == "switch":
        return f"{move.label} {'on' if move.is_on else 'off'}"
    if move.kind == "put" and (move.pull_db == 0.0 or not move.is_elsewhere):
        return _put_in_short(move)
    by_label = not move.is_swept and len(move.label) <= LONGEST_LABEL
    name = move.label if by_label else written(move.centre_hz)
    if move.kind == "put":
        return f"{name} at -{decibels(move.pull_db)}"
    return f"{name} by {decibels(move.more_db)}"


def _put_in_short(move: Move) -> str:
    return f"{move.label} to {'-' if move.pull_db else ''}{decibels(move.pull_db)}"


def ring_out_face(state: RingOutState) -> Face | None:
    """Return the panel's face in a ring-out; None where it has nothing to say."""
    if state.phase == "pull" and state.pulls_now:
        if state.asks_twice:
            return _look_face(state.pulls_now)
        # Whoever moved the wrong slider looks for the right one first, and is then told of it.
        first, *others = state.pulls_now
        return _pull_face((first, *state.put_back, *others))
    if state.say in (LEFT_RINGS, FURTHER_DOWN):
        return Face("back off", "further", COME_DOWN)
    if state.phase == "raise":
        if state.say == AT_ITS_END:
            return Face("quiet", "enough?", "fader at its end")
        if state.put_back:
            return _back_face(state.put_back)
        if any(ring.fate in ("gone", "came back") for ring in state.rings):
            return Face("gone", "raise on", "gone")
        return Face("raise", "raise", "slowly")
    if state.phase == "listen":
        return Face("quiet", "listen", HOLD)
    if state.phase == "back_off":
        return Face("back off", f"-{decibels(state.back_off_db)} dB", COME_DOWN)
    return None
