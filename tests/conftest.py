"""What holds for all tests."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, settings

# Otherwise an example may take 0.2 s and the making of some a second: on a busy machine one does.
settings.register_profile(
    "busy machine", deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("busy machine")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the longest file: several processes share them, and it must not be the last."""
    items.sort(key=lambda item: "test_end_to_end" not in item.nodeid)
