"""Rooms whose scripts come late or not at all: no tap is lost, and the person is told in time."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from typing import Any

import pytest
from flask import Flask, abort, request

from tests.waiting import awaited
from tests.web import screenshots
from tests.web.evening import EveningClient
from tests.web.looking import at_the_start, script, text, visited
from web.app import create_app


class Gate:
    """Holds one of the page's scripts back, or refuses it, once or as long as it is told to."""

    def __init__(self) -> None:
        self.script = ""
        self.refused = False
        self.refused_once = False
        self.opened = threading.Event()

    def app(self, client: Any, **more: Any) -> Flask:
        made = create_app(client, **more)

        @made.before_request
        def wait() -> None:
            if request.path == f"/static/{self.script}":
                if self.refused or self.refused_once:
                    self.refused_once = False
                    abort(404)
                self.opened.wait(60.0)

        return made


@pytest.fixture
def gate(monkeypatch: pytest.MonkeyPatch) -> Iterator[Gate]:
    made = Gate()
    monkeypatch.setattr(screenshots, "create_app", made.app)
    yield made
    made.opened.set()


@pytest.fixture
def url(window: Any, gate: Gate, evening: EveningClient) -> Iterator[str]:
    with visited(window, evening) as address:
        window.execute_cdp_cmd("Network.enable", {})
        window.execute_cdp_cmd("Network.setCacheDisabled", {"cacheDisabled": True})
        yield address
        gate.opened.set()
        window.execute_cdp_cmd("Network.setBlockedURLs", {"urls": []})
        window.execute_cdp_cmd("Network.setCacheDisabled", {"cacheDisabled": False})


def live(driver: Any) -> None:
    assert awaited(lambda: script(driver, "document.body.dataset.fresh") == "yes", 20.0)


def tap(driver: Any, selector: str) -> None:
    """A real press where the element is, whatever takes it."""
    x, y = driver.execute_script(
        "const e = document.querySelector(arguments[0]);"
        "e.scrollIntoView({ block: 'center', behavior: 'instant' });"
        "const b = e.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2];",
        selector,
    )
    for kind in ("mousePressed", "mouseReleased"):
        driver.execute_cdp_cmd(
            "Input.dispatchMouseEvent",
            {"type": kind, "x": x, "y": y, "button": "left", "clickCount": 1},
        )


COUNT = """
window.taps = 0;
document.addEventListener("click", ({ target }) => {
  if (target.id === arguments[0]) window.taps += 1;
}, true);
"""


def test_no_tap_is_lost_while_a_room_is_on_its_way(
    window: Any, url: str, gate: Gate, evening: EveningClient
) -> None:
    gate.script = "level.js"
    window.get(url)
    live(window)
    window.execute_script("location.hash = '#level'")
    window.execute_script(COUNT, "lv-main")
    shown = "document.getElementById('lv-main').checkVisibility()"
    assert awaited(lambda: bool(script(window, shown)), 10.0)
    for _ in range(5):
        tap(window, "#lv-main")
    assert script(window, "window.taps") == 0  # it takes none that nobody would hear
    assert script(window, "document.activeElement.id") != "level-title"
    assert awaited(lambda: "on its way" in text(window, "coming-words"), 20.0)
    assert script(window, "document.getElementById('coming-again').hidden")
    gate.opened.set()

    def taken() -> bool:
        tap(window, "#lv-main")
        return bool(script(window, "window.taps > 0"))

    assert awaited(taken, 20.0)
    # The first tap that the button took was heard.
    assert awaited(lambda: evening.measuring == "line", 10.0), evening.asked
    assert script(window, "document.getElementById('coming').hidden")


def test_the_heading_has_the_focus_as_soon_as_the_room_is_there(
    window: Any, url: str, gate: Gate
) -> None:
    gate.script = "level.js"
    window.get(url)
    live(window)
    window.execute_script("location.hash = '#low-cut'")
    assert awaited(lambda: "on its way" in text(window, "coming-words"), 20.0)
    gate.opened.set()
    focused = "document.activeElement.id"
    assert awaited(lambda: script(window, focused) == "low-cut-title", 20.0)


