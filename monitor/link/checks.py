"""The checks of single values in what comes over the link; standard library only.

Every check returns the value or raises LinkError with one clear line.
"""

from __future__ import annotations

from monitor.link.messages import LinkError, Message
from monitor.signs import refused_sign
from monitor.uids import UID


def number(message: Message, key: str, lowest: float, highest: float) -> float:
    """Return a number within bounds, both included."""
    value = message.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise LinkError(f"{key} must be a number from {lowest:g} to {highest:g}, not {value!r:.60}")
    if not lowest <= value <= highest:
        raise LinkError(f"{key} must be from {lowest:g} to {highest:g}, not {value!r:.60}")
    return value


def whole(message: Message, key: str, lowest: int, highest: int) -> int:
    """Return a whole number within bounds, both included."""
    value = number(message, key, lowest, highest)
    if not isinstance(value, int):
        raise LinkError(f"{key} must be a whole number, not {value!r:.60}")
    return value


def text(message: Message, key: str, longest: int) -> str:
    """Return printable text of 1 to ``longest`` characters."""
    value = message.get(key)
    if not isinstance(value, str) or not 1 <= len(value) <= longest:
        raise LinkError(f"{key} must be 1 to {longest} printable characters")
    if refused := refused_sign(value):
        raise LinkError(f"{key} must be 1 to {longest} printable characters; {refused} is none")
    return value


def one_of(message: Message, key: str, known: tuple[str, ...]) -> str:
    """Return one of a few words."""
    value = message.get(key)
    if not isinstance(value, str) or value not in known:
        raise LinkError(f"{key} must be one of {', '.join(known)}, not {value!r:.60}")
    return value


def uid(message: Message, key: str) -> str:
    """Return the name of a gig, a venue or a ring-out."""
    value = message.get(key)
    if not isinstance(value, str) or not UID.fullmatch(value):
        raise LinkError(f"{key} must be 16 small hexadecimal digits, not {value!r:.60}")
    return value
