"""The messages between watcher and page: how they are written, read and cut into lines.

Only the standard library is used here and in ``commands`` and ``client``: the page process imports
these.

Conventions
-----------
One JSON object a line, UTF-8, at most ``MAX_LINE_BYTES`` with its newline.  Every object has a
``class``.  Keys carry their unit.  What is not known is absent, never null; NaN and infinity
are forbidden.  Unknown keys and classes are ignored by whoever reads them.  The watcher speaks
first, with a ``hello`` that carries the protocol's major and minor number: the same major
understands each other, the minor counts additions.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

PROTO_MAJOR = 1
PROTO_MINOR = 12
MAX_LINE_BYTES = 64 * 1024

Message = dict[str, Any]

CALM_HEALTH = ("ok", "off", "opening")
"""What a part's health says where there is nothing against it."""


class LinkError(ValueError):
    """A message that breaks the protocol, or a watcher that cannot be reached."""


class UnreachableError(LinkError):
    """A watcher that cannot be reached, or that did not answer in time."""


def _without_none(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {k: _without_none(v) for k, v in value.items() if v is not None}
    if isinstance(value, list | tuple):
        return [_without_none(v) for v in value]
    return value


def encode(message: Mapping[str, Any]) -> bytes:
    """Return the message as one line of bytes; keys whose value is None are left out.

    Raises
    ------
    LinkError
        If there is no ``class``, a value is not JSON (NaN and infinity included), or the line
        would be longer than ``MAX_LINE_BYTES``.
    """
    name = message.get("class")
    if not isinstance(name, str) or not name:
        raise LinkError("a message needs a 'class'")
    try:
        text = json.dumps(
            _without_none(message), allow_nan=False, ensure_ascii=False, separators=(",", ":")
        )
        line = text.encode() + b"\n"
    except (TypeError, ValueError, RecursionError) as error:
        raise LinkError(f"message {name!r} cannot be written as JSON: {error}") from error
    if len(line) > MAX_LINE_BYTES:
        raise LinkError(f"message {name!r} is {len(line)} bytes, at most {MAX_LINE_BYTES} fit")
    return line


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is not allowed")


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"number {text:.60} is too large")
    return value


def strict_json(text: str) -> Any:
    """Return what JSON text says; NaN, infinity and numbers too large are refused.

    Raises
    ------
    ValueError, RecursionError
        If it is no such text.
    """
    return json.loads(text, parse_constant=_no_constant, parse_float=_finite)


def decode(line: bytes | str) -> Message:
    """Return the object in one line.

    Raises
    ------
    LinkError
        If the line is too long, not UTF-8, not JSON, or not an object with a ``class``.
    """
    if len(line) > MAX_LINE_BYTES:
        raise LinkError(f"a line of {len(line)} bytes, at most {MAX_LINE_BYTES} are allowed")
    try:
        text = line.decode() if isinstance(line, bytes) else line
        message = strict_json(text)
    except (ValueError, RecursionError) as error:
        raise LinkError(f"a line that is not JSON: {error}") from error
    if not isinstance(message, dict):
        raise LinkError(f"an object expected, a {type(message).__name__} received")
    name = message.get("class")
    if not isinstance(name, str) or not name:
        raise LinkError("a message without 'class'")
    return message


def sound_path(socket_path: Path) -> Path:
    """Return where the practice stage's sound can be heard, beside the link's socket."""
    return socket_path.with_name("sound.sock")


class LineBuffer:
    """Cuts a byte stream into lines; ``push`` any chunks, get whole lines without newline."""

    def __init__(self, longest_bytes: int = MAX_LINE_BYTES) -> None:
        self._longest_bytes = longest_bytes
        self._rest = b""

    def push(self, chunk: bytes) -> list[bytes]:
        """Return the lines that ``chunk`` completes.

        Raises
        ------
        LinkError
            If a line is longer than allowed; the stream is of no use from then on.
        """
        *lines, self._rest = (self._rest + chunk).split(b"\n")
        for line in (*lines, self._rest):
            if len(line) >= self._longest_bytes:
                raise LinkError(f"a line is longer than {self._longest_bytes} bytes")
        return [line for line in lines if line.strip()]
