"""Small things said in a report: untrusted text made harmless, numbers, lengths, times, dates.

A record may come from another box or another person, so nothing in it is taken for granted.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Any

from monitor.advice.labels import decibels
from monitor.advice.sliders import LOW_CUT
from monitor.signs import is_shown

LONGEST_NAME = 60
_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def number(value: Any, lowest: float = -1e9, highest: float = 1e9) -> float | None:
    """Return a finite number within bounds as a float, None for anything else."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if lowest <= value <= highest else None


def text(value: Any, longest: int = LONGEST_NAME) -> str:
    """Return one line of printable signs, at most ``longest``; empty for what is no text.

    Signs that cannot be printed go, among them those that turn the direction of writing.
    """
    if not isinstance(value, str):
        return ""
    clean = "".join(sign if is_shown(sign) else " " for sign in value[: 4 * longest])
    clean = " ".join(clean.split())
    return clean if len(clean) <= longest else clean[: longest - 1].rstrip() + "…"


def mapping_of(value: Any) -> Mapping[str, Any]:
    """Return an object, an empty one for anything else."""
    return value if isinstance(value, Mapping) else {}


def each_of(value: Any) -> Iterator[Mapping[str, Any]]:
    """Yield the objects of a list, none for anything else."""
    if isinstance(value, list | tuple):
        yield from (one for one in value if isinstance(one, Mapping))


def put_words(label: str, pull_db: float) -> str:
    """Return where a slider was put: "-4", "flat"; a switch has no depth: "on", "off"."""
    if label == LOW_CUT:
        return "on" if pull_db else "off"
    return f"-{decibels(pull_db)}" if pull_db else "flat"


def stands_words(label: str, pull_db: float) -> str:
    """Return how a pulled slider stands: "2.5k -4 dB", "low cut on"."""
    return f"{label} {put_words(label, pull_db)}{' dB' * (label != LOW_CUT)}"


def capital(words: str) -> str:
    """Return words with a capital first."""
    return words[:1].upper() + words[1:]


def sentence(words: str) -> str:
    """Return words as a sentence: a capital first, a full stop at the end."""
    return f"{capital(words)}."


def listed(parts: list[str]) -> str:
    """Return "a", "a and b", "a, b and c"."""
    return " and ".join([", ".join(parts[:-1]), parts[-1]]) if len(parts) > 1 else "".join(parts)


def length_words(seconds: float) -> str:
    """Return a length of time as one says it: "3 h 4 min", "12 min", "45 s", "0.8 s"."""
    if seconds < 9.95:
        return f"{decibels(seconds)} s"
    if seconds < 119.5:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60.0)
    if minutes < 120:
        return f"{minutes} min"
    hours, rest = divmod(minutes, 60)
    return f"{hours} h {rest} min" if rest else f"{hours} h"


@dataclass(frozen=True, slots=True)
class EveningClock:
    """Says when something was: by the clock where the date is known, else since the beginning.

    ``begun`` is None where nobody had told the box the time; ``zone`` None is the machine's.
    """

    begun: datetime | None
    zone: tzinfo | None = None

    def moment(self, at_s: float) -> datetime | None:
        """Return the local time ``at_s`` seconds after the beginning."""
        if self.begun is None:
            return None
        try:
            return (self.begun + timedelta(seconds=at_s)).astimezone(self.zone)
        except (OverflowError, ValueError, OSError):
            return None

    def at(self, at_s: float) -> str:
        """Return "20:41", or hours and minutes since the beginning: "1:23"."""
        moment = self.moment(at_s)
        if moment is not None:
            return f"{moment:%H:%M}"
        minutes = math.floor(max(0.0, at_s) / 60.0)
        return f"{minutes // 60}:{minutes % 60:02d}"

    def when(self, at_s: float) -> str:
        """Return the moment in a sentence: "at 20:41", "83 min after the beginning"."""
        if self.begun is not None:
            return f"at {self.at(at_s)}"
        return f"{length_words(at_s)} after the beginning"

    def utc_text(self, at_s: float) -> str:
        """Return the moment in ISO 8601, UTC, to a tenth of a second; empty where unknown."""
        moment = self.moment(at_s)
        if moment is None:
            return ""
        return moment.astimezone(UTC).isoformat(timespec="milliseconds")[:-8] + "Z"


def moment_of(value: Any) -> datetime | None:
    """Return the moment that an ISO 8601 text means, None if it means none; UTC if unsaid."""
    if not isinstance(value, str) or len(value) > 40:
        return None
    try:
        moment = datetime.fromisoformat(value)
        moment = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
        moment.astimezone(UTC)
    except (ValueError, OverflowError, OSError):
        return None
    return moment


def date_words(moment: datetime) -> str:
    """Return "Thu 26 November 2026"."""
    return f"{_DAYS[moment.weekday()]} {moment.day} {_MONTHS[moment.month - 1]} {moment.year}"
