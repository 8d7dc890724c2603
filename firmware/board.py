"""The board's own troubles: supply voltage too low, and heat.

Read from the kernel's files alone.  The firmware's own word on being slowed down
(``get_throttled``) would need a device that the watcher has no business with, or a file whose
reading makes the kernel print a warning; heat says the same before it happens.
"""

from __future__ import annotations

import logging
import math
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

LOG = logging.getLogger(__name__)

SYS = Path("/sys")
EVERY_S = 5.0
HOT_C = 80.0
"""From here a Raspberry Pi slows itself down (its maker's documentation, from memory)."""
COOL_AGAIN_C = 75.0
"""A board that stands at the limit must not say so once a minute."""
SAGGED_FOR_S = 60.0
"""A sag of a moment has to be seen by somebody who looks up from a song."""


@dataclass(frozen=True, slots=True)
class BoardReading:
    """What the kernel says at one moment; None where this board does not offer it."""

    is_undervolted: bool | None = None
    temperature_c: float | None = None


def read_board(root: Path = SYS) -> BoardReading:
    """Return the board's voltage alarm and temperature; never raises.

    The alarm is that of the kernel's driver ``raspberrypi-hwmon`` (its documentation:
    ``in0_lcrit_alarm``), the temperature the hottest of the kernel's thermal zones.
    """
    return BoardReading(_is_undervolted(root), _temperature_c(root))


def _is_undervolted(root: Path) -> bool | None:
    for folder in sorted(root.glob("class/hwmon/hwmon*")):
        if _text(folder / "name") == "rpi_volt":
            alarm = _text(folder / "in0_lcrit_alarm")
            return None if alarm not in ("0", "1") else alarm == "1"
    return None


def _temperature_c(root: Path) -> float | None:
    found = []
    for zone in sorted(root.glob("class/thermal/thermal_zone*/temp")):
        try:
            found.append(int(_text(zone)) / 1000.0)
        except ValueError:
            continue
    sane = [value for value in found if -40.0 < value < 150.0]
    return max(sane, default=None)


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="ascii", errors="replace").strip()
    except OSError:
        return ""


class BoardTroubles:
    """What is wrong with the board, from one reading to the next; no clock of its own.

    Attributes
    ----------
    sag_count : int
        How often the supply's voltage has fallen since this began.
    """

    def __init__(self) -> None:
        self.sag_count = 0
        self._sags = False
        self._sagged_s = -math.inf
        self._is_hot = False

    def push(self, reading: BoardReading, at_s: float) -> dict[str, str]:
        """Take the reading of ``at_s``; return what is wrong, each with a sentence."""
        sags = reading.is_undervolted is True
        self.sag_count += sags and not self._sags
        self._sags = sags
        if sags:
            self._sagged_s = at_s
        limit_c = COOL_AGAIN_C if self._is_hot else HOT_C
        temperature_c = reading.temperature_c
        self._is_hot = temperature_c is not None and temperature_c >= limit_c
        wrong = {}
        if at_s < self._sagged_s + SAGGED_FOR_S:
            when = "too low" if sags else "too low a moment ago"
            wrong["supply"] = (
                f"the supply voltage is {when}: use a shorter, thicker cable or a stronger "
                "power bank before the box switches itself off"
            )
        if self._is_hot:
            wrong["heat"] = (
                f"the board is at {temperature_c:.0f} °C and slows itself down: take it out of "
                "the sun and give its case air"
            )
        return wrong


class Board:
    """Looks at the board now and then, in a thread of its own: the firmware may take its time.

    Parameters
    ----------
    read : callable
        Returns a ``BoardReading``; never raises.
    every_s : float
        How long between two looks.
    """

    def __init__(
        self, read: Callable[[], BoardReading] = read_board, *, every_s: float = EVERY_S
    ) -> None:
        self._read = read
        self._every_s = every_s
        self._troubles = BoardTroubles()
        self._fields: dict[str, object] = {"health": "unknown"}
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="board", daemon=True)
        self._thread.start()

    def fields(self) -> dict[str, object]:
        """Return what is known, for the snapshot; absent is what this board does not say.

        ``health`` is "ok", "unknown" where the board says nothing of itself, or one line.
        """
        return self._fields

    def close(self) -> None:
        """Stop looking; may be called twice."""
        self._stopping.set()
        self._thread.join(timeout=2.0)

    def _run(self) -> None:
        known: dict[str, str] = {}
        while True:
            reading = self._read()
            wrong = self._troubles.push(reading, time.monotonic())
            for what in wrong.keys() - known.keys():
                LOG.warning("%s", wrong[what])
            for what in known.keys() - wrong.keys():
                LOG.info("the %s is right again", what)
            known = wrong
            self._fields = _fields(reading, wrong, self._troubles.sag_count)
            if self._stopping.wait(self._every_s):
                return


def _fields(reading: BoardReading, wrong: dict[str, str], sag_count: int) -> dict[str, object]:
    fields: dict[str, object] = {"health": "; ".join(wrong.values()) or "ok"}
    if reading == BoardReading():
        fields["health"] = "unknown"
    if reading.temperature_c is not None:
        fields["temperature_c"] = round(reading.temperature_c, 1)
    if reading.is_undervolted is not None:
        fields["is_undervolted"] = reading.is_undervolted
        fields["sag_count"] = sag_count
    return fields
