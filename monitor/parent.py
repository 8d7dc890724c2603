"""A child process that must not outlive its parent."""

from __future__ import annotations

import os
import signal
import threading
import time

PARENT_LOOK_S = 1.0


def end_with_parent(parent: int) -> None:
    """End this process once ``parent`` is no longer its parent, however that one died."""

    def watch_parent() -> None:
        while os.getppid() == parent:
            time.sleep(PARENT_LOOK_S)
        os.kill(os.getpid(), signal.SIGTERM)

    threading.Thread(target=watch_parent, name="parent", daemon=True).start()
