"""Reading a file that somebody named: never more of it than it can sensibly hold."""

from __future__ import annotations

import errno
from pathlib import Path


def read_within(path: Path, most_bytes: int) -> bytes:
    """Return all that is in a file.

    Raises
    ------
    OSError
        If it cannot be read, or holds more than that (EFBIG).
    """
    with path.open("rb") as file:
        content = file.read(most_bytes + 1)
    if len(content) > most_bytes:
        raise OSError(errno.EFBIG, f"more than {most_bytes} bytes", str(path))
    return content
