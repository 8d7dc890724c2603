"""Every benchmark can be started: what it imports is there."""

from __future__ import annotations

import importlib
from pathlib import Path

import pytest

BENCH = Path(__file__).parents[1] / "bench"
MODULES = sorted(
    ".".join(("tests", "bench", *path.relative_to(BENCH).with_suffix("").parts))
    for path in BENCH.rglob("*.py")
    if not path.name.startswith("__")
)


@pytest.mark.parametrize("name", MODULES)
def test_it_loads(name: str) -> None:
    try:
        importlib.import_module(name)
    except ModuleNotFoundError as missing:
        # A library that only this benchmark wants; what is our own must be there.
        if (missing.name or "").split(".")[0] in ("monitor", "firmware", "web", "tests"):
            raise
        pytest.skip(f"needs {missing.name}")
