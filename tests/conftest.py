"""What holds for all tests."""

from __future__ import annotations

import pytest


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the longest file: several processes share them, and it must not be the last."""
    items.sort(key=lambda item: "test_end_to_end" not in item.nodeid)