def test_rooms_that_are_there_and_links_are_never_held(window: Any, url: str, gate: Gate) -> None:
    gate.script = "level.js"
    window.get(url + "#place")
    live(window)
    inert = "[...document.querySelectorAll('[inert]')].map((e) => e.id)"
    assert awaited(lambda: "place-room" not in script(window, inert), 20.0)
    room = "document.body.dataset.room"
    window.execute_script("location.hash = '#level'")
    assert awaited(lambda: script(window, room) == "level")
    # The strip of steps is served by what Place has brought already.
    held = script(window, inert)
    assert "level-room" in held
    assert not {"strip", "gig", "doors"} & set(held)
    window.execute_script("location.hash = '#set'")
    assert awaited(lambda: script(window, room) == "set")
    assert script(window, "document.getElementById('coming').hidden")
    visible = "[...document.querySelectorAll('[inert]')].filter((e) => e.checkVisibility()).length"
    assert script(window, visible) == 0


def test_nothing_is_taken_before_the_first_script_listens(window: Any, url: str) -> None:
    window.execute_cdp_cmd("Network.setBlockedURLs", {"urls": ["*/static/main.js"]})
    window.get(url)
    tap(window, "#ways input[value='soundcheck']")
    assert not script(window, "document.querySelector('#ways input[value=soundcheck]').checked")
    window.execute_cdp_cmd("Network.setBlockedURLs", {"urls": []})
    window.get(url)
    live(window)
    assert script(window, "document.querySelectorAll('main[inert]').length") == 0


TOLD = """
window.told = [];
new MutationObserver(() => {
  const words = document.getElementById("coming-words")?.textContent;
  if (words && words !== told.at(-1)) told.push(words);
}).observe(document, { subtree: true, childList: true, characterData: true });
"""
"""What was said of a room on its way, however short."""


def test_a_room_that_does_not_come_is_said_and_asked_for_again(
    window: Any, url: str, gate: Gate
) -> None:
    gate.script, gate.refused_once = "trainer.js", True
    gate.opened.set()
    with at_the_start(window, TOLD):
        window.get(url + "#ears")
    levels = "document.querySelectorAll('#ears-levels input').length"
    assert awaited(lambda: script(window, levels) > 0, 20.0)
    assert "this room did not come, trying again" in script(window, "window.told")
    assert script(window, "document.getElementById('coming').hidden")


def test_at_last_the_person_is_asked_and_the_page_loaded_anew(
    window: Any, url: str, gate: Gate
) -> None:
    gate.script, gate.refused = "trainer.js", True
    window.get(url + "#ears")
    live(window)
    again = "document.getElementById('coming-again')"
    assert awaited(lambda: script(window, f"{again}.checkVisibility()"), 20.0)
    assert text(window, "coming-words") == "this room does not come"
    # A browser may keep the failure in mind; then only a new page asks again.
    window.execute_script("window.before = true")
    tap(window, "#coming-again")
    assert awaited(lambda: not script(window, "Boolean(window.before)"), 20.0)
    assert awaited(lambda: script(window, f"{again}.checkVisibility()"), 30.0)
    gate.refused = False
    gate.opened.set()
    tap(window, "#coming-again")
    levels = "document.querySelectorAll('#ears-levels input').length"
    assert awaited(lambda: script(window, levels) > 0, 20.0)
    assert awaited(lambda: script(window, "document.activeElement.id") == "ears-title", 10.0)


def test_a_room_that_was_left_and_entered_while_it_came_is_opened_once(
    window: Any, url: str, gate: Gate
) -> None:
    gate.script = "gigs.js"
    window.get(url)
    live(window)
    window.execute_script(
        "window.rooms = []; document.addEventListener('room', ({ detail }) => rooms.push(detail))"
    )
    for name in ("after", "set", "after"):
        window.execute_script("location.hash = arguments[0]", f"#{name}")
        assert awaited(lambda: script(window, "document.body.dataset.room") == name)  # noqa: B023
    gate.opened.set()
    assert awaited(lambda: "after" in script(window, "window.rooms"), 20.0)
    window.execute_script("location.hash = '#set'")
    assert awaited(lambda: script(window, "window.rooms").count("set") == 2, 10.0)
    assert script(window, "window.rooms") == ["set", "after", "set"]
