"""How many of something, in words.  Standard library only."""

from __future__ import annotations


def counted(count: int, noun: str) -> str:
    """Return "1 ring", "3 rings"."""
    return f"{count} {noun}{'' if count == 1 else 's'}"
