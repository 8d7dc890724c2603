"""A small file for what a restart must not lose: the advice with its ring-out, the soundcheck.

Written whole and renamed into place, so that a pulled plug leaves the old or the new one, and
only when something has changed: a memory card wears out.  A file that cannot be read or understood
is put aside under another name and never written over.
"""

from __future__ import annotations

import json
import logging
import os
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from monitor.busy import Busy
from monitor.clock import Now
from monitor.link.messages import strict_json

LOG = logging.getLogger(__name__)

VERSION = 1
OLDEST_S = 12 * 3600.0
"""From a soundcheck in the afternoon to the end of the night; the next evening begins afresh."""
MOST_ASIDE = 9


@dataclass(frozen=True, slots=True)
class Kept:
    """What was kept, when, and how long ago; ``age_s`` is None if no clock can tell."""

    content: dict[str, Any]
    written: Now
    age_s: float | None

    @property
    def is_of_this_evening(self) -> bool | None:
        """Whether it is of this evening; None if nobody can know."""
        return None if self.age_s is None else 0.0 <= self.age_s < OLDEST_S


class KeptFile:
    """One JSON file at ``path``; whatever the disk does, nothing here raises.

    Parameters
    ----------
    path : Path
        Where it is; the folder is made.
    key : str
        What the content is called in the file.
    what : str
        What is lost without it, for people: "the ring-out".
    private : bool
        Whether nobody but its owner may read it, not even the page, which has the same group.

    Attributes
    ----------
    problem : str
        What went wrong at the last writing and what to do; empty if nothing did.
    aside : str
        What was put aside because it could not be used, for as long as this runs.
    """

    def __init__(self, path: Path, *, key: str, what: str, private: bool = False) -> None:
        self._path = path
        self._mode = 0o600 if private else 0o666
        self._key = key
        self._what = what
        self._written = ""
        self._is_ours = True
        self._busy = Busy()
        self.problem = ""
        self.aside = ""

    def read(self, now: Now) -> Kept | None:
        """Return what was kept, however old; None if there is nothing."""
        try:
            with self._busy:
                text = self._path.read_text(encoding="utf-8")
            content = strict_json(text)
            written = Now.of_kept(content["written"])
            kept = content[self._key]
            if content["version"] != VERSION or not isinstance(kept, dict):
                raise ValueError(f"version {content['version']!r:.40}")
            self._written = _text(kept)
        except FileNotFoundError:
            return None
        except OSError as error:
            self.put_aside(f"cannot be read: {error.strerror}")
            return None
        except (ValueError, KeyError, TypeError, RecursionError) as error:
            self.put_aside(f"not what was written here ({error})")
            return None
        return Kept(kept, written, age_s(written, now))

    def put_aside(self, why: str) -> None:
        """Keep the file under another name, so that it can be looked at, and say so."""
        self._written = ""
        try:
            there = self._free_name()
            self._path.rename(there)
        except OSError as error:
            self._is_ours = False
            self.aside = (
                f"{self._path}: {why}, and it cannot be put aside: {error.strerror}; "
                f"{self._what} is not kept until it is moved away by hand"
            )
        else:
            self.aside = f"{self._path}: {why}; kept as {there.name}, {self._what} begun anew"
        LOG.error("%s", self.aside)

    def write(self, content: Mapping[str, Any], now: Now) -> bool:
        """Keep it if it has changed; return whether it is on the disk."""
        text = _text(content)
        if text == self._written:
            return True
        whole = {"version": VERSION, "written": asdict(now), self._key: content}
        try:
            with self._busy:
                if not self._is_ours and self._path.exists():
                    return False
                write_surely(self._path, _text(whole), mode=self._mode)
        except OSError as error:
            self.problem = (
                f"{self._what} cannot be kept for a restart: {error.strerror}; "
                f"make room in {self._path.parent} or let it be written"
            )
            return False
        self._written, self.problem = text, ""
        return True

    @property
    def trouble(self) -> str:
        """All there is to say against it, one line; empty if nothing.  From any thread."""
        hangs = f"the card does not answer, and {self._what} waits for it; the card may be failing"
        troubles = (hangs if self._busy.for_long else "", self.problem, self.aside)
        return "; ".join(filter(None, troubles))

    def _free_name(self) -> Path:
        """The newest takes the last name where all are taken: nobody looked at the others."""
        names = [
            self._path.with_name(f"{self._path.name}.aside{n or ''}") for n in range(MOST_ASIDE)
        ]
        return next((name for name in names if not name.exists()), names[-1])


def write_surely(path: Path, text: str, *, mode: int = 0o666) -> None:
    """Write a text so that a pulled plug leaves the old file or the new one; makes the folder.

    Once this has returned it is the new one.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    beside = path.with_name(path.name + ".new")
    path.parent.mkdir(parents=True, exist_ok=True)
    beside.unlink(missing_ok=True)  # an old one keeps its own rights
    descriptor = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    with os.fdopen(descriptor, "w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)
    folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(folder)  # the new name is on the disk only with its folder (fsync(2))
    finally:
        os.close(folder)


def _text(content: Mapping[str, Any]) -> str:
    return json.dumps(content, allow_nan=False, sort_keys=True)


def age_s(written: Now, now: Now) -> float | None:
    """Return how long ago it was written; None if no clock can tell.

    Across boots only dates that were set from the network can be compared.
    """
    if written.boot_id == now.boot_id:
        return now.uptime_s - written.uptime_s
    if written.clock_trusted and now.clock_trusted:
        return now.utc_s - written.utc_s
    return None
