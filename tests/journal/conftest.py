"""A journal with a clock set by hand, and a small disk for it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.disks import CannotMount, small_disk
from tests.journal.telling import Told


@pytest.fixture
def told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Told]:
    monkeypatch.setattr("monitor.journal.store.BATCH_S", 0.02)  # a test tells one after the other
    told = Told(tmp_path / "journal.sqlite3", box="lamp")
    yield told
    told.close()


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    try:
        with small_disk(tmp_path / "disk", 400) as disk:
            yield disk
    except CannotMount as error:
        pytest.skip(str(error))
