"""What a command prints: in whatever a terminal can show, and no longer than somebody reads."""

from __future__ import annotations

import errno
import io
import os
import sys
from pathlib import Path

_NO_OUTPUT = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO)
"""What a full disk, a full quota or a broken device says to what is printed."""


def make_printable() -> None:
    """Let every name be printed wherever it goes, and have something to print to."""
    if sys.stdout is None:
        sys.stdout = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")  # as stderr does it


def is_output_lost(error: OSError) -> bool:
    """Return whether an error is that of the output, and of no file that somebody named."""
    return error.errno in _NO_OUTPUT and error.filename is None


def say_no_more() -> None:
    """What is still to be printed goes nowhere; Python would complain once more at exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
