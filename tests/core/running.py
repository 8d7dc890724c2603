"""The watcher as a whole in a thread of the test: played hardware, real listening and link."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from monitor import watch
from monitor.link.client import LinkClient
from monitor.settings import load
from tests.core.stand_ins import RATE_HZ, FakeLamp, FakePanel, FakeSource, FakeSupervisor
from tests.waiting import awaited

BLOCK = 1024
NOWHERE = {"HOME": "/nonexistent"}


class Running:
    """A watcher in a thread, with all its stand-ins and a client on its link."""

    def __init__(self, folder: Path, *options: str, **changes: Any) -> None:
        self.source = FakeSource()
        self.lamp = FakeLamp()
        self.panel = FakePanel()
        self.supervisor = FakeSupervisor()
        self.stop = threading.Event()
        self.error: BaseException | None = None
        self.socket = folder / "link.sock"
        parts: dict[str, Any] = {
            "open_source": lambda _: self.source,
            "lamp_opener": lambda _: self.lamp,
            "panel_opener": lambda _: self.panel,
            "supervisor": self.supervisor,
            "socket_path": self.socket,
            "journal_path": folder / "journal.sqlite3",
            **changes,
        }
        self._settings = load(None, options, environ=NOWHERE).settings
        self._parts = parts
        self._thread = threading.Thread(target=self._run)
        self._thread.start()
        self.client = LinkClient(self.socket)
        self.events = self.client.subscribe()
        awaited(lambda: self.client.latest is not None or self.error is not None)

    def _run(self) -> None:
        try:
            watch.run(self._settings, self.stop, **self._parts)
        except BaseException as error:
            self.error = error

    def play(self, samples: np.ndarray, *, paced: bool = False, **changes: Any) -> None:
        began = time.monotonic()
        for start in range(0, len(samples), BLOCK):
            if paced:
                due = began + (start + BLOCK) / RATE_HZ
                time.sleep(max(0.0, due - time.monotonic()))
            self.source.give(samples[start : start + BLOCK], **changes)

    def snapshot(self) -> dict[str, Any]:
        latest = self.client.latest
        assert latest is not None
        return latest.snapshot

    def wait_for(self, true: Callable[[dict[str, Any]], bool], timeout_s: float = 8.0) -> None:
        awaited(lambda: true(self.snapshot()), timeout_s)

    def close(self) -> None:
        self.client.close()
        self.stop.set()
        self._thread.join(timeout=10.0)
        assert not self._thread.is_alive()
