"""Logging to stderr: transitions only, with the service manager's priorities when it listens."""

from __future__ import annotations

import logging
import os
import sys
from collections.abc import Mapping

_PRIORITIES = {
    logging.CRITICAL: 2,
    logging.ERROR: 3,
    logging.WARNING: 4,
    logging.INFO: 6,
    logging.DEBUG: 7,
}


class _WithPriority(logging.Formatter):
    """Puts ``<n>`` before every line, also those of a traceback (sd-daemon(3))."""

    def format(self, record: logging.LogRecord) -> str:
        prefix = f"<{_PRIORITIES.get(record.levelno, 6)}>"
        return "\n".join(prefix + line for line in super().format(record).splitlines())


def set_up(environ: Mapping[str, str] = os.environ) -> None:
    """Send everything from INFO up to stderr; no time stamps, the journal has its own."""
    handler = logging.StreamHandler(sys.stderr)
    managed = "INVOCATION_ID" in environ or "JOURNAL_STREAM" in environ
    handler.setFormatter(
        _WithPriority("%(message)s") if managed else logging.Formatter("howl-lantern: %(message)s")
    )
    logging.basicConfig(level=logging.INFO, handlers=[handler], force=True)
