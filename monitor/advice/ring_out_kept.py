"""How a ring-out is kept over a restart, and the gate it comes back through.

What comes back may be damaged or odd in any place: every figure is checked here, once, so that
nothing behind the gate can stumble over it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from typing import Any, TypeVar, get_args

from monitor.advice.equaliser import Equaliser
from monitor.advice.growth import Slope
from monitor.advice.hints import Hint, HintKind
from monitor.advice.margin import Excess
from monitor.advice.moves import Move, MoveKind
from monitor.advice.pulls import Pull, stood
from monitor.advice.ring_out_course import Course, Step
from monitor.advice.ring_out_rings import KnownRing, RingLadder
from monitor.advice.ring_out_state import Fate, Phase

T = TypeVar("T")

VERSION = 2
MOST_KEPT = 10_000
"""Rings, pulls and steps of one ring-out; more is damage."""
_FARTHEST_DB = 300.0
"""No gain, depth, excess or mark of a desk is further from 0."""


def kept_of(
    course: Course,
    ladder: RingLadder,
    put_back: Sequence[Move],
    equaliser: Equaliser,
    figures: dict[str, float],
) -> dict[str, Any]:
    """Return all of it ready for JSON."""
    return {
        "version": VERSION,
        "sliders": [s.label for s in equaliser.sliders],
        "places": _places(equaliser),
        "course": asdict(course),
        "ladder": {"gain_db": ladder.gain_db, "rings": [asdict(ring) for ring in ladder.rings]},
        "put_back": [asdict(move) for move in put_back],
        **figures,
    }


def course_of(
    kept: Mapping[str, Any], equaliser: Equaliser
) -> tuple[Course, RingLadder, tuple[Move, ...], dict[str, float]]:
    """Return what ``kept_of`` was given; nothing is heard at first.

    Raises
    ------
    ValueError
        If it is damaged, or of another equaliser; one clear line.
    """
    try:
        if kept["version"] != VERSION:
            raise ValueError(f"version {kept['version']!r:.20} is not {VERSION}")
        if kept["sliders"] != [s.label for s in equaliser.sliders]:
            raise ValueError("it was begun with another equaliser")
        # Kept since a later version than all the rest.
        if kept.get("places", _places(equaliser)) != _places(equaliser):
            raise ValueError("its sliders work at other frequencies now")
        ladder = RingLadder(equaliser)
        ladder.gain_db = _figure(kept["ladder"]["gain_db"])
        ladder.rings = [_ring(row) for row in _rows(kept["ladder"]["rings"])]
        course = _course(kept["course"], equaliser, ring_count=len(ladder.rings))
        # Kept since a later version than all the rest.
        put_back = _moves(kept.get("put_back", ()), equaliser)
        figures = {
            "margin_db": _figure(kept["margin_db"], low=1e-3, high=12.0),
            "most_cuts": _count(kept["most_cuts"], low=1),
        }
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as wrong:
        raise ValueError(f"the ring-out cannot go on ({wrong}); begin a new one") from None
    return course, ladder, put_back, figures


def _places(equaliser: Equaliser) -> list[list[str | float | None]]:
    """Return where each slider works: a strip's and a parametric's labels do not tell."""
    return [[s.kind, s.centre_hz, s.lowest_hz, s.highest_hz] for s in equaliser.sliders]


def _course(row: Mapping[str, Any], equaliser: Equaliser, *, ring_count: int) -> Course:
    phase, resume = (_one_of(row[name], get_args(Phase), "phase") for name in ("phase", "resume"))
    pulls = _pulls(row["pulls"], equaliser)
    return Course(
        phase=phase,
        resume=resume,
        pulls=pulls,
        begun_with=_count(row["begun_with"]),
        steps=[_step(step, equaliser, ring_count) for step in _rows(row["steps"])],
        why_ended=_text(row["why_ended"]),
        first_fader_db=_perhaps(row["first_fader_db"], _figure),
        top_fader_db=_perhaps(row["top_fader_db"], _figure),
        fader_db=_perhaps(row["fader_db"], _figure),
        fader_gain_db=_figure(row["fader_gain_db"]),
        three_rang=_flag(row["three_rang"]),
        ended_gain_db=_perhaps(row["ended_gain_db"], _figure),
        silent_db=_figure(row["silent_db"], low=0.0),
        # Kept since a later version than all the rest.
        asked=_pulls(row.get("asked", ()), equaliser),
        hints=tuple(_hint(hint) for hint in _rows(row.get("hints", ()))),
        asked_twice=tuple(_text(label) for label in _rows(row.get("asked_twice", ()))),
    )


def _step(row: Mapping[str, Any], equaliser: Equaliser, ring_count: int) -> Step:
    rings = tuple(_count(place, high=ring_count - 1) for place in _rows(row["rings"]))
    return Step(
        before=_pulls(row["before"], equaliser),
        cost_db=_figure(row["cost_db"]),
        gain_db=_figure(row["gain_db"]),
        rings=rings,
        deepens=_flag(row["deepens"]),
        skips=_flag(row.get("skips", False)),
        top_fader_db=_perhaps(row.get("top_fader_db"), _figure),
    )


def _hint(row: Mapping[str, Any]) -> Hint:
    return Hint(_one_of(row["kind"], get_args(HintKind), "hint"), _text(row["text"]))


def _ring(row: Mapping[str, Any]) -> KnownRing:
    fate = _one_of(row["fate"], get_args(Fate), "fate")
    return KnownRing(
        frequency_hz=_figure(row["frequency_hz"], low=1.0, high=1e5),
        limit_db=_figure(row["limit_db"]),
        fate="gone" if fate == "rings" else fate,
        times=_count(row["times"], low=1),
        excess=_perhaps(row["excess"], _excess),
        slope=_perhaps(row["slope"], _slope),
        open=False,
        skipped=_flag(row["skipped"]),
        in_vain_db=_figure(row["in_vain_db"]),
        placed_gain_db=_figure(row["placed_gain_db"]),
        went_db=_perhaps(row.get("went_db"), _figure),
    )


def _excess(row: Mapping[str, Any]) -> Excess:
    low_db, db, high_db = (_figure(row[name]) for name in ("low_db", "db", "high_db"))
    return Excess(db, low_db, high_db, _text(row["why"]))


def _slope(row: Mapping[str, Any]) -> Slope:
    rate = _figure(row["db_per_s"], low=-1e5, high=1e5)
    spread = _figure(row["spread_db_per_s"], low=0.0, high=1e5)
    from_s, to_s = (_figure(row[name], low=-1e12, high=1e12) for name in ("from_s", "to_s"))
    return Slope(rate, spread, from_s, to_s)


def _pulls(rows: object, equaliser: Equaliser) -> tuple[Pull, ...]:
    found = tuple(
        Pull(
            _text(row["label"]),
            _figure(row["pull_db"], low=0.0),
            _figure(row["centre_hz"], low=1.0, high=1e5),
            _figure(row["q"], low=1e-3, high=1e3),
            _figure(row["more_db"]),
        )
        for row in _rows(rows)
    )
    stood(equaliser, found)
    return found


def _moves(rows: object, equaliser: Equaliser) -> tuple[Move, ...]:
    return tuple(
        Move(
            **asdict(pull),
            kind=_one_of(row["kind"], get_args(MoveKind), "move"),
            is_elsewhere=_flag(row["is_elsewhere"]),
            is_swept=_flag(row["is_swept"]),
        )
        for pull, row in zip(_pulls(rows, equaliser), _rows(rows), strict=True)
    )


# Values.


def _figure(value: object, *, low: float = -_FARTHEST_DB, high: float = _FARTHEST_DB) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"{value!r:.40} is no figure")
    if not (math.isfinite(value) and low <= value <= high):
        raise ValueError(f"{value:g} must lie between {low:g} and {high:g}")
    return float(value)


def _count(value: object, *, low: int = 0, high: int = MOST_KEPT) -> int:
    count = _figure(value, low=low, high=high)
    if not count.is_integer():
        raise ValueError(f"{count:g} is no count")
    return int(count)


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{value!r:.40} is no text")
    return value


def _flag(value: object) -> bool:
    if not isinstance(value, bool):
        raise ValueError(f"{value!r:.40} is neither true nor false")
    return value


def _rows(value: object) -> list[Any] | tuple[Any, ...]:
    if not isinstance(value, list | tuple) or len(value) > MOST_KEPT:
        raise ValueError(f"{value!r:.40} is no list of at most {MOST_KEPT}")
    return value


def _one_of(value: object, known: tuple[str, ...], what: str) -> Any:
    if value not in known:
        raise ValueError(f"there is no {what} {value!r:.40}")
    return value


def _perhaps(value: Any, of: Callable[[Any], T]) -> T | None:
    return None if value is None else of(value)
