"""One table of a stage plan: each value fetched with its check, each mistake in one line."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Any, TypeVar

from monitor.placing.stage import FOOT_M, StageError

Word = TypeVar("Word", bound=str)
LONGEST_NAME = 40
MOST_THINGS: dict[str, int] = {"microphone": 64, "loudspeaker": 16}
"""A large small stage has a dozen microphones; the reckoning stays quick up to these."""
_SHOWN = 40


def shown(value: object) -> str:
    """Return a bad value for a message: on one line and not longer than it deserves."""
    try:
        text = " ".join(repr(value).split())
    except ValueError:  # Python writes no whole number of thousands of digits, TOML reads one
        return "a number without end"
    return text if len(text) <= _SHOWN else text[: _SHOWN - 1] + "…"


class Table:
    """A table's values; ``what`` is how the table is called in messages."""

    def __init__(self, values: Mapping[str, Any], what: str, scale_m: float) -> None:
        self._values = values
        self.what = what
        self._scale_m = scale_m

    def only(self, *known: str) -> None:
        """Raise StageError if there is a key that is not ``known``."""
        for key in self._values:
            if key not in known:
                near = difflib.get_close_matches(str(key), known, 1)
                help_ = f"did you mean {near[0]}?" if near else f"known: {', '.join(known)}"
                raise StageError(f"{self.what}: unknown key {shown(key)}; {help_}")

    def get(self, key: str) -> object:
        """Return the raw value, None if it is not there."""
        return self._values.get(key)

    def table(self, key: str, scale_m: float) -> Table:
        """Return the table within; empty if it is not there."""
        return a_table(self._values.get(key, {}), f"[{key}]", scale_m)

    def number(
        self, key: str, span: tuple[float, float], unit: str, default: float | None = None
    ) -> float:
        """Return a finite number within ``span``, in ``unit``."""
        if key not in self._values and default is not None:
            return default
        return self._checked(self._needed(key), key, span, unit)

    def length(
        self, key: str, span_m: tuple[float, float], default_m: float | None = None
    ) -> float:
        """Return a length in metres; the document has it in its own units."""
        if key not in self._values and default_m is not None:
            return default_m
        scale = self._scale_m
        unit = "feet" if scale == FOOT_M else "metres"
        span = (round(span_m[0] / scale, 2), round(span_m[1] / scale, 2))
        return self._checked(self._needed(key), key, span, unit) * scale

    def choice(self, key: str, known: tuple[Word, ...], default: Word | None = None) -> Word:
        """Return one of the ``known`` words."""
        if key not in self._values and default is not None:
            return default
        value = self._needed(key)
        for word in known:
            if value == word:
                return word
        raise StageError(f"{self.what}: {key}={shown(value)} is none of {', '.join(known)}")

    def word_or_number(
        self, key: str, words: tuple[str, ...], span: tuple[float, float], unit: str, default: str
    ) -> str | float:
        """Return one of the words, or a number within ``span``."""
        value = self._values.get(key, default)
        if isinstance(value, str):
            if value in words:
                return value
            known = ", ".join(words)
            raise StageError(
                f"{self.what}: {key}={shown(value)} is none of {known}, and no number of {unit}"
            )
        return self._checked(value, key, span, unit)

    def two_numbers(
        self, key: str, span: tuple[float, float], unit: str, default: tuple[float, float]
    ) -> tuple[float, float]:
        """Return a pair of numbers: horizontal, vertical."""
        value = self._values.get(key, default)
        if not isinstance(value, list | tuple) or len(value) != 2:
            raise StageError(
                f"{self.what}: {key}={shown(value)} must be two {unit}, [horizontal, vertical]"
            )
        first, second = (self._checked(one, key, span, unit) for one in value)
        return first, second

    def yes_or_no(self, key: str, default: bool) -> bool:
        """Return true or false."""
        value = self._values.get(key, default)
        if not isinstance(value, bool):
            raise StageError(f"{self.what}: {key}={shown(value)} must be true or false")
        return value

    def text(self, key: str, default: str | None = None) -> str:
        """Return a short printable text."""
        value = self._values.get(key, default) if default is not None else self._needed(key)
        if not isinstance(value, str) or len(value) > LONGEST_NAME or not value.isprintable():
            raise StageError(
                f"{self.what}: {key}={shown(value)} must be text of at most {LONGEST_NAME} signs"
            )
        return value.strip()

    def name(self) -> str:
        """Return the thing's name, which may not be empty; messages use it from now on."""
        name = self.text("name")
        if not name:
            raise StageError(f"{self.what}: the name is empty; give it one, such as 'lead vocal'")
        self.what = f"{self.what.split()[0]} '{name}'"
        return name

    def _needed(self, key: str) -> object:
        if key not in self._values:
            raise StageError(f"{self.what}: {key} is missing; it has no default, please add it")
        return self._values[key]

    def _checked(self, value: object, key: str, span: tuple[float, float], unit: str) -> float:
        # True is a number to Python, but nobody means 1 m by it.
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise StageError(f"{self.what}: {key}={shown(value)} must be a number of {unit}")
        if not span[0] <= value <= span[1]:  # NaN fails this too
            raise StageError(
                f"{self.what}: {key}={shown(value)} must lie from {span[0]:g} to {span[1]:g} {unit}"
            )
        return float(value)


def a_table(value: object, what: str, scale_m: float = 1.0) -> Table:
    """Return a value as a table, or raise StageError."""
    if not isinstance(value, Mapping):
        raise StageError(f"{what} is {shown(value)} where a table of keys and values was expected")
    return Table(value, what, scale_m)


def tables(top: Table, key: str, scale_m: float) -> list[Table]:
    """Return the list of tables under ``key``, empty if there is none."""
    value = top.get(key)
    if value is None:
        return []
    if not isinstance(value, list | tuple):
        raise StageError(f"{key} is {shown(value)} where a list of [[{key}]] tables was expected")
    if len(value) > MOST_THINGS[key]:
        raise StageError(
            f"{len(value)} {key}s are more than the {MOST_THINGS[key]} that a plan may have; "
            "leave out those that stay closed or silent"
        )
    return [a_table(one, f"{key} {i}", scale_m) for i, one in enumerate(value, 1)]
