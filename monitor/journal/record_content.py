"""What a happening's content may be, kind by kind, in a record from elsewhere.

The values that others reckon or draw with are checked one by one; whatever else a kind carries
has to be plain bounded JSON and is kept as it is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from monitor.journal.asks import KINDS, PLACED
from monitor.journal.record_values import RecordError, Values

MOST_DEPTH = 8
MOST_TEXT_CHARS = 2000
MOST_SLIDERS = 64
MOST_WHOLE = 2**53
"""Beyond it a number in JSON is no longer the same to everybody who reads it (RFC 8259, 6)."""


def check_content(kind: Any, one: Values) -> dict[str, Any]:
    """Return the content of a happening of this kind, checked.

    Raises
    ------
    RecordError
        If the kind is unknown or the content is not of it.
    """
    if not isinstance(kind, str) or kind not in KINDS:
        raise one.wrong("kind", kind, f"one of {', '.join(KINDS)}; or update Howl Lantern")
    content = {
        key: _plain(one.given(key), f"{one.where}.{key}", MOST_DEPTH)
        for key in one.names()
        if key not in PLACED
    }
    check = _CHECKS.get(kind)
    if check is not None:
        check(Values(content, one.where))
    return content


def _plain(value: Any, where: str, depth: int) -> Any:
    if isinstance(value, str):
        if len(value) > MOST_TEXT_CHARS or "\0" in value:
            raise RecordError(f"{where}: text of at most {MOST_TEXT_CHARS} characters is taken")
        if any("\ud800" <= letter <= "\udfff" for letter in value):
            raise RecordError(f"{where}: half a surrogate pair; expected text")
        return value
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, int | float):
        if not abs(value) <= MOST_WHOLE:  # NaN included
            raise RecordError(f"{where}: a number beyond all measure; expected a finite one")
        return value
    if depth == 0:
        raise RecordError(f"{where}: nested too deep; at most {MOST_DEPTH} levels are taken")
    if isinstance(value, list):
        return [_plain(item, where, depth - 1) for item in value]
    if isinstance(value, Mapping):
        return {
            _plain(str(key), where, depth - 1): _plain(item, where, depth - 1)
            for key, item in value.items()
        }
    raise RecordError(f"{where}: a {type(value).__name__}; expected plain JSON")


def _way(one: Values) -> None:
    one.choice("way", ("soundcheck", "set"))


_PULL = {"centre_hz": (10.0, 40_000.0), "pull_db": (-60.0, 60.0), "q": (0.01, 1000.0)}
"""A label or a filter's place may be from 10 Hz to 40 kHz (``advice.labels``)."""


def _pulls(one: Values, needed: tuple[str, ...] = ("centre_hz", "pull_db")) -> None:
    for value in one.sequence("pulls", MOST_SLIDERS):
        pull = Values(value, f"{one.where}.pulls")
        pull.text("label", 32)
        for key, (least, most) in _PULL.items():
            if key in needed or pull.has(key):
                pull.number(key, least, most)
    _curve(one)


def _curve(one: Values) -> None:
    curve = one.mapping("curve", most=10)
    if curve is not None:
        drawn = Values(curve, f"{one.where}.curve")
        lengths = set()
        for key, least, most in (("hz", 1.0, 1e5), ("db", -300.0, 300.0)):
            points = drawn.sequence(key, most=1000)
            lengths.add(len(points))
            for point in points:
                Values({key: point}, drawn.where).number(key, least, most)
        if len(lengths) != 1:
            raise drawn.wrong("db", f"{lengths} points", "as many as there are in 'hz'")


def _level(one: Values) -> None:
    one.number("level_dbfs", -300.0, 60.0)
    one.number("peak_dbfs", -300.0, 60.0)
    if one.has("loud"):
        one.flag("loud")
    if one.has("third_octave_dbfs"):
        for value in one.sequence("third_octave_dbfs", most=31):
            Values({"band": value}, one.where).number("band", -300.0, 60.0)


def _ring_out(one: Values) -> None:
    for key in ("gain_won_db", "top_fader_db", "tone_cost_db"):
        if one.has(key):
            one.number(key, -200.0, 200.0)
    one.whole("cut_count", 0, 1000)
    if one.has("pulls"):
        _pulls(one, needed=())  # it tells a fixed slider's place no more than a switch's depth
    for value in one.sequence("rings", 1000) if one.has("rings") else []:
        Values(value, f"{one.where}.rings")
    if one.has("why"):
        _text(one, "why")


def _text(one: Values, key: str) -> None:
    value = one.given(key)
    if not isinstance(value, str):
        raise one.wrong(key, value, "text")


def _plan(one: Values) -> None:
    one.whole("revision", 0, 10**9)
    if one.has("sentence"):
        _text(one, "sentence")
    one.mapping("stage", most=100)


def _ticks(one: Values) -> None:
    for value in one.sequence("ticks", 200):
        Values({"tick": value}, one.where).text("tick", 64)


def _song(one: Values) -> None:
    one.whole("n", 1, 10_000)


def _equaliser(one: Values) -> None:
    if one.has("name"):
        _text(one, "name")
    if one.has("deepest_db"):
        one.number("deepest_db", -100.0, 100.0)
    for value in one.sequence("sliders", MOST_SLIDERS) if one.has("sliders") else []:
        slider = Values(value, f"{one.where}.sliders")
        slider.text("label", 32)
        if slider.has("centre_hz"):
            slider.number("centre_hz", 1.0, 100_000.0)


_CHECKS: dict[str, Callable[[Values], None]] = {
    "way": _way,
    "pull": _pulls,
    "level": _level,
    "ring_out": _ring_out,
    "plan": _plan,
    "check": _ticks,
    "song": _song,
    "deaf": lambda one: _text(one, "reason") if one.has("reason") else None,
    "note": lambda one: _text(one, "text"),
    "equaliser": _equaliser,
}
