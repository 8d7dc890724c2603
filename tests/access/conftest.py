"""A house to break into, for each test its own."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.access.house import House


@pytest.fixture
def build(tmp_path: Path) -> Iterator[Callable[..., House]]:
    built: list[House] = []

    def make(*words: str) -> House:
        for before in built:
            before.close()
        built.append(House(tmp_path, *words))
        return built[-1]

    yield make
    for one in built:
        one.close()


@pytest.fixture
def house(build: Callable[..., House]) -> House:
    return build()
