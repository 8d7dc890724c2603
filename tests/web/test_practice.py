"""The practice room of the page in a real browser: rooms, placements, and its sound."""

from __future__ import annotations

import copy
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from firmware.fakes import wait_until
from monitor.stage.sound import CEILING, SoundDoor
from tests.browser import resize
from tests.waiting import awaited
from tests.web.looking import module, press, script, text, visited
from tests.web.screenshots import StillClient
from tests.web.states import STATES


class Stage:
    """A link that always has news of the demo, and a door that plays a loud howl."""

    def __init__(self, folder: Path) -> None:
        self.link = StillClient()
        self.link.socket_path = folder / "link.sock"
        self.snapshot = copy.deepcopy(STATES["demo"])
        self.door = SoundDoor(folder / "sound.sock")
        self.silent = False
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        turn = 2.0 * np.pi * 1000.0 / 48000 * np.arange(512 * 375)
        howl = (5.0 * np.sin(turn)).astype(np.float32)
        due, block = time.monotonic(), 0
        while not self._stop.wait(max(0.0, due - time.monotonic())):
            due += 512 / 48000
            if not self.silent:
                at = block % 375 * 512
                self.door.publish(howl[at : at + 512])
            block += 1
            if block % 10 == 0:
                self.link.hold(self.snapshot)

    def show(self, **fields: Any) -> None:
        """Show the practice stage with other fields; a snapshot once told is not changed."""
        self.snapshot = {**STATES["demo"], "stage": {**STATES["demo"]["stage"], **fields}}

    def close(self) -> None:
        self._stop.set()
        self._thread.join(5.0)
        self.door.close()
        self.link.close()


@pytest.fixture
def stage(tmp_path: Path) -> Iterator[Stage]:
    made = Stage(tmp_path)
    yield made
    made.close()


@pytest.fixture
def page(window: Any, stage: Stage) -> Iterator[Any]:
    with visited(window, stage.link) as url:
        window.get(url)
        assert awaited(lambda: script(window, "document.body.dataset.room") == "practice", 10.0)
        asleep = "document.querySelectorAll('[data-rooms~=practice][inert]').length"
        assert awaited(lambda: script(window, asleep) == 0, 20.0)
        yield window


def asked(stage: Stage, command: dict[str, Any]) -> bool:
    return wait_until(lambda: {"class": "stage", **command} in stage.link.asked, within_s=10.0)


def test_the_demo_opens_where_its_fader_is(page: Any) -> None:
    top, bottom = script(
        page,
        "((box) => [box.top, box.bottom])(document.getElementById('fader')"
        ".getBoundingClientRect())",
    )
    rail = script(page, "document.getElementById('rail').getBoundingClientRect().top")
    assert 0 <= top < bottom <= rail
    assert script(page, "document.documentElement.scrollWidth") <= 360


@pytest.mark.parametrize("size", [(320, 568), (360, 640), (740, 360), (844, 390)])
def test_fader_and_sliders_are_in_the_window_and_stay_there_when_it_rings(
    page: Any, stage: Stage, size: tuple[int, int]
) -> None:
    """Whoever is told which slider to pull must not have to look for it below."""
    stage.snapshot = {**STATES["demo"], "rings": [], "state": "quiet"}
    resize(page, *size)
    try:
        desk = "document.getElementById('desk').getBoundingClientRect()"
        assert awaited(lambda: text(page, "band") == "quiet" and text(page, "advice") != "", 10.0)
        before = script(page, f"{desk}.top")
        advice = {"line": "pull 2.5k by 4", "pulls": []}
        rings = STATES["howl"]["rings"]
        stage.snapshot = {**STATES["demo"], "rings": rings, "state": "howl", "advice": advice}
        said = "document.getElementById('slider').textContent"
        assert awaited(lambda: script(page, said) == "pull 2.5k by 4", 10.0)
        assert script(page, "document.getElementById('advice').textContent") == ""
        rail = script(page, "document.getElementById('rail').getBoundingClientRect().top")
        assert script(page, f"{desk}.bottom") <= rail
        assert script(page, f"{desk}.top") == pytest.approx(before, abs=6.0)
    finally:
        resize(page, 360, 640)


