"""The advice's small file: how the desk stands and where the ring-out is, for after a restart.

Written whole and renamed into place, so that a pulled plug leaves the old or the new one, and
only when something has changed: a memory card wears out.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from monitor.journal.evening import Now

VERSION = 1
OLDEST_S = 12 * 3600.0
"""From a soundcheck in the afternoon to the end of the night; the next evening begins afresh."""


class KeptAdvice:
    """One JSON file at ``path``; whatever the disk does, nothing here raises.

    Attributes
    ----------
    problem : str
        What went wrong at the last reading or writing and what to do; empty if nothing did.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._written = ""
        self.problem = ""

    def read(self, now: Now) -> dict[str, Any] | None:
        """Return what was kept this evening; None if there is nothing of it."""
        try:
            content = json.loads(self._path.read_text(encoding="utf-8"))
            age_s = _age_s(Now(**content["written"]), now)
            advice = content["advice"]
            if content["version"] != VERSION or not isinstance(advice, dict):
                raise ValueError(f"version {content['version']!r}")
        except FileNotFoundError:
            return None
        except OSError as error:
            self.problem = f"{self._path}: cannot be read: {error.strerror}; the advice begins anew"
            return None
        except (ValueError, KeyError, TypeError) as error:
            self.problem = f"{self._path}: not what was written here ({error}); begun anew"
            return None
        if age_s is None or not 0.0 <= age_s < OLDEST_S:
            return None
        self._written = _text(advice)
        return advice

    def write(self, advice: Mapping[str, Any], now: Now) -> None:
        """Keep it if it has changed."""
        text = _text(advice)
        if text == self._written:
            return
        content = {"version": VERSION, "written": asdict(now), "advice": advice}
        beside = self._path.with_name(self._path.name + ".new")
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            with beside.open("w", encoding="utf-8") as file:
                file.write(_text(content))
                file.flush()
                os.fsync(file.fileno())
            beside.replace(self._path)
        except OSError as error:
            self.problem = (
                f"the ring-out cannot be kept for a restart: {error.strerror}; "
                f"make room in {self._path.parent} or let it be written"
            )
            return
        self._written, self.problem = text, ""


def _text(content: Mapping[str, Any]) -> str:
    return json.dumps(content, allow_nan=False, sort_keys=True)


def _age_s(written: Now, now: Now) -> float | None:
    """Return how long ago it was written; None if no clock can tell.

    Across boots only dates that were set from the network can be compared.
    """
    if written.boot_id == now.boot_id:
        return now.uptime_s - written.uptime_s
    if written.clock_trusted and now.clock_trusted:
        return now.utc_s - written.utc_s
    return None
