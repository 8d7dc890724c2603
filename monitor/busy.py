"""Whether somebody has been at something for so long that it may never end.

A failing card or a bus that hangs gives no error: the call does not return, and nothing else would
ever say that something is wrong.
"""

from __future__ import annotations

import time

LONG_S = 10.0
"""A slow card takes seconds, and whoever waits for it is told after eight."""


class Busy:
    """Enter it around what may hang, in one thread at a time; ``for_long`` may be asked by any."""

    def __init__(self) -> None:
        self._since_mono_s: float | None = None

    def __enter__(self) -> None:
        self._since_mono_s = time.monotonic()

    def __exit__(self, *_: object) -> None:
        self._since_mono_s = None

    @property
    def for_long(self) -> bool:
        """Whether it has lasted for more than ``LONG_S``."""
        since_mono_s = self._since_mono_s
        return since_mono_s is not None and time.monotonic() - since_mono_s > LONG_S
