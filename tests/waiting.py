"""Waiting for what comes by itself."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import pytest

from firmware.fakes import wait_until

_T = TypeVar("_T")


def awaited(
    condition: Callable[[], _T],
    within_s: float = 10.0,
    what: str = "",
    *,
    forgive: tuple[type[BaseException], ...] = (),
) -> _T:
    """The first true value of ``condition``; the test fails when none comes ``within_s``.

    What it raises of ``forgive`` is as good as nothing.
    """
    found: list[_T] = []

    def holds() -> bool:
        try:
            found[:] = [condition()]
        except forgive:
            return False
        return bool(found[0])

    if not wait_until(holds, within_s=within_s):
        pytest.fail(f"not within {within_s:g} s{': ' if what else ''}{what}")
    return found[0]
