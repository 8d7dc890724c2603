"""What a ring-out says: pure functions from what it knows to short lines."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.advice.labels import decibels, is_frequency, with_unit, written
from monitor.advice.moves import Move, place_of, switched
from monitor.advice.ring_out_state import MarginLeft
from monitor.counted import counted

CAUTIONS = (
    "Mind your ears, and those of others: feedback can get loud at once.",
    "Start with the fader low and keep a hand on it; move it slowly.",
    "Nobody stands near the loudspeakers, and the microphone is where it will be used.",
)
RAISE = "Raise slowly"
RAISE_MORE = "half a decibel, wait two seconds, and again, until it rings or is loud enough"
AT_ITS_END = "Fader at its end"
AT_ITS_END_MORE = "if nothing rings in a moment, that is loud enough"
LEFT_RINGS = "Come down"
STILL_RINGS = "what was left alone still rings: come down until it has gone"
FURTHER_DOWN = "Further down"
RINGS_ON = "it rings still: come down until it has gone"
BACK_OFF_DB = 3.0
"""2 to 3 dB avoid audible ringing (T. van Waterschoot, M. Moonen, Proc. IEEE 99(2), 2011, II)."""


def pull_line(moves: Sequence[Move]) -> str:
    """Return the big words for some moves: "Pull 2.5k by 4 dB, 3.15k by 2 dB".

    Filters that can be put anywhere are named by where they go.  One that works already and goes
    elsewhere has to be found first: "Put filter 1 to 200 Hz, Q 10, -3 dB".
    """
    ordered = sorted(moves, key=lambda move: -move.more_db)
    pulled = [
        f"{written(m.centre_hz) if m.is_swept else m.label} by {decibels(m.more_db)} dB"
        for m in ordered
        if m.kind == "pull"
    ]
    put = [_put(m) for m in ordered if m.kind == "put"]
    return _sentence(pulled, put, [m for m in ordered if m.kind == "switch"])


def pull_detail(moves: Sequence[Move], again_hz: Sequence[float]) -> str:
    """Return where the pulled sliders then stand, and what to check if a ring came back.

    Of what is put elsewhere or switched the big words say all.
    """
    stand = ", ".join(_stands(m) for m in moves if m.kind == "pull")
    if not again_hz:
        return f"then: {stand}" if stand else ""
    asked = f"{_ringing(again_hz)} still or again: was it the right slider?"
    return f"{asked} Then: {stand}" if stand else asked


def look_line(moves: Sequence[Move]) -> str:
    """Return the big words for sliders that should stand already: "Look: 2.5k at -12 dB"."""
    found = (switched(m) if m.kind == "switch" else f"{_stands(m)} dB" for m in moves)
    return f"Look: {', '.join(found)}"


def look_detail(again_hz: Sequence[float]) -> str:
    """Return why they are to be looked at."""
    return f"{_ringing(again_hz)} still: is it the right slider, and does it stand there?"


def _ringing(frequencies_hz: Sequence[float]) -> str:
    """Return "2.48k rings" or "2.48k, 315 Hz ring"."""
    verb = "rings" if len(frequencies_hz) == 1 else "ring"
    return f"{', '.join(with_unit(hz) for hz in frequencies_hz)} {verb}"


def _stands(move: Move) -> str:
    """Return where a slider stands in the end: "2.5k at -6", "filter 1: 200 Hz, Q 10, -6"."""
    place = f": {place_of(move)}," if move.is_swept else " at"
    return f"{move.label}{place} -{decibels(move.pull_db)}"


def put_back_line(back: Sequence[Move]) -> str:
    """Return what to put back where: "Put 2.5k back to -2 dB, 400 to 0"; "" for nothing."""
    put = [_put(m) for m in back if m.kind != "switch"]
    return _sentence([], put, [m for m in back if m.kind == "switch"])


def _put(move: Move) -> str:
    """Return where a slider goes; a filter that went elsewhere, or stood flat, with its place."""
    if move.pull_db == 0.0:
        return f"{move.label} to 0"
    was_flat = move.pull_db == move.more_db
    if move.is_elsewhere or (was_flat and not is_frequency(move.label)):
        return f"{move.label} to {place_of(move)}, -{decibels(move.pull_db)} dB"
    return f"{move.label} back to -{decibels(move.pull_db)} dB"


def _sentence(pulled: Sequence[str], put: Sequence[str], switches: Sequence[Move]) -> str:
    """Return all of it as one line that begins with a capital letter."""
    clauses = [
        f"{verb} {', '.join(some)}" for verb, some in (("pull", pulled), ("put", put)) if some
    ]
    line = ", ".join([*clauses, *(switched(m) for m in switches)])
    return line[:1].upper() + line[1:]


def back_off_line(by_db: float) -> str:
    """Return the big words for coming down."""
    return f"Come down {decibels(by_db)} dB"


def margin_line(frequency_hz: float, margin: MarginLeft) -> str:
    """Return what one ring has left: "2.5k: about 4 dB left, 2 to 6"."""
    how = {"sure": "", "about": "about ", "a guess": "perhaps "}[margin.sure]
    ends = f"{round(margin.low_db)} to {round(margin.high_db)}"
    return f"{written(frequency_hz)}: {how}{round(margin.db)} dB left, {ends}"


def done_line(pulled_count: int, gain_won_db: float | None) -> str:
    """Return the big words of the end."""
    pulled = f"{counted(pulled_count, 'slider')} pulled" if pulled_count else "Nothing pulled"
    return pulled if gain_won_db is None else f"{decibels(gain_won_db)} dB won, {pulled}"
