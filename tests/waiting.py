"""Waiting for what comes by itself."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TypeVar

import pytest

_T = TypeVar("_T")


def awaited(
    condition: Callable[[], _T],
    within_s: float = 20.0,
    what: str = "",
    *,
    forgive: tuple[type[BaseException], ...] = (),
) -> _T:
    """The first true value of ``condition``; the test fails when none comes ``within_s``.

    What it raises of ``forgive`` is as good as nothing.
    """
    stop_mono_s = time.monotonic() + within_s
    while True:
        try:
            if value := condition():
                return value
        except forgive:
            pass  # asked again
        if time.monotonic() > stop_mono_s:
            pytest.fail(f"not within {within_s:g} s{': ' if what else ''}{what}")
        time.sleep(0.01)
