"""The watcher as a whole in a thread of the test: played hardware, real listening and link."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from monitor import hearing, watch
from monitor import start as start_module
from monitor.link.client import LinkClient
from monitor.link.messages import Message
from monitor.settings import load
from tests.core.stand_ins import RATE_HZ, FakeLamp, FakePanel, FakeSource, FakeSupervisor
from tests.waiting import awaited

BLOCK = 1024
NOWHERE = {"HOME": "/nonexistent"}
PATIENCE_S = 20.0


def unhurried(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a watcher take the end of the sound for quiet, and wait for what was kept.

    A test gives all sound at once and then none.  After a second of that a watcher is deaf, and
    what rang has ended: what a test looks for would be gone after a stall of its own thread.
    """
    monkeypatch.setattr(hearing, "NO_BLOCK_S", 60.0)
    monkeypatch.setattr(hearing, "SILENCE_S", 60.0)
    monkeypatch.setattr(start_module, "START_S", PATIENCE_S)


class PatientClient(LinkClient):
    """A client that gives a busy machine more time for an answer than the page does."""

    def request(self, command: Mapping[str, Any], timeout_s: float = PATIENCE_S) -> Message:
        return super().request(command, timeout_s)


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
        self.client = PatientClient(self.socket)
        self.events = self.client.subscribe()
        awaited(lambda: self.client.latest is not None or self.error is not None, PATIENCE_S)

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

    def wait_for(
        self, true: Callable[[dict[str, Any]], object], timeout_s: float = PATIENCE_S
    ) -> dict[str, Any]:
        """The first snapshot of which it is true; what was so may have passed in the next one."""

        def found() -> dict[str, Any] | None:
            snapshot = self.snapshot()
            return snapshot if true(snapshot) else None

        snapshot = awaited(found, timeout_s)
        assert snapshot is not None
        return snapshot

    def close(self) -> None:
        self.client.close()
        self.stop.set()
        self._thread.join(timeout=PATIENCE_S)
        assert not self._thread.is_alive()
