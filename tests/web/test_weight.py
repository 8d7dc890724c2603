"""What the page weighs: little for the live view, little in all, and nothing from elsewhere."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

import web
from tests.waiting import awaited
from tests.web.looking import script
from tests.web.screenshots import StillClient, page_server
from tests.web.states import STATES
from web.app import create_app

STATIC = Path(web.__file__).parent / "static"
MOST_BYTES = 150_000
STILL = r'(?:from|import) "\./([\w.-]+)"'
LATER = r'import\("\./([\w.-]+)"\)'
PAPER = {"paper.css"}
"""The sheet of paper is a page of its own."""


@pytest.fixture
def phone() -> Iterator[FlaskClient]:
    link = StillClient()
    link.hold(STATES["quiet"])
    yield create_app(link).test_client()
    link.close()


@pytest.fixture(scope="module")
def files() -> dict[str, str]:
    return {path.name: path.read_text(encoding="utf-8") for path in STATIC.iterdir()}


def closure(names: set[str], files: dict[str, str], *patterns: str) -> set[str]:
    """The files that these lead to, by imports of the given kinds, and themselves."""
    found: set[str] = set()
    while names:
        name = names.pop()
        found.add(name)
        for pattern in patterns:
            names |= set(re.findall(pattern, files[name])) - found
    return found


def first_files(html: str, files: dict[str, str]) -> set[str]:
    """What a browser fetches before it shows the live view."""
    return closure(set(re.findall(r'/static/([\w.-]+)"', html)), files, STILL)


def sent_bytes(phone: FlaskClient, path: str) -> int:
    """How many bytes a phone is sent for a path."""
    with phone.get(path, headers={"Accept-Encoding": "gzip, deflate"}) as answer:
        assert answer.status_code == 200, path
        return len(answer.data)


def test_the_live_view_is_small_as_it_is(phone: FlaskClient, files: dict[str, str]) -> None:
    html = phone.get("/").get_data(as_text=True)
    first = first_files(html, files)
    assert {"main.js", "view.js", "lantern.css"} <= first
    assert first & {"place.js", "trainer.js", "after.js", "pairing.js"} == set()
    weight = len(html.encode()) + sum(len(files[name].encode()) for name in first)
    assert weight <= MOST_BYTES, weight


def test_all_of_the_page_is_small_as_it_is_sent(phone: FlaskClient, files: dict[str, str]) -> None:
    html = phone.get("/").get_data(as_text=True)
    every = closure(first_files(html, files), files, STILL, LATER)
    assert set(files) - every == PAPER  # nothing is shipped that nobody fetches
    weight = sent_bytes(phone, "/") + sum(sent_bytes(phone, f"/static/{name}") for name in every)
    plain = len(html.encode()) + sum(len(files[name].encode()) for name in every)
    assert weight < plain / 2  # packed, or this counts something else
    assert weight <= MOST_BYTES, weight


def test_what_the_live_view_needs_is_asked_for_at_once(
    phone: FlaskClient, files: dict[str, str]
) -> None:
    """A script that another names is known only when that has come: a way there and back each."""
    html = phone.get("/").get_data(as_text=True)
    named = set(re.findall(r'rel="modulepreload" href="/static/([\w.-]+)"', html))
    scripts = {name for name in first_files(html, files) if name.endswith(".js")}
    assert named == scripts - {"main.js"}


def test_nothing_is_asked_of_the_outside(phone: FlaskClient, files: dict[str, str]) -> None:
    html = phone.get("/").get_data(as_text=True)
    for name, words in {"page.html": html, **files}.items():
        outside = set(re.findall(r"(?:https?:)?//[\w.]+\.\w+[^\s\"']*", words))
        outside.discard("http://www.w3.org/2000/svg")  # the name of SVG, which nobody fetches
        assert not outside, name
    assert not re.search(r"<script(?![^>]*\bsrc=)", html)
    assert not re.search(r"\son\w+=|style=", html)


def requested(driver: Any) -> list[str]:
    return list(script(driver, "performance.getEntriesByType('resource').map((one) => one.name)"))


def test_a_browser_brings_the_rooms_when_the_live_view_stands(
    window: Any, link: StillClient, files: dict[str, str]
) -> None:
    link.hold(STATES["quiet"])
    with page_server(link) as url:
        window.get("about:blank")
        window.get(url)

        def scripts() -> set[str]:
            return {name.rsplit("/", 1)[1] for name in requested(window) if name.endswith(".js")}

        rooms = {"place.js", "level.js", "ringout.js", "after.js", "trainer.js"}
        assert awaited(lambda: rooms <= scripts(), 30.0), scripts()
        assert scripts() <= set(files)
        assert all(name.startswith(url) for name in requested(window))
        window.get("about:blank")
        link.close()