def test_a_room_is_a_link_in_the_rail(page: Any) -> None:
    def visible(element_id: str) -> bool:
        return bool(script(page, f"document.getElementById('{element_id}').checkVisibility()"))

    assert visible("practice-room")
    assert not visible("recent")
    page.find_element("css selector", "#rail a[href='#set']").click()
    assert awaited(lambda: visible("recent"), 10.0)
    assert not visible("practice-room")
    assert script(page, "document.querySelector('#rail [aria-current]').textContent") == "Set"
    page.find_element("css selector", "#rail a[href='#practice']").click()
    assert awaited(lambda: visible("practice-room"), 10.0)
    assert awaited(lambda: script(page, "document.activeElement.id") == "practice-title", 10.0)


@pytest.mark.parametrize("name", ["practice", "ring-out", "ears"])
def test_a_room_begins_at_its_headline_also_when_it_is_loaded_or_tapped_again(
    page: Any, name: str
) -> None:
    """The address of a room is the name of no part: the browser would scroll there by itself."""
    url = str(script(page, "location.origin"))
    page.get("about:blank")
    page.get(f"{url}/#{name}")
    asleep = f"document.querySelectorAll('[data-rooms~={name}][inert]').length"
    assert awaited(lambda: script(page, "document.body.dataset.room") == name, 10.0)
    assert awaited(lambda: script(page, asleep) == 0, 20.0)
    time.sleep(0.3)
    assert script(page, "scrollY") == 0
    page.execute_script("scrollTo(0, 200)")
    page.execute_script("document.querySelector(`a[href='#${arguments[0]}']`).click()", name)
    time.sleep(0.3)
    assert script(page, "scrollY") == 0


@pytest.mark.parametrize("name", ["practice", "ring-out", "ears", "set"])
def test_letters_twice_as_large_need_no_scrolling_sideways(page: Any, name: str) -> None:
    page.execute_script("document.documentElement.style.fontSize = '200%'")
    page.execute_script(f"location.hash = '#{name}'")
    asleep = f"document.querySelectorAll('[data-rooms~={name}][inert]').length"
    assert awaited(lambda: script(page, "document.body.dataset.room") == name, 10.0)
    assert awaited(lambda: script(page, asleep) == 0, 20.0)
    time.sleep(0.5)  # drawn in the new size
    assert script(page, "document.documentElement.scrollWidth") <= 360
    assert script(page, "document.getElementById('rail').getBoundingClientRect().right") <= 360


def test_room_and_placement_are_asked_for_and_follow_the_stage(page: Any, stage: Stage) -> None:
    page.execute_script(
        "const s = document.getElementById('room'); s.value = 'Tin Chapel';"
        "s.dispatchEvent(new Event('change', { bubbles: true })); s.blur();"
    )
    assert asked(stage, {"room": "Tin Chapel"}), stage.link.asked
    page.execute_script("document.querySelector('#placements input[value=behind]').click()")
    assert asked(stage, {"placement": "behind"}), stage.link.asked
    stage.show(moving="Tin Chapel, well forward")
    assert awaited(lambda: "on the way: Tin Chapel" in text(page, "room-words"), 10.0)
    page.execute_script("document.activeElement.blur()")
    placements = [
        {"name": "a", "description": "here", "limit_db": 0.0},
        {"name": "b", "description": "there", "limit_db": -3.6},
        {"name": "c", "description": "anywhere"},
    ]
    stage.show(room="Tin Chapel", placement="b", fader_max_db=17.0, placements=placements)
    assert awaited(
        lambda: script(page, "document.querySelector('#placements :checked')?.value") == "b", 10.0
    )
    assert script(page, "document.getElementById('room').value") == "Tin Chapel"
    assert script(page, "document.getElementById('fader').max") == "17"
    said = script(page, "document.getElementById('limits').getAttribute('aria-label')")
    assert "a 0.0 dB, b \u22123.6 dB, c not tried" in said
    # One scale for all: what rings later stands further right.
    a, b = script(
        page, "[...document.querySelectorAll('#limits circle')].map(c => +c.getAttribute('cx'))"
    )
    assert b < a


