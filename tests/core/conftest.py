"""Watchers of a test's own, which are ended with it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.core.running import Running, unhurried


@pytest.fixture
def start(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., Running]]:
    unhurried(monkeypatch)
    opened: list[Running] = []

    def begin(*options: str, **changes: Any) -> Running:
        opened.append(Running(tmp_path, *options, **changes))
        return opened[-1]

    yield begin
    for running in opened:
        running.close()
