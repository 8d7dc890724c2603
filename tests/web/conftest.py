"""A small phone's browser, and a link whose words the test decides."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.browser import browser
from tests.web.screenshots import StillClient


@pytest.fixture(scope="module")
def window() -> Iterator[Any]:
    with browser(360, 640) as driver:
        yield driver


@pytest.fixture
def link() -> Iterator[StillClient]:
    client = StillClient()
    yield client
    client.close()  # ends the streams, so that the server's threads end
