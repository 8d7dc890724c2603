"""Values out of a JSON object that nobody may trust, asked for by name and by what they must be."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from monitor.signs import refused_sign


class RecordError(ValueError):
    """A record from elsewhere that cannot be taken; one line for people."""


class Values:
    """An object and where it stands, to say so in an error.

    Raises
    ------
    RecordError
        If it is no object; every method, if the value is not what was asked for.
    """

    def __init__(self, found: Any, where: str) -> None:
        self.where = where
        if not isinstance(found, Mapping):
            raise RecordError(f"{where}: {_short(found)}; an object was expected")
        self._found = found

    def wrong(self, key: str, value: Any, expected: str) -> RecordError:
        """Return the error for a value."""
        return RecordError(f"{self.where}.{key}: {_short(value)}; expected {expected}")

    def has(self, key: str) -> bool:
        """Return whether it is there."""
        return key in self._found

    def names(self) -> list[str]:
        """Return the names of what is there."""
        return list(self._found)

    def given(self, key: str) -> Any:
        """Return a value that must be there, of whatever kind."""
        if key not in self._found:
            raise RecordError(f"{self.where}: {key!r} is missing; it must be in a record")
        return self._found[key]

    def number(self, key: str, least: float, most: float) -> float:
        """Return a finite number within bounds."""
        value = self.given(key)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.wrong(key, value, f"a number from {least:g} to {most:g}")
        if not least <= value <= most:  # NaN included
            raise self.wrong(key, value, f"a number from {least:g} to {most:g}")
        return float(value)

    def whole(self, key: str, least: int, most: int) -> int:
        """Return a whole number within bounds."""
        value = self.given(key)
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            raise self.wrong(key, value, f"a whole number from {least} to {most}")
        return value

    def flag(self, key: str) -> bool:
        """Return true or false."""
        value = self.given(key)
        if not isinstance(value, bool):
            raise self.wrong(key, value, "true or false")
        return value

    def text(self, key: str, most: int, least: int = 1) -> str:
        """Return text of one line that can be shown and written."""
        value = self.given(key)
        if not isinstance(value, str) or not least <= len(value) <= most:
            raise self.wrong(key, value, f"text of {least} to {most} characters")
        if refused := refused_sign(value):
            raise self.wrong(key, value, f"text of printable characters; {refused} is none")
        return value

    def choice(self, key: str, among: tuple[str, ...]) -> str:
        """Return one of a few words."""
        value = self.given(key)
        if value not in among or not isinstance(value, str):
            raise self.wrong(key, value, f"one of {', '.join(among)}")
        return value

    def sequence(self, key: str, most: int) -> list[Any]:
        """Return a list that is not too long."""
        value = self.given(key)
        if not isinstance(value, list):
            raise self.wrong(key, value, "a list")
        if len(value) > most:
            raise RecordError(f"{self.where}.{key}: {len(value)} of them; at most {most} are taken")
        return value

    def mapping(self, key: str, most: int) -> Mapping[str, Any] | None:
        """Return an object with not too many keys, None if it is absent."""
        value = self._found.get(key)
        if key not in self._found:
            return None
        if not isinstance(value, Mapping) or len(value) > most:
            raise self.wrong(key, value, f"an object of at most {most} entries")
        return value

    def copy_text(self, into: dict[str, Any], key: str, most: int) -> None:
        """Copy text if it is there."""
        if self.has(key):
            into[key] = self.text(key, most)

    def copy_number(self, into: dict[str, Any], key: str, least: float, most: float) -> None:
        """Copy a number if it is there."""
        if self.has(key):
            into[key] = self.number(key, least, most)


def _short(value: Any) -> str:
    text = (
        repr(value)
        if isinstance(value, str | int | float | bool | None)
        else (f"a {type(value).__name__}")
    )
    return text if len(text) <= 60 else text[:57] + "..."
