"""A small phone's browser, and a link whose words the test decides."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.browser import browser, resize
from tests.web.evening import EveningClient
from tests.web.looking import visited
from tests.web.screenshots import StillClient

PHONE, DESK = (360, 640), (1280, 800)

both_sizes = pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
"""For what is somewhere on the page.  What a tap does is the same in every window."""


@pytest.fixture(scope="module")
def window() -> Iterator[Any]:
    with browser(*PHONE) as driver:
        yield driver


@pytest.fixture
def link() -> Iterator[StillClient]:
    client = StillClient()
    yield client
    client.close()  # ends the streams, so that the server's threads end


@pytest.fixture
def evening() -> Iterator[EveningClient]:
    """A link whose watcher keeps a soundcheck."""
    client = EveningClient()
    yield client
    client.close()


@pytest.fixture
def size() -> tuple[int, int]:
    """A small phone's, unless a test asks for ``both_sizes``."""
    return PHONE


@pytest.fixture
def served(size: tuple[int, int], window: Any, evening: EveningClient) -> Iterator[str]:
    """The evening's page for a window of this size: its address, and nothing open at either end."""
    resize(window, *size)
    with visited(window, evening) as url:
        yield url
    resize(window, *PHONE)
