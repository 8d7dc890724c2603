"""What may be asked and told of gigs, venues and records; checked like every command.

Standard library only.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from monitor.link.checks import number, one_of, text, uid, whole
from monitor.link.messages import LinkError, Message
from monitor.signs import JOINERS

MOST_GIGS = 100
"""Gigs in one answer: at most about 400 bytes each."""
LONGEST_NAME = 60
"""Of a gig or a venue: what fits on a phone's line."""
LONGEST_NOTE = 500
MOST_RECORD_CHARS = 4 * 1024 * 1024
"""Of what is taken in from another box: a long gig's record has a twentieth of it."""
MOST_PIECE_CHARS = 24_000
MAX_IMPORT_BYTES = 56 * 1024
"""A line with a piece of plain letters, were all of them quotes that are escaped; who sends other
letters escapes them or cuts smaller pieces."""
EARLIEST_UTC_S = 1_735_689_600.0
"""1 January 2025, before there was such a box: a clock that says less is wrong."""
LATEST_UTC_S = EARLIEST_UTC_S + 20 * 365.25 * 86_400.0
"""A box is no longer in use by then; a clock that says more is wrong."""

GIG_DO = ("begin", "end", "venue", "rename", "song", "note", "delete", "clear_venue")
"""What a person can do with a gig; "venue" says where it is played, by uid or by name."""

_UPLOAD = re.compile(r"[A-Za-z0-9_-]{1,32}")


def _name(message: Message, key: str, longest: int) -> str:
    """Text with something in it: spaces around it go."""
    value = text(message, key, longest).strip()
    if not value.strip(JOINERS):
        raise LinkError(f"{key} must not be only spaces")
    return value


def _one_key(message: Message, *keys: str) -> str:
    given = [key for key in keys if key in message]
    if len(given) != 1:
        raise LinkError(
            f"one of {' and '.join(keys)} is needed, not {' and '.join(given) or 'none of them'}"
        )
    return given[0]


def _gig(message: Message) -> Message:
    do = one_of(message, "do", GIG_DO)
    if do == "venue":
        if _one_key(message, "venue", "name") == "venue":
            return {"do": do, "venue": uid(message, "venue")}
        return {"do": do, "name": _name(message, "name", LONGEST_NAME)}
    if do == "rename":
        # Neither a gig nor a venue given: the gig that is on.
        named = {"do": do, "name": _name(message, "name", LONGEST_NAME)}
        if "gig" not in message and "venue" not in message:
            return named
        key = _one_key(message, "gig", "venue")
        return {**named, key: uid(message, key)}
    if do == "delete":
        key = _one_key(message, "gig", "venue")
        return {"do": do, key: uid(message, key)}
    if do == "begin":
        return {"do": do}
    # Of the gig that is on; with a gig given, only if it is that one.
    meant: Message = {"do": do, "gig": uid(message, "gig")} if "gig" in message else {"do": do}
    return {**meant, "text": _name(message, "text", LONGEST_NOTE)} if do == "note" else meant


def _gigs(message: Message) -> Message:
    asked: Message = {"limit": whole(message, "limit", 1, MOST_GIGS) if "limit" in message else 20}
    if "before" in message:
        asked["before"] = uid(message, "before")
    return asked


def _record(message: Message) -> Message:
    offset = whole(message, "offset", 0, 1 << 40) if "offset" in message else 0
    return {"gig": uid(message, "gig"), "offset": offset}


def _recollection(message: Message) -> Message:
    return {key: uid(message, key) for key in ("venue", "but") if key in message}


def _import(message: Message) -> Message:
    upload, piece, last = message.get("upload"), message.get("text"), message.get("last")
    if not isinstance(upload, str) or not _UPLOAD.fullmatch(upload):
        raise LinkError(f"upload must be 1 to 32 letters, digits, - or _, not {upload!r:.60}")
    if not isinstance(piece, str) or not 1 <= len(piece) <= MOST_PIECE_CHARS:
        raise LinkError(f"text must be 1 to {MOST_PIECE_CHARS} characters, a piece of a record")
    if not isinstance(last, bool):
        raise LinkError(f"last must be true or false, not {last!r:.60}")
    offset = whole(message, "offset", 0, MOST_RECORD_CHARS)
    return {"upload": upload, "offset": offset, "text": piece, "last": last}


def _clock(message: Message) -> Message:
    return {"utc_s": float(number(message, "utc_s", EARLIEST_UTC_S, LATEST_UTC_S))}


def _nothing(_message: Message) -> Message:
    return {}


GIG_COMMANDS: dict[str, Callable[[Message], Message]] = {
    "gig": _gig,
    "gigs": _gigs,
    "venues": _nothing,
    "record": _record,
    "recollection": _recollection,
    "import": _import,
    "clock": _clock,
}
