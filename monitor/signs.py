"""Which signs may stand in a line that somebody wrote: a name, a note.  Standard library only."""

from __future__ import annotations

import unicodedata

JOINERS = "\u200c\u200d"
"""Unseen, but without them Persian words and composed pictures fall apart (Unicode, 23.2)."""


def is_shown(sign: str) -> bool:
    """Return whether a sign can be shown: none that controls, or turns the direction of writing."""
    return sign in JOINERS or sign.isprintable()


def refused_sign(text: str) -> str:
    """Return what the first sign is called that cannot be shown; empty where all can be."""
    for sign in text:
        if not is_shown(sign):
            name = unicodedata.name(sign, "control character").lower()
            return f"U+{ord(sign):04X} ({name})"
    return ""
