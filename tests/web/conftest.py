"""A small phone's browser, and a link whose words the test decides."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.browser import browser, resize
from tests.web.evening import EveningClient
from tests.web.screenshots import StillClient, page_server

SIZES = [(360, 640), (1280, 800)]


@pytest.fixture(scope="module")
def window() -> Iterator[Any]:
    with browser(360, 640) as driver:
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


@pytest.fixture(params=SIZES, ids=["phone", "desk"])
def served(request: pytest.FixtureRequest, window: Any, evening: EveningClient) -> Iterator[str]:
    """The evening's page for a window of each size: its address, and nothing open at either end."""
    resize(window, *request.param)
    with page_server(evening) as url:
        window.get("about:blank")
        yield url
        window.get("about:blank")
        evening.close()
    resize(window, 360, 640)
