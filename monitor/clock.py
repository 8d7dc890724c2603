"""Clocks of a box without a clock battery: time since boot is sure, the date is a label.

Durations never come from wall time.  ``CLOCK_BOOTTIME`` counts on while the machine sleeps and
is the same for every process of one boot, so it orders rings across a restart of the watcher.
"""

from __future__ import annotations

import ctypes
import time
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
_SYNCHRONISED = Path("/run/systemd/timesync/synchronized")
_TIME_ERROR = 5
_TIMEX_BYTES = 256
"""Larger than ``struct timex`` on any Linux (208 bytes on 64-bit)."""
MOST_S = 1e12
"""Thirty thousand years: no clock of ours says more, and two of them are subtracted safely."""


@dataclass(frozen=True, slots=True)
class Now:
    """An instant, on every clock there is."""

    boot_id: str
    uptime_s: float
    utc_s: float
    clock_trusted: bool

    @classmethod
    def of_kept(cls, content: Mapping[str, Any]) -> Now:
        """Return the instant that a file says was kept.

        Raises
        ------
        ValueError, KeyError
            If it is none: a file may say anything, and is reckoned with only after this.
        """
        boot, trusted = content["boot_id"], content["clock_trusted"]
        if not isinstance(boot, str) or not isinstance(trusted, bool) or len(content) != 4:
            raise ValueError("an instant on this box's clocks is expected")
        return cls(boot, _seconds(content["uptime_s"]), _seconds(content["utc_s"]), trusted)


def _seconds(value: Any) -> float:
    # Also a whole number of hundreds of digits, which no float holds.
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if not is_number or not -MOST_S <= value <= MOST_S:
        raise ValueError("seconds on this box's clocks are expected")
    return float(value)


def now() -> Now:
    """Return this instant."""
    return Now(boot_id(), uptime_s(), time.time(), is_trusted())


def boot_id() -> str:
    """Return the identity of this boot of the machine, "unknown" where there is none."""
    try:
        return _BOOT_ID.read_text(encoding="ascii").strip()
    except OSError:
        return "unknown"


def uptime_s() -> float:
    """Return the seconds since the machine booted."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


def is_trusted() -> bool:
    """Return whether the date has been set from the network since the boot.

    By the mark of systemd-timesyncd, else by what the kernel says of its clock
    (``adjtimex(2)``: ``TIME_ERROR`` until somebody disciplines it).
    """
    if _SYNCHRONISED.exists():
        return True
    try:
        timex = ctypes.create_string_buffer(_TIMEX_BYTES)
        state = ctypes.CDLL(None, use_errno=True).adjtimex(timex)
    except (OSError, AttributeError):
        return False
    return bool(0 <= state < _TIME_ERROR)


def utc_text(utc_s: float | None) -> str | None:
    """Return a date as ISO 8601 to the second; None for none, and for one out of this world."""
    if utc_s is None:
        return None
    try:
        return datetime.fromtimestamp(round(utc_s), UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    except (ValueError, OverflowError, OSError):
        return None


def utc_seconds(text: str) -> float | None:
    """Return what ``utc_text`` was made of, None if it was not made by it."""
    try:
        return datetime.strptime(text, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC).timestamp()
    except (ValueError, OverflowError):
        return None
