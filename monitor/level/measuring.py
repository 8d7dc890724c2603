"""Starts and ends measurements of the desk's line or of the box's own microphone, one at a time.

The two are never confused: each has its own kind, from the command to the figures.
"""

from __future__ import annotations

import json
import logging
import sys
from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any, Literal

from firmware.ports import AudioBlock
from monitor.level.child import LevelChild
from monitor.settings import Settings

LOG = logging.getLogger(__name__)

Kind = Literal["line", "box"]
Take = Callable[[AudioBlock], None]

SPOKEN: dict[Kind, str] = {"line": "the desk's line", "box": "the box's own microphone"}
STILL_GOOD_S = 300.0
"""What was measured last can still be taken for so long after its end: the way to the phone."""
STAGE_NAME = "the practice desk's vocal channel"
NO_LINE = "no line from the desk is set up"
ELSEWHERE = "not the line's card"
SET_ONE_UP = "put its card's name into the settings, [line] device"


@dataclass(frozen=True, slots=True)
class Source:
    """What can be measured.

    ``command`` runs the child.  ``tap`` is there where blocks are fed to it: called with where
    to hand them, and with None at the end.  ``why`` says why it is not there, empty if it is;
    ``remedy`` what to do about it.
    """

    name: str
    command: tuple[str, ...] = ()
    fed: bool = False
    tap: Callable[[Take | None], None] | None = None
    why: str = ""
    remedy: str = ""


def level_command(settings: Settings, *arguments: str) -> tuple[str, ...]:
    """Return how to run the level command with the watcher's own settings.

    The child reads no settings file: all it needs is said here, so that it measures by what the
    watcher was started with.
    """
    said = {f"line.{one.name}": getattr(settings.line, one.name) for one in fields(settings.line)}
    # A microphone that the watcher finds by itself is never on the line's card; one that is
    # named may be, and then the child refuses.
    own = settings.microphone.device
    said["microphone.device"] = ELSEWHERE if own == "auto" else own
    said["microphone.channel"] = settings.microphone.channel
    options = [
        word
        for name, value in said.items()
        for word in ("--set", f"{name}={json.dumps(value, ensure_ascii=False)}")
    ]
    start = (sys.executable, "-m", "monitor.cli", "level", "--json", "--settings", "/dev/null")
    return (*start, *options, *arguments)


def box_sources(settings: Settings) -> dict[Kind, Source]:
    """Return what a box can measure: its line, if one is set up, and its own microphone."""
    device, own = settings.line.device, settings.microphone.device
    line = Source(device, level_command(settings))
    box = level_command(settings, "--feed", "--box", "--name", own)
    return {
        "line": line if device else Source("", why=NO_LINE, remedy=SET_ONE_UP),
        "box": Source(own, box, fed=True),
    }


def stage_sources(settings: Settings, tap: Callable[[Take | None], None]) -> dict[Kind, Source]:
    """Return the same of a practice stage, whose desk hands out its line itself."""
    return {
        **box_sources(settings),
        "line": Source(
            STAGE_NAME,
            level_command(settings, "--feed", "--name", STAGE_NAME),
            fed=True,
            tap=tap,
        ),
    }


@dataclass(frozen=True, slots=True)
class Measured:
    """The newest figures of a measurement, ``age_s`` old; ``kind`` says of what."""

    kind: Kind
    age_s: float
    fields: dict[str, Any]


class Measuring:
    """At most one measurement; ``begin``, ``stop`` and ``close`` belong to one thread.

    Parameters
    ----------
    sources : dict
        What there is to measure.
    """

    def __init__(self, sources: dict[Kind, Source]) -> None:
        self._sources = sources
        self._child: LevelChild | None = None
        self._kind: Kind = "line"

    def begin(self, kind: Kind) -> None:
        """Begin to measure.

        Raises
        ------
        ValueError
            If there is nothing of that kind, or a measurement is running; one clear line.
        """
        source = self._sources[kind]
        if source.why:
            raise ValueError(f"{source.why}; {source.remedy}" if source.remedy else source.why)
        if self._child is not None and not self._child.ended:
            raise ValueError(f"{SPOKEN[self._kind]} is being measured; stop that first")
        tap = source.tap
        child = LevelChild(
            source.command,
            fed=source.fed,
            on_end=lambda: tap(None) if tap is not None else None,
        )
        self._child, self._kind = child, kind
        if tap is not None:
            tap(child.put)
        child.start()
        LOG.info("measuring %s", SPOKEN[kind])

    def stop(self) -> None:
        """End it; nothing if nothing runs."""
        if self._child is not None:
            self._child.close()

    close = stop

    def feed_box(self, block: AudioBlock) -> None:
        """Hand over a block of the box's own microphone; returns at once, whatever runs."""
        child = self._child
        if child is not None and self._kind == "box" and not child.ended:
            child.put(block)

    def measured(self, now_mono_s: float) -> Measured | None:
        """Return the newest figures, also for a while after the end; None if there are none."""
        child, kind = self._child, self._kind
        if child is None or child.fields is None:
            return None
        age_s = now_mono_s - child.fields_mono_s
        return None if age_s > STILL_GOOD_S else Measured(kind, age_s, child.fields)

    def line_fields(self) -> dict[str, Any]:
        """Return whether there is a line, for the snapshot."""
        source = self._sources["line"]
        return {"there": not source.why, "name": source.name or None, "why": source.why or None}

    def shown(self, now_mono_s: float) -> dict[str, Any]:
        """Return how the measurement stands, for the snapshot.

        ``measuring`` while one runs, ``why`` when one has ended by itself.
        """
        child, kind = self._child, self._kind
        if child is None:
            return {}
        if child.ended:
            return {"why": child.why} if child.why else {}
        since_s = now_mono_s - child.begun_mono_s
        return {
            "measuring": {
                "state": "waiting",
                **(child.fields or {}),
                "kind": kind,
                "age_s": round(now_mono_s - child.fields_mono_s, 2),
                "for_s": round(since_s, 1),
                "lost_blocks": child.lost_count or None,
            }
        }
