"""How many of something, in words."""

from __future__ import annotations

from monitor.counted import counted


def test_one_is_said_without_an_s() -> None:
    # English: only one is singular, nothing and more than one are plural.
    assert [counted(count, "ring") for count in (0, 1, 2)] == ["0 rings", "1 ring", "2 rings"]
