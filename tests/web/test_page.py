"""The page in a real browser, fed by the real server."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from typing import Any

import pytest

from tests.browser import resize
from tests.waiting import awaited
from tests.web.looking import at_the_start, lowest_seen, script, state, text, visited
from tests.web.screenshots import StillClient, page_server
from tests.web.states import STATES


@pytest.fixture
def page(window: Any, link: StillClient) -> Iterator[Any]:
    link.hold(STATES["quiet"])
    with visited(window, link) as url:
        window.get(url)
        assert awaited(lambda: text(window, "band") == "quiet", 10.0)
        yield window


def test_a_ring_reaches_the_page_and_leaves_it(page: Any, link: StillClient) -> None:
    link.hold(STATES["howl"])
    assert awaited(lambda: text(page, "band") == "2.5k", 10.0)
    assert state(page) == "howl"
    assert text(page, "slider") == "pull 2.5k"
    assert text(page, "hz").startswith("2.480 kHz")
    assert "howl at 2.5k" in text(page, "spoken")
    assert script(page, "document.getElementById('lamp').dataset.pattern") == "steady"
    link.hold(STATES["quiet"])
    assert awaited(lambda: state(page) == "quiet", 10.0)
    assert text(page, "band") == "quiet"


@pytest.mark.parametrize("name", ["howl", "wide", "three", "ringing", "deaf"])
def test_the_main_thing_needs_no_scrolling(page: Any, link: StillClient, name: str) -> None:
    link.hold(STATES[name])
    assert awaited(lambda: state(page) == STATES[name]["state"], 10.0)
    assert script(page, "document.documentElement.scrollWidth") <= 360
    lowest = "slider" if STATES[name]["rings"] else "state"
    bottom = script(page, f"document.getElementById('{lowest}').getBoundingClientRect().bottom")
    assert bottom <= 640


@pytest.mark.parametrize("size", [(740, 360), (568, 320), (915, 412)])
@pytest.mark.parametrize("name", ["howl", "wide", "three"])
def test_on_its_side_too_what_to_pull_is_in_the_window(
    page: Any, link: StillClient, name: str, size: tuple[int, int]
) -> None:
    resize(page, *size)
    try:
        link.hold(STATES[name])
        assert awaited(lambda: state(page) == STATES[name]["state"], 10.0)
        bottom = script(page, "document.getElementById('slider').getBoundingClientRect().bottom")
        assert bottom <= lowest_seen(page)
    finally:
        resize(page, 360, 640)


def test_stale_news_is_greyed_and_dated(page: Any, link: StillClient) -> None:
    link.hold(STATES["howl"], age_s=30.0)
    assert awaited(lambda: script(page, "document.body.dataset.fresh") == "no", 10.0)
    assert awaited(lambda: text(page, "band") == "2.5k", 10.0)
    age_s = int(text(page, "age").split("this is ")[1].split()[0])
    assert 30 <= age_s < 45
    assert text(page, "spoken") == "the box is not answering", "who listens is told, and once"


def test_what_nobody_knows_the_age_of_is_not_shown(page: Any, link: StillClient) -> None:
    """A page server that began anew without a watcher has nothing to tell."""
    link.hold(STATES["three"])
    assert awaited(lambda: text(page, "band") == "2.5k", 10.0)
    link.hold(None)
    assert awaited(lambda: text(page, "band") == "no box", 10.0)
    assert [text(page, name) for name in ("what", "hz", "slider")] == ["", "", ""]
    for name in ("others", "sliders"):
        assert not script(page, f"document.getElementById('{name}').checkVisibility()")
    link.hold(STATES["three"])
    assert awaited(lambda: text(page, "slider").startswith("pull"), 10.0)
    assert script(page, "document.getElementById('sliders').checkVisibility()")


def test_news_of_a_dead_microphone_is_stale_although_messages_come(
    page: Any, link: StillClient
) -> None:
    link.hold({**STATES["quiet"], "audio_age_s": 12.0})
    assert awaited(lambda: script(page, "document.body.dataset.fresh") == "no", 10.0)


def test_the_largest_type_is_what_the_line_calls_the_slider(page: Any, link: StillClient) -> None:
    """As on the panel: a filter of another label that is put at the band itself is no other."""
    named = "document.getElementById('state').dataset.named"
    for line, expected in (("pull 2.5k by 4", "alike"), ("pull 2.43k by 4", "otherwise")):
        pulls = [{"slider": 0, "label": "filter 1", "pull_db": 4.0, "more_db": 4.0}]
        link.hold({**STATES["advised"], "advice": {"line": line, "pulls": pulls}})
        assert awaited(lambda line=line: text(page, "slider").startswith(line[:9]), 10.0)
        assert script(page, named) == expected, line
    link.hold(STATES["deaf"])  # a word, in the size of words
    assert awaited(lambda: state(page) == "deaf" and script(page, named) == "alike", 10.0)


def test_a_box_that_says_it_cannot_hear_is_one_that_answers(page: Any, link: StillClient) -> None:
    """A microphone was unplugged a while ago: the box says so at this moment."""
    link.hold({**STATES["deaf"], "audio_age_s": 40.0})
    assert awaited(lambda: state(page) == "deaf", 10.0)
    assert script(page, "document.body.dataset.fresh") == "yes"
    assert not script(page, "document.getElementById('age').checkVisibility()")


def test_a_watcher_that_is_gone_is_said(window: Any, link: StillClient) -> None:
    link.hold(None)
    with page_server(link) as url:
        window.get(url)
        assert awaited(lambda: "not answering" in text(window, "age"), 10.0)
        assert state(window) == "gone"
        window.get("about:blank")
        link.close()


SAYS = """
let state = "";
new MutationObserver(() => {
  const age = document.getElementById("age");
  if (age && !age.hidden) window.saidAt ??= [performance.now(), state];
  state = document.getElementById("state")?.dataset.state ?? "";
}).observe(document, { subtree: true, childList: true, attributes: true });
"""
"""When the page first says that something is wrong, and what it showed before."""


def test_news_that_is_a_moment_on_its_way_is_no_box_that_is_gone(window: Any) -> None:
    """On a slow Wi-Fi the first message takes a second or two; nothing is wrong yet."""
    link = StillClient()
    link.hold(STATES["quiet"])
    with visited(window, link) as url:
        window.execute_cdp_cmd("Network.enable", {})
        window.execute_cdp_cmd("Network.setBlockedURLs", {"urls": ["*/api/*"]})
        try:
            with at_the_start(window, SAYS):
                window.get(url)
            assert awaited(lambda: "Wi-Fi" in text(window, "age"), 10.0)
            assert state(window) == "gone"
            # Since the page began, by the page's own clock.
            since_ms, before = script(window, "window.saidAt")
            assert since_ms >= 3000.0
            assert before == "starting"
        finally:
            window.execute_cdp_cmd("Network.setBlockedURLs", {"urls": []})


def test_it_comes_back_by_itself_after_the_page_server_restarts(window: Any) -> None:
    first, second = StillClient(), StillClient()
    first.hold(STATES["quiet"])
    with page_server(first) as url:
        window.get(url)
        assert awaited(lambda: text(window, "band") == "quiet", 10.0)
        first.close()
    port = int(url.rsplit(":", 1)[1].rstrip("/"))
    assert awaited(lambda: script(window, "document.body.dataset.fresh") == "no", 10.0)
    second.hold(STATES["howl"])
    with page_server(second, port=port):

        def is_back() -> bool:  # news stays young as long as the watcher speaks
            second.hold(STATES["howl"])
            return text(window, "band") == "2.5k"

        awaited(is_back, 30.0)
        window.get("about:blank")
        second.close()


def test_practice_controls_ask_for_what_the_hand_did(page: Any, link: StillClient) -> None:
    link.hold(copy.deepcopy(STATES["demo"]))
    assert awaited(
        lambda: not script(page, "document.getElementById('practice-room').hidden"), 10.0
    )

    def push(selector: str, value: str) -> None:
        page.execute_script(
            "const i = document.querySelector(arguments[0]); i.focus(); i.value = arguments[1];"
            "i.dispatchEvent(new Event('input', { bubbles: true }))",
            selector,
            value,
        )

    push("#fader", "-3")
    assert awaited(lambda: {"class": "stage", "fader_db": -3} in link.asked, 10.0), link.asked
    push('[data-slider-index="21"]', "-6")
    assert awaited(lambda: {"class": "stage", "slider": 21, "cut_db": -6} in link.asked, 10.0), (
        link.asked
    )


def test_nothing_on_the_page_breaks_its_own_policy(page: Any, link: StillClient) -> None:
    link.hold(STATES["demo"])
    assert awaited(
        lambda: not script(page, "document.getElementById('practice-room').hidden"), 10.0
    )
    severe = [line for line in page.get_log("browser") if line["level"] == "SEVERE"]
    assert [line for line in severe if "Content Security Policy" in line["message"]] == []


@pytest.mark.parametrize(
    ("board", "rows"),
    [
        ({"health": "unknown"}, {}),
        (
            {"health": "ok", "temperature_c": 51.1},
            {"board": "ok", "temperature": "51 °C on the board"},
        ),
        (
            {"health": "ok", "is_undervolted": False, "sag_count": 0},
            {"board": "ok", "supply": "voltage well"},
        ),
        (
            {"health": "too low: a thicker cable", "is_undervolted": True, "sag_count": 2},
            {
                "board": "too low: a thicker cable",
                "supply": "voltage too low now, too low 2 times since the box began",
            },
        ),
    ],
)
def test_the_box_says_how_its_board_is(
    page: Any, link: StillClient, board: dict[str, Any], rows: dict[str, str]
) -> None:
    link.hold({**STATES["quiet"], "board": board, "button": {"health": "off"}})
    read = (
        "Object.fromEntries([...document.querySelectorAll('#hears dt')].map((t) =>"
        " [t.textContent, t.nextElementSibling.textContent]))"
    )
    assert awaited(lambda: script(page, read).get("button") == "off", 10.0)
    shown = {k: v for k, v in script(page, read).items() if k in ("board", "temperature", "supply")}
    assert shown == rows
    trouble = board["health"] not in ("ok", "unknown")
    assert ("thicker cable" in text(page, "trouble")) is trouble


def test_how_old_it_is_stays_in_the_window(page: Any, link: StillClient) -> None:
    link.hold(STATES["howl"], age_s=30.0)
    assert awaited(lambda: "is not answering" in text(page, "age"), 10.0)
    page.execute_script("scrollTo(0, 500)")
    top = "document.getElementById('age').getBoundingClientRect().top"
    assert awaited(lambda: script(page, "scrollY") > 300, 10.0)
    assert 0 <= script(page, top) < 20
