"""Logging to stderr: transitions only, with the service manager's priorities when it listens.

Nobody who logs waits for whoever reads stderr: a stopped terminal or a slow log service must not
hold up the listening.
"""

from __future__ import annotations

import contextlib
import logging
import os
import queue
import sys
import threading

MOST_LINES = 500
"""Waiting to be written; what comes on top is counted and left out."""
LAST_WORDS_S = 1.0
"""At the end, what waits has so long to be written."""

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


class _Unhurried(logging.Handler):
    """Takes lines in at once; a thread of its own writes them to a descriptor.

    Not through ``sys.stderr``: whoever else writes there, and the interpreter as it ends, would
    wait for its lock while the thread waits for a reader.
    """

    def __init__(self, descriptor: int) -> None:
        super().__init__()
        self._descriptor = descriptor
        self._lines: queue.Queue[str | None] = queue.Queue(MOST_LINES)
        self._lost_count = 0
        self._thread = threading.Thread(target=self._run, name="log", daemon=True)
        self._thread.start()

    def emit(self, record: logging.LogRecord) -> None:
        """Have a line written, or count it while too many wait."""
        try:
            line = self.format(record)
        except Exception as error:  # a mistake in a line must not end the listening
            line = f"a line of the log could not be made ({error}): {record.msg!r}"
        try:
            self._lines.put_nowait(line)
        except queue.Full:
            self._lost_count += 1

    def close(self) -> None:
        """Give what waits ``LAST_WORDS_S`` to be written; ``logging`` calls it at the end."""
        try:
            self._lines.put_nowait(None)
        except queue.Full:
            pass  # nobody reads: there is nothing to wait for
        else:
            self._thread.join(LAST_WORDS_S)
        super().close()

    def _run(self) -> None:
        told = 0
        while (line := self._lines.get()) is not None:
            self._write(line)
            if self._lost_count > told:
                lost, told = self._lost_count - told, self._lost_count
                self._write(self.format(_left_out(lost)))

    def _write(self, line: str) -> None:
        left = f"{line}\n".encode(errors="backslashreplace")
        with contextlib.suppress(OSError):  # whoever read it has gone
            while left:
                left = left[os.write(self._descriptor, left) :]


def _left_out(count: int) -> logging.LogRecord:
    text = "%d lines of the log were left out: nobody read it"
    return logging.LogRecord(__name__, logging.WARNING, __file__, 0, text, (count,), None)


def set_up() -> None:
    """Send everything from INFO up to stderr; no time stamps, the journal has its own."""
    managed = "INVOCATION_ID" in os.environ or "JOURNAL_STREAM" in os.environ
    formatter = (
        _WithPriority("%(message)s") if managed else logging.Formatter("howl-lantern: %(message)s")
    )
    handler = _Unhurried(sys.stderr.fileno())
    handler.setFormatter(formatter)
    logging.basicConfig(level=logging.INFO, handlers=[handler], force=True)