def test_a_refusal_is_said_where_the_hand_is(
    page: Any, stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(command: object, timeout_s: float = 2.0) -> dict[str, Any]:
        return {"class": "error", "message": "no placement of that name"}

    monkeypatch.setattr(stage.link, "request", refuse)
    page.execute_script("document.querySelector('#placements input[value=behind]').click()")
    assert awaited(lambda: text(page, "stage-said") == "no placement of that name", 10.0)


def heard(page: Any) -> int:
    return int(module(page, "hearing", "m.counts.blocks"))


def peak(page: Any) -> float:
    return float(module(page, "audio", "m.peak()"))


def test_it_is_silent_until_asked_and_never_passes_the_ceiling(page: Any, stage: Stage) -> None:
    time.sleep(0.5)
    assert stage.door.listener_count == 0
    assert module(page, "audio", "m.state()") == "closed"
    button = page.find_element("id", "hear")
    press(page, "hear")
    assert awaited(lambda: heard(page) > 10, 10.0), text(page, "hear-said")
    assert module(page, "audio", "m.state()") == "running"
    assert button.get_attribute("aria-pressed") == "true"
    assert awaited(lambda: peak(page) > 0.0, 10.0)
    soft = max(peak(page) for _ in range(5))
    assert soft < CEILING / 4, "soft by default"
    page.execute_script(
        "const v = document.querySelector('#hearing .volume input'); v.value = 100;"
        "v.dispatchEvent(new Event('input', { bubbles: true }))"
    )
    assert awaited(lambda: peak(page) > 0.9 * CEILING, 10.0), "the howl at full volume"
    assert max(peak(page) for _ in range(10)) <= CEILING + 1e-4
    press(page, "hear")
    assert awaited(lambda: stage.door.listener_count == 0, 10.0)
    assert button.get_attribute("aria-pressed") == "false"
    assert awaited(lambda: peak(page) == 0.0, 10.0)


def test_sound_survives_a_hole_and_ends_when_the_page_is_put_away(page: Any, stage: Stage) -> None:
    press(page, "hear")
    assert awaited(lambda: heard(page) > 10, 10.0), text(page, "hear-said")
    stage.silent = True
    time.sleep(1.0)
    before = heard(page)
    stage.silent = False
    assert awaited(lambda: heard(page) > before + 10, 10.0)
    assert module(page, "hearing", "m.counts.holes") >= 2  # the beginning, and this one
    page.execute_script(
        "Object.defineProperty(document, 'hidden', { value: true, configurable: true });"
        "document.dispatchEvent(new Event('visibilitychange'))"
    )
    assert "put away" in text(page, "hear-said")
    assert awaited(lambda: stage.door.listener_count == 0, 10.0)


def test_a_stage_that_cannot_be_heard_says_so(page: Any, stage: Stage) -> None:
    stage.door.close()
    press(page, "hear")
    assert awaited(lambda: "cannot be heard" in text(page, "hear-said"), 10.0)


@pytest.mark.parametrize(
    ("next_s", "now_s", "place"),
    [(5.0, 4.9, [5.0, False]), (4.0, 5.0, [5.3, True]), (0, 5.0, [5.3, True]), (5.8, 5.0, None)],
)
def test_where_a_block_sounds(page: Any, next_s: float, now_s: float, place: Any) -> None:
    found = module(page, "hearing", f"m.placeOf({next_s}, {now_s})")
    assert found == (None if place is None else pytest.approx(place))


def test_samples_are_limited_once_more_and_fade_in_after_a_hole(page: Any) -> None:
    loud = module(page, "hearing", "[...m.samplesOf(new Int16Array([32767, -32768, 3277]), false)]")
    assert loud == pytest.approx([CEILING, -CEILING, 0.1], abs=1e-4)
    faded = module(page, "hearing", "[...m.samplesOf(new Int16Array(300).fill(3277), true)]")
    assert faded[0] == 0.0
    assert faded[299] == pytest.approx(0.1, abs=1e-4)


def test_nothing_here_breaks_the_policy(page: Any) -> None:
    press(page, "hear")
    assert awaited(lambda: heard(page) > 2, 10.0)
    severe = [line for line in page.get_log("browser") if line["level"] == "SEVERE"]
    assert [line for line in severe if "Content Security Policy" in line["message"]] == []


def test_a_slider_that_is_held_stays_under_the_finger(page: Any, stage: Stage) -> None:
    first = "document.querySelector('#desk input')"
    top = f"{first}.getBoundingClientRect().top"
    page.execute_script(
        f"{first}.dispatchEvent(new PointerEvent('pointerdown', {{ bubbles: true }}))"
    )
    held = script(page, top)
    grown = {**STATES["three"], "stage": stage.snapshot["stage"]}
    before = script(page, "document.getElementById('state').clientHeight")
    stage.snapshot = grown
    rings = "document.getElementById('state').dataset.state"
    assert awaited(lambda: script(page, rings) == "howl", 10.0)
    assert script(page, "document.getElementById('state').clientHeight") != before
    assert script(page, top) == pytest.approx(held, abs=1.0)
    # What the box says of it does not move it either, until a moment after it is let go.
    stage.show(sliders=[{**s, "cut_db": -5} for s in stage.snapshot["stage"]["sliders"]])
    second = "document.querySelectorAll('#desk input')[1].value"
    assert awaited(lambda: script(page, second) == "-5", 10.0)
    assert script(page, f"{first}.value") == "0"
    page.execute_script("window.dispatchEvent(new PointerEvent('pointerup'))")
    assert awaited(lambda: script(page, f"{first}.value") == "-5", 10.0)


def test_every_slider_goes_by_its_own_steps_from_flat_to_its_own_end(
    page: Any, stage: Stage
) -> None:
    """A channel strip of 10 dB in steps of 1.5 dB, and its low cut, which is a switch of 12.3."""
    sliders = [{"label": "low cut", "cut_db": 0, "cut_max_db": 12.3}, {"label": "low", "cut_db": 0}]
    stage.show(sliders=sliders, cut_max_db=10.0, step_db=1.5)
    row = "[...document.querySelectorAll('#desk input')]"
    assert awaited(lambda: script(page, f"{row}.length") == 2, 10.0)

    def put(place: int, where: str) -> None:
        slide = f"const one = {row}[{place}]; one.value = {where};"
        page.execute_script(f"{slide} one.dispatchEvent(new Event('input', {{ bubbles: true }}))")

    for place, where, cut_db in (
        (0, "one.min", -12.3), (0, "0", 0), (1, "one.min", -10), (1, "-4.5", -4.5), (1, "0", 0),
    ):  # fmt: skip
        put(place, where)
        assert asked(stage, {"slider": place, "cut_db": cut_db})
        stage.link.asked.clear()


def test_the_colours_follow_the_phone_until_somebody_chooses(page: Any) -> None:
    def phone_is(scheme: str) -> None:
        media = [{"name": "prefers-color-scheme", "value": scheme}]
        page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": media})

    theme = "document.documentElement.dataset.theme"
    try:
        phone_is("light")
        assert awaited(lambda: script(page, theme) == "day", 10.0)
        page.refresh()
        phone_is("dark")
        assert awaited(lambda: script(page, theme) == "night", 10.0)
        page.execute_script("document.getElementById('theme').click()")
        assert script(page, theme) == "day"
        phone_is("light")
        phone_is("dark")
        assert script(page, theme) == "day"
    finally:
        page.execute_script("localStorage.removeItem('theme')")


def test_a_sound_that_is_stopped_before_it_begins_never_does(page: Any) -> None:
    """Put away, or the ears' room entered, while the browser takes its time to begin."""
    press(page, "hear")
    assert awaited(lambda: heard(page) > 10, 10.0), text(page, "hear-said")
    press(page, "hear")
    module(page, "hearing", "(document.getElementById('hear').click(), m.stop(), 0)")
    module(page, "audio", "(m.openAudio(), 0)")  # what it waited for is over
    assert script(page, "document.getElementById('hear').ariaPressed") == "false"
