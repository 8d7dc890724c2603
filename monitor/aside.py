"""What is done beside the listening may fail: that is said, and the listening goes on.

A mistake of ours in a face or a snapshot would otherwise end the watcher, and again after each
restart.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable

LOG = logging.getLogger(__name__)

SAID_EVERY_S = 60.0
"""What fails ten times a second is written down with its traceback only so often."""


class Aside:
    """``with aside("the panel"):`` ends there what fails in it; for one thread at a time.

    Parameters
    ----------
    clock : callable
        Monotonic seconds.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._failing: dict[str, str] = {}
        self._said_mono_s: dict[str, float] = {}

    def __call__(self, what: str) -> _Try:
        """Try what is in the block; an exception leaves the rest of it out, and nothing else."""
        return _Try(self, what)

    def health(self) -> str:
        """Return "ok", or one sentence that says what failed when it was last tried."""
        failing = list(self._failing.values())
        return f"{'; '.join(failing)}; switch the box off and on if this stays" if failing else "ok"

    def ended(self, what: str, error: Exception | None) -> None:
        """Note how a block ended."""
        if error is None:
            self._failing.pop(what, None)
            return
        self._failing[what] = f"{what} failed ({error!r})"
        now_mono_s = self._clock()
        if now_mono_s >= self._said_mono_s.get(what, now_mono_s):
            self._said_mono_s[what] = now_mono_s + SAID_EVERY_S
            LOG.error("%s failed; the listening goes on", what, exc_info=error)


class _Try:
    def __init__(self, aside: Aside, what: str) -> None:
        self._aside = aside
        self._what = what

    def __enter__(self) -> None:
        pass

    def __exit__(self, _kind: object, error: BaseException | None, _trace: object) -> bool:
        if error is not None and not isinstance(error, Exception):
            return False
        self._aside.ended(self._what, error)
        return True
