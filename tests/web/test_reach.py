"""The page without a pointer, without movement, magnified, and in the device's own colours."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.browser import resize
from tests.waiting import awaited
from tests.web.kept import HERON, KeptClient
from tests.web.looking import module, script, state, text, visited
from tests.web.states import STATES

ROOMS = ["place", "level", "ring-out", "set", "after", "ears"]

WALK = """
const e = document.activeElement;
const { left, top, right, bottom } = e.getBoundingClientRect();
// The rail is fixed: what has the focus must not hide behind it (WCAG 2.2, 2.4.11).
const over = document.elementFromPoint((left + right) / 2, (top + bottom) / 2);
const hidden = over?.closest('#rail') && !e.closest('#rail');
const style = getComputedStyle(e);
const ringed = parseFloat(style.outlineWidth) > 0 && style.outlineStyle !== 'none';
return [[...document.querySelectorAll('*')].indexOf(e), e.outerHTML.slice(0, 60),
  !hidden && (e.contains(over) || over?.contains(e)), ringed, e === document.body];
"""


@pytest.fixture
def box() -> Iterator[KeptClient]:
    client = KeptClient()
    client.venue = HERON
    yield client
    client.close()


@pytest.fixture
def url(window: Any, box: KeptClient) -> Iterator[str]:
    with visited(window, box) as address:
        yield address
        resize(window, 360, 640)
        for features in ([], [{"name": "prefers-color-scheme", "value": "dark"}]):
            window.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})


def enter(driver: Any, url: str, room: str) -> None:
    driver.get("about:blank")
    driver.get(f"{url}#{room}")
    assert awaited(lambda: script(driver, "document.body.dataset.fresh") == "yes", 10.0)
    assert awaited(lambda: script(driver, "document.body.dataset.room") == room, 10.0)
    asleep = "!!document.querySelector('[inert]:not([data-away])')"
    assert awaited(lambda: not script(driver, asleep), 20.0)
    if room == "after":
        assert awaited(lambda: "14 rings" in text(driver, "af-say"), 20.0)
    if room == "place":
        plan = "!!document.querySelector('#plan .thing')"
        assert awaited(lambda: bool(script(driver, plan)), 20.0)


def press(driver: Any, key: str, *, shift: bool = False) -> None:
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.keys import Keys

    chain = ActionChains(driver, duration=0)
    if shift:
        chain.key_down(Keys.SHIFT)
    chain.send_keys(getattr(Keys, key))
    if shift:
        chain.key_up(Keys.SHIFT)
    chain.perform()


@pytest.mark.parametrize("room", ["set", "after", "ring-out"])
def test_all_of_a_room_is_reached_by_the_keyboard_in_order_and_seen(
    window: Any, url: str, room: str
) -> None:
    enter(window, url, room)
    window.execute_script("document.getElementById('theme').focus()")
    places, hidden, bare = [], [], []
    for _ in range(80):
        press(window, "TAB")
        place, name, is_seen, has_ring, is_out = window.execute_script(WALK)
        if is_out or (places and place <= places[0]):
            break
        places.append(place)
        hidden += [] if is_seen else [name]
        bare += [] if has_ring else [name]
    assert len(places) >= 10
    assert places == sorted(places)
    assert hidden == []
    assert bare == []


def test_a_sheet_keeps_the_focus_and_gives_it_back(window: Any, url: str) -> None:
    enter(window, url, "set")
    window.execute_script("document.getElementById('gig-venue').focus()")
    press(window, "ENTER")
    inside = "document.getElementById('venue-sheet').contains(document.activeElement)"
    assert awaited(lambda: bool(script(window, inside)), 10.0)
    assert awaited(
        lambda: script(window, "document.querySelectorAll('#venue-list button').length") == 2, 10.0
    )
    page_behind = "document.querySelector('main').contains(document.activeElement)"
    for _ in range(8):
        press(window, "TAB")
        assert not script(window, page_behind)
    press(window, "ESCAPE")
    assert awaited(lambda: script(window, "document.activeElement.id") == "gig-venue", 10.0)


def test_a_room_is_entered_and_its_heading_has_the_focus(window: Any, url: str) -> None:
    enter(window, url, "set")
    window.execute_script("document.querySelector('#rail [data-room=after]').focus()")
    press(window, "ENTER")
    assert awaited(lambda: script(window, "document.activeElement.id") == "after-title", 10.0)


def test_a_state_that_comes_before_the_room_is_entered_keeps_its_focus(
    window: Any, url: str
) -> None:
    """The address changes first, and the page hears of it later."""
    enter(window, url, "set")
    module(window, "rooms", "(location.hash = '#after', m.followRooms({ stage: null }))")
    assert awaited(lambda: script(window, "document.activeElement.id") == "after-title", 10.0)


@pytest.mark.parametrize(
    ("width", "height", "scale"), [(320, 568, 1.0), (640, 400, 2.0)], ids=["320px", "200%"]
)
def test_nothing_runs_out_of_a_narrow_or_magnified_window(
    window: Any, box: KeptClient, url: str, width: int, height: int, scale: float
) -> None:
    """WCAG 2.2, 1.4.10 (320 CSS px) and 1.4.4 (1280 px at 200 %)."""
    resize(window, width, height, scale=scale)
    for name in ("howl", "advised"):
        box.base = STATES[name]
        for room in ROOMS:
            enter(window, url, room)
            wide = script(window, "document.documentElement.scrollWidth")
            assert wide <= width, (name, room)


@pytest.mark.parametrize("room", ROOMS)
def test_type_of_half_as_large_again_does_not_run_out_of_a_phone(
    window: Any, url: str, room: str
) -> None:
    """The person's own setting of the browser: the page's sizes follow it."""
    enter(window, url, room)
    size = "parseFloat(getComputedStyle(document.getElementById('box')).fontSize)"
    before = script(window, size)
    window.execute_script("document.documentElement.style.fontSize = '150%'")
    assert script(window, size) == pytest.approx(1.5 * before)
    assert script(window, "document.documentElement.scrollWidth") <= 360


def media(driver: Any, name: str, value: str) -> None:
    driver.execute_cdp_cmd(
        "Emulation.setEmulatedMedia", {"features": [{"name": name, "value": value}]}
    )


@pytest.mark.parametrize("name", ["ringing", "howl"])
def test_nothing_moves_for_who_asks_for_that(
    window: Any, box: KeptClient, url: str, name: str
) -> None:
    moving = "document.getAnimations().filter((a) => a.playState === 'running').length"
    box.base = STATES[name]
    media(window, "prefers-reduced-motion", "reduce")
    enter(window, url, "set")
    assert awaited(lambda: state(window) == name, 10.0)
    assert script(window, moving) == 0
    if name == "ringing":  # otherwise the ring breathes
        media(window, "prefers-reduced-motion", "no-preference")
        assert awaited(lambda: script(window, moving) > 0, 10.0)


def test_a_howl_is_another_shape_than_a_ring_where_the_device_picks_the_colours(
    window: Any, box: KeptClient, url: str
) -> None:
    media(window, "forced-colors", "active")
    is_solid = {}
    for name in ("ringing", "howl"):
        box.base = STATES[name]
        enter(window, url, "set")
        assert awaited(lambda: state(window) == name, 10.0)  # noqa: B023
        ground = script(
            window, "getComputedStyle(document.getElementById('state')).backgroundColor"
        )
        is_solid[name] = not ground.endswith(", 0)")
    assert is_solid == {"ringing": False, "howl": True}
