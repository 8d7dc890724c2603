"""The last settings file that could be used: a mistake in it must not silence the box at a gig.

A service that finds its file broken goes on with the last good one and says so wherever it can;
a person at a terminal gets the mistake instead, and nothing starts.
"""

from __future__ import annotations

import logging
import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from monitor import settings
from monitor.errors import SettingsError
from monitor.kept_file import write_surely
from monitor.settings import Loaded

LOG = logging.getLogger(__name__)

KEPT_NAME = "settings.good.toml"
FOLDER_VARIABLE = "HOWL_LANTERN_STATE"
"""Set in both units: the folder of the last good settings.  Without it there are none."""


def service_folder() -> Path | None:
    """Return where a service keeps its last good settings, None at a person's terminal."""
    given = os.environ.get(FOLDER_VARIABLE)
    return Path(given) if given else None


def load_for_service(kept_in: Path, *, environ: Mapping[str, str] | None = None) -> Loaded:
    """Read the settings, or the last good ones where they have a mistake.

    Parameters
    ----------
    kept_in : Path
        The folder of the last good file; ``keep`` writes it.
    environ : mapping, optional
        ``os.environ`` by default.

    Returns
    -------
    Loaded
        ``mistakes`` holds what is wrong with the file if the last good one stands in for it.

    Raises
    ------
    SettingsError
        If they have a mistake and no good file was kept, or that one has one too by now.
    """
    try:
        return settings.load(environ=environ)
    except SettingsError as error:
        kept = kept_in / KEPT_NAME
        if not kept.is_file():
            raise
        try:
            loaded = settings.load(kept, environ=environ)
        except SettingsError:
            raise error from None  # what the person wrote is what the person can correct
        return replace(loaded, mistakes=tuple(error.problems))


def keep(kept_in: Path, text: str) -> None:
    """Keep what the settings file said that is in use; never raises.

    Not the file as it is by now: it may have a mistake already.  Written only where it differs: a
    memory card wears out.
    """
    kept = kept_in / KEPT_NAME
    try:
        if kept.is_file() and kept.read_bytes() == text.encode():
            return
        write_surely(kept, text)
    except OSError as error:
        LOG.warning("the settings in use cannot be kept as the last good ones: %s", error)


def health(mistakes: tuple[str, ...]) -> str:
    """Return "ok", or one line that says what stands in for what and what to do."""
    if not mistakes:
        return "ok"
    more = f" (and {len(mistakes) - 1} more)" if len(mistakes) > 1 else ""
    return f"the last good settings are used: {mistakes[0]}{more}; correct that and restart"
