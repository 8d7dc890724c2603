"""The room Place in a real browser: things moved by mouse, finger and keys; tried, undone, kept."""

from __future__ import annotations

import copy
import re
import time
from typing import Any

import pytest

from firmware.fakes import wait_until
from monitor.placing.stage import Stage
from tests.browser import forget, resize
from tests.waiting import awaited
from tests.web.conftest import both_sizes
from tests.web.evening import PLAN, EveningClient
from tests.web.looking import script, text
from tests.web.screenshots import page_server
from web.plan_routes import Busy, Reckoners

REVERBERATION = "document.querySelector(\"#space {}[data-path='room.reverberation']\")"


@pytest.fixture
def page(window: Any, served: str) -> Any:
    forget(window, served)
    open_place(window, served)
    return window


def open_place(window: Any, url: str) -> None:
    window.get("about:blank")
    window.get(url.split("#")[0] + "#place")
    assert awaited(lambda: script(window, "!!document.querySelector('#plan .thing')"), 10.0)


def plan(driver: Any, expression: str) -> Any:
    """Evaluate an expression with the page's own plan module as ``m``."""
    return driver.execute_async_script(
        "const done = arguments[0];"
        f"import('/static/plan.js').then((m) => done({expression}), (e) => done(String(e)))"
    )


def settled(driver: Any) -> bool:
    """Whether the reckoning has caught up with the hand."""
    return wait_until(
        lambda: script(driver, "!document.getElementById('plan').hasAttribute('aria-busy')"),
        within_s=10.0,
    )


def place_of(driver: Any, kind: str, index: int) -> tuple[float, float]:
    """The middle of a thing's hold in the window, which scrolls to it first."""
    x, y = driver.execute_script(
        "const n = document.querySelector(`.thing[data-kind=${arguments[0]}]"
        "[data-index='${arguments[1]}'] .hold`);"
        "n.scrollIntoView({ block: 'center' });"
        "const b = n.getBoundingClientRect();"
        "return [(b.left + b.right) / 2, (b.top + b.bottom) / 2]",
        kind,
        index,
    )
    return float(x), float(y)


def px_per_metre(driver: Any) -> float:
    return float(script(driver, "100 * document.querySelector('#plan svg').getScreenCTM().a"))


def mouse(driver: Any, kind: str, at: tuple[float, float]) -> None:
    driver.execute_cdp_cmd(
        "Input.dispatchMouseEvent",
        {
            "type": kind,
            "x": at[0],
            "y": at[1],
            "button": "none" if kind == "mouseMoved" else "left",
            "buttons": 0 if kind == "mouseReleased" else 1,
            "clickCount": 1,
        },
    )


def touch(driver: Any, kind: str, *at: tuple[float, float]) -> None:
    points = [{"x": x, "y": y} for x, y in at]
    driver.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})


def press(driver: Any, key: str, *, shift: bool = False) -> None:
    driver.execute_script(
        "document.activeElement.dispatchEvent(new KeyboardEvent('keydown',"
        " { key: arguments[0], shiftKey: arguments[1], bubbles: true, cancelable: true }))",
        key,
        shift,
    )


def focus(driver: Any, kind: str, index: int) -> None:
    driver.execute_script(
        "document.querySelector(`.thing[data-kind=${arguments[0]}][data-index='${arguments[1]}']`)"
        ".focus()",
        kind,
        index,
    )


@both_sizes
def test_the_plan_is_shown_with_what_limits_and_the_ranges(page: Any) -> None:
    assert "lead vocal" in text(page, "plan-sentence")
    assert script(page, "document.querySelectorAll('#plan .thing[data-kind=microphone]').length")
    assert "to spare" in text(page, "plan-figures")
    # A range this wide has no tenths.
    assert re.search(r"\([+\u2212]\d+\u00a0to\u00a0\+\d+\)", text(page, "plan-changes"))
    assert re.search(r"\([+\u2212]\d+\u00a0to\u00a0\+\d+\)", text(page, "plan-figures"))
    assert script(page, "document.querySelectorAll('#plan-unknown li').length") > 0
    assert text(page, "plan-cautions")
    assert text(page, "plan-kept") == "Saved in the box."
    width = script(page, "innerWidth")
    assert script(page, "document.documentElement.scrollWidth") <= width


@both_sizes
def test_a_mouse_drags_a_thing_and_the_reckoning_follows(page: Any, evening: EveningClient) -> None:
    before = text(page, "plan-figures")
    at = place_of(page, "loudspeaker", 0)
    metre = px_per_metre(page)
    mouse(page, "mousePressed", at)
    there = (at[0] + 0.5 * metre, at[1] + 1.0 * metre)
    for part in (0.25, 0.5, 0.75, 1.0):
        mouse(
            page,
            "mouseMoved",
            (at[0] + part * (there[0] - at[0]), at[1] + part * (there[1] - at[1])),
        )
        if part == 0.5:
            time.sleep(1.7)  # a hand that rests to read the figures is still the same drag
    # The thing is under the pointer at once, whatever the reckoning does.
    now = script(
        page,
        "(b => [(b.left + b.right) / 2, (b.top + b.bottom) / 2])(document.querySelector("
        "'.thing[data-kind=loudspeaker][data-index=\"0\"] .hold').getBoundingClientRect())",
    )
    assert now == pytest.approx(there, abs=2.0)
    mouse(page, "mouseReleased", there)
    one = PLAN["loudspeaker"][0]
    moved = plan(page, "m.current().loudspeaker[0]")
    assert moved["x"] == pytest.approx(one["x"] + 0.5, abs=0.05)
    assert moved["y"] == pytest.approx(one["y"] + 1.0, abs=0.05)
    assert settled(page)
    assert awaited(lambda: text(page, "plan-figures") != before, 10.0)
    assert script(page, "document.querySelector('.thing[transform]')") is None
    assert text(page, "plan-kept").startswith("Not saved yet")
    assert evening.plan == PLAN
    # One drag is one step back.
    page.execute_script("document.getElementById('plan-undo').click()")
    assert plan(page, "m.current()") == PLAN
    assert plan(page, "m.canUndo()") is False


def test_a_finger_drags_a_thing_and_scrolls_beside_it(window: Any, evening: EveningClient) -> None:
    resize(window, 360, 640)
    window.execute_cdp_cmd(
        "Emulation.setTouchEmulationEnabled", {"enabled": True, "maxTouchPoints": 2}
    )
    try:
        with page_server(evening) as url:
            open_place(window, url)
            at = place_of(window, "loudspeaker", 2)
            metre = px_per_metre(window)
            scrolled = script(window, "scrollY")
            touch(window, "touchStart", at)
            for i in range(1, 7):
                touch(window, "touchMove", (at[0], at[1] + i * metre / 4))
                time.sleep(0.15)  # long enough for the drawing to be made anew
            touch(window, "touchEnd")
            wedge = plan(window, "m.current().loudspeaker[2]")
            assert wedge["y"] == pytest.approx(PLAN["loudspeaker"][2]["y"] + 1.5, abs=0.08)
            assert script(window, "scrollY") == scrolled
            assert settled(window)
            # Beside the things the finger scrolls the page.
            wall = script(
                window,
                "(b => [b.left + 6, b.top + b.height / 2])"
                "(document.querySelector('#plan svg').getBoundingClientRect())",
            )
            for kind, *points in (
                ("touchStart", (wall[0], wall[1])),
                ("touchMove", (wall[0], wall[1] - 40)),
                ("touchMove", (wall[0], wall[1] - 120)),
                ("touchEnd",),
            ):
                touch(window, kind, *points)
            assert awaited(lambda: script(window, "scrollY") > scrolled + 40, 10.0)
            window.get("about:blank")
            evening.close()
    finally:
        window.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})


@both_sizes
def test_every_thing_is_large_enough_for_a_finger(page: Any) -> None:
    sizes = script(
        page,
        "[...document.querySelectorAll('#plan .thing .hold')]"
        ".map((n) => n.getBoundingClientRect().width)",
    )
    # WCAG 2.2, 2.5.8 asks for 24 px; a thumb in the dark for 44 (W3C, 2.5.5).
    assert min(sizes) >= 43.5, sizes


def test_keys_move_and_turn_a_thing_and_say_where_it_is(page: Any) -> None:
    one = PLAN["microphone"][1]
    focus(page, "microphone", 1)
    press(page, "ArrowRight")
    press(page, "ArrowUp")
    assert awaited(lambda: "5.50 m from the left, 1.40 m from" in text(page, "plan-spoken"), 10.0)
    assert settled(page)
    # The reckoning has come and the same thing still has the focus.
    assert script(page, "document.activeElement.dataset.kind") == "microphone"
    sentence, spoken = script(
        page,
        "['plan-sentence', 'plan-spoken'].map((id) => document.getElementById(id).textContent)",
    )
    assert sentence != ""
    assert "\u00a0dB" in sentence, "a number and its unit are not parted"
    assert sentence.replace("\u00a0", " ") in spoken
    press(page, "ArrowLeft", shift=True)
    press(page, "]")
    moved = plan(page, "m.current().microphone[1]")
    assert moved["x"] == pytest.approx(one["x"] + 0.1 - 0.5)
    assert moved["y"] == pytest.approx(one["y"] - 0.1)
    assert moved["aim_deg"] == one["aim_deg"] + 5
    assert "turned to 185 degrees" in text(page, "plan-spoken")
    # Against a wall it stays in the room.
    for _ in range(20):
        press(page, "ArrowRight", shift=True)
    assert plan(page, "m.current().microphone[1].x") == PLAN["room"]["width"]


def test_a_mouth_is_moved_and_its_microphone_looks_at_it(page: Any) -> None:
    focus(page, "mouth", 0)
    before = plan(page, "m.positionOf('mouth', 0)")
    press(page, "ArrowUp")
    one = plan(page, "m.current().microphone[0]")
    assert plan(page, "m.positionOf('mouth', 0)")[1] == pytest.approx(before[1] - 0.02, abs=0.006)
    assert one["mouth"] > PLAN["microphone"][0]["mouth"]
    assert (one["x"], one["y"]) == (PLAN["microphone"][0]["x"], PLAN["microphone"][0]["y"])
    press(page, "ArrowRight", shift=True)
    assert plan(page, "m.current().microphone[0].aim_deg") < 180


@both_sizes
def test_a_change_is_tried_taken_back_and_kept(page: Any, evening: EveningClient) -> None:
    best = script(page, "document.querySelector('#plan-changes li span').textContent")
    spare = text(page, "plan-figures")
    assert "mouth" in best
    page.execute_script("document.querySelector('#plan-changes button').click()")
    assert plan(page, "m.current().microphone[0].mouth") < PLAN["microphone"][0]["mouth"]
    assert settled(page)
    assert awaited(lambda: text(page, "plan-figures") != spare, 10.0)
    assert "Tried" in text(page, "plan-spoken")
    # The drawing and the way back are in the window together, above the rail.
    lowest = script(page, "document.getElementById('plan-undo').getBoundingClientRect().bottom")
    rail = script(page, "document.getElementById('rail').getBoundingClientRect().top")
    assert lowest <= (rail if script(page, "innerWidth") == 360 else 800)
    assert script(page, "document.querySelector('#plan svg').getBoundingClientRect().bottom") > 200
    assert script(page, "document.activeElement.id") == "plan-undo"
    page.execute_script("document.getElementById('plan-undo').click()")
    assert plan(page, "m.current()") == PLAN
    assert settled(page)
    assert text(page, "plan-figures") == spare
    page.execute_script("document.querySelector('#plan-changes button').click()")
    page.execute_script("document.getElementById('plan-save').click()")
    assert awaited(lambda: text(page, "plan-kept") == "Saved in the box.", 10.0)
    assert evening.plan == plan(page, "m.current()") != PLAN
    # Another phone, or a reload, shows the same.
    open_place(page, script(page, "location.href"))
    assert plan(page, "m.current()") == evening.plan
    assert text(page, "plan-kept") == "Saved in the box."


def fill(driver: Any, path: str, value: str, form: str = "thing") -> None:
    driver.execute_script(
        "const i = document.querySelector(`#${arguments[2]} [data-path='${arguments[0]}']`);"
        "if (i.type === 'checkbox') i.checked = arguments[1] === 'yes';"
        "else i.value = arguments[1];"
        "i.dispatchEvent(new Event('input', { bubbles: true }))",
        path,
        value,
        form,
    )


def test_a_saved_plan_that_cannot_be_read_is_said(page: Any, evening: EveningClient) -> None:
    evening.plan = {"room": {"width": -3}}
    open_place(page, script(page, "location.href"))
    assert awaited(lambda: "An example is shown" in text(page, "plan-kept"), 10.0)
    assert "-3" in text(page, "plan-kept")
    assert evening.plan == {"room": {"width": -3}}


def test_a_plan_nobody_saved_is_saved_when_the_step_is_done(
    page: Any, evening: EveningClient
) -> None:
    evening.plan, evening.revision = None, 0
    open_place(page, script(page, "location.href"))
    assert awaited(lambda: text(page, "plan-kept").startswith("Nobody has saved"), 10.0)
    shown = plan(page, "m.current()")
    page.execute_script("document.getElementById('plan-done').click()")
    assert awaited(lambda: evening.states["place"] == "done", 10.0)
    assert evening.plan == shown
    assert text(page, "plan-kept") == "Saved in the box."


def test_the_forms_change_what_is_chosen_and_the_room(page: Any) -> None:
    page.execute_script(
        "const p = document.getElementById('pick'); p.value = 'loudspeaker 2';"
        "p.dispatchEvent(new Event('change'))"
    )
    fill(page, "name", "wedge of the singer")
    fill(page, "coverage_deg.0", "60")
    fill(page, "height", "0.4")
    fill(page, "name", "Tin Chapel", "space")
    fill(page, "room.reverberation", "live", "space")
    fill(page, "need.ead", "2", "space")
    assert script(page, REVERBERATION.format("input") + ".value") == ""
    now = plan(page, "m.current()")
    assert now["loudspeaker"][2]["name"] == "wedge of the singer"
    assert now["loudspeaker"][2]["coverage_deg"] == [60, 60]
    assert now["loudspeaker"][2]["height"] == 0.4
    assert now["name"] == "Tin Chapel"
    assert now["room"]["reverberation"] == "live"
    assert now["need"]["ead"] == 2
    page.execute_script(
        f"const t = {REVERBERATION.format('input')}; t.value = '0.7';"
        "t.dispatchEvent(new Event('input', { bubbles: true }))"
    )
    assert plan(page, "m.current()")["room"]["reverberation"] == 0.7
    assert script(page, REVERBERATION.format("select") + ".value") == "0.7"
    assert settled(page)
    label = "document.querySelector('.thing[data-kind=loudspeaker][data-index=\"2\"]')"
    assert awaited(
        lambda: "wedge of the singer" in script(page, f"{label}.getAttribute('aria-label')"), 10.0
    )
    # A microphone by a tap of the keyboard: its form opens, it is muted.
    focus(page, "microphone", 1)
    press(page, "Enter")
    assert script(page, "document.activeElement.dataset.path") == "name"
    fill(page, "open", "no")
    fill(page, "pattern", "supercardioid")
    assert plan(page, "m.current().microphone[1].open") is False
    assert settled(page)
    assert awaited(lambda: "open microphones1" in text(page, "plan-figures"), 10.0)


def test_things_are_added_and_removed(page: Any) -> None:
    for what in ("microphone", "mains", "wedge", "wedge"):
        page.execute_script("document.querySelector(`[data-add=${arguments[0]}]`).click()", what)
    names = [one["name"] for one in plan(page, "m.current().loudspeaker")]
    assert names[-3:] == ["mains", "wedge 2", "wedge 3"]
    assert settled(page)
    drawn = "document.querySelectorAll('#plan .thing[data-kind=loudspeaker]').length"
    assert awaited(lambda: script(page, drawn) == 6, 10.0)
    assert text(page, "plan-said") == ""
    page.execute_script("document.querySelector('[data-remove]').click()")
    assert settled(page)
    assert awaited(lambda: script(page, drawn) == 5, 10.0)
    assert "wedge 3 removed" in text(page, "plan-spoken")
    page.execute_script("document.getElementById('plan-undo').click()")
    assert len(plan(page, "m.current().loudspeaker")) == 6


def test_feet_are_the_same_places_in_other_numbers(page: Any) -> None:
    spare = text(page, "plan-figures")
    fill(page, "units", "feet", "space")
    now = plan(page, "m.current()")
    assert now["units"] == "feet"
    assert now["microphone"][0]["x"] == pytest.approx(3.5 / 0.3048, abs=0.01)
    assert settled(page)
    # One decimal in dB hides what rounding to a hundredth of a foot moves.
    assert text(page, "plan-figures") == spare
    focus(page, "microphone", 0)
    press(page, "ArrowRight")
    assert plan(page, "m.current().microphone[0].x") == pytest.approx(
        now["microphone"][0]["x"] + 0.5, abs=0.006
    )
    assert " ft from the left" in text(page, "plan-spoken")


def test_a_mistake_is_said_beside_the_plan_and_undone(page: Any) -> None:
    fill(page, "room.width", "-2", "space")
    assert awaited(lambda: "-2" in text(page, "plan-said"), 10.0)
    assert script(page, "document.getElementById('plan').hasAttribute('data-old')")
    assert script(page, "!!document.querySelector('#plan .thing')")
    page.execute_script("document.getElementById('plan-save').click()")
    assert awaited(lambda: text(page, "plan-kept").startswith("Not saved"), 10.0)
    page.execute_script("document.getElementById('plan-undo').click()")
    assert awaited(lambda: text(page, "plan-said") == "", 10.0)
    assert not script(page, "document.getElementById('plan').hasAttribute('data-old')")


def test_a_lost_box_keeps_the_edit_in_this_browser(page: Any, evening: EveningClient) -> None:
    focus(page, "microphone", 0)
    press(page, "ArrowRight")
    evening.gone = True
    page.execute_script("document.getElementById('plan-save').click()")
    assert awaited(lambda: "kept in this browser: the" in text(page, "plan-kept"), 10.0)
    edited = plan(page, "m.current()")
    # The plan is not greyed with what is old: it is here.
    assert awaited(lambda: script(page, "document.body.dataset.fresh") == "no", 10.0)
    opacity = "getComputedStyle(document.getElementById('place-room')).opacity"
    assert script(page, opacity) == "1"
    address = page.current_url
    page.get("about:blank")
    evening.gone = False
    page.get(address)
    assert awaited(lambda: script(page, "!!document.querySelector('#plan .thing')"), 10.0)
    assert plan(page, "m.current()") == edited
    assert awaited(lambda: "not saved are shown" in text(page, "plan-kept"), 10.0)
    page.execute_script("document.getElementById('plan-undo').click()")
    assert plan(page, "m.current()") == PLAN


def test_a_busy_box_is_asked_again_until_it_has_reckoned(
    page: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    reckoned, refused = Reckoners.reckoned, []

    def busy(self: Reckoners, stage: Stage) -> dict[str, Any]:
        if len(refused) < 2:
            refused.append(stage.microphones[0].x_m)
            raise Busy
        return reckoned(self, stage)

    monkeypatch.setattr(Reckoners, "reckoned", busy)
    before = text(page, "plan-figures")
    focus(page, "loudspeaker", 2)
    press(page, "ArrowDown", shift=True)
    assert awaited(lambda: len(refused) == 2, 10.0)
    assert settled(page)
    assert text(page, "plan-figures") != before
    assert text(page, "plan-said") == ""


def test_without_the_page_s_server_things_can_be_moved_all_the_same(page: Any) -> None:
    page.execute_cdp_cmd("Network.enable", {})
    conditions = {"latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}
    page.execute_cdp_cmd("Network.emulateNetworkConditions", {"offline": True, **conditions})
    try:
        focus(page, "loudspeaker", 2)
        press(page, "ArrowDown", shift=True)
        assert awaited(lambda: "drawn, not reckoned" in text(page, "plan-said"), 10.0)
        moved = "document.querySelector('.thing[data-kind=loudspeaker][transform]')"
        assert script(page, f"{moved}.dataset.index") == "2"
    finally:
        page.execute_cdp_cmd("Network.emulateNetworkConditions", {"offline": False, **conditions})
    assert awaited(lambda: text(page, "plan-said") == "", 10.0)
    assert settled(page)
    assert script(page, moved) is None


def test_another_phone_s_save_is_shown_or_said(page: Any, evening: EveningClient) -> None:
    other = copy.deepcopy(PLAN)
    other["microphone"][0]["x"] = 2.0
    evening.plan, evening.revision = other, evening.revision + 1
    assert awaited(lambda: plan(page, "m.current().microphone[0].x") == 2.0, 10.0)
    focus(page, "microphone", 0)
    press(page, "ArrowRight")
    evening.plan, evening.revision = copy.deepcopy(PLAN), evening.revision + 1
    assert awaited(lambda: "another page" in text(page, "plan-kept"), 10.0)
    assert plan(page, "m.current().microphone[0].x") == 2.1


def test_nothing_of_it_breaks_the_page_s_own_policy(page: Any) -> None:
    page.get_log("browser")
    page.execute_script("document.querySelector('#plan-changes button').click()")
    assert settled(page)
    severe = [line["message"] for line in page.get_log("browser") if line["level"] == "SEVERE"]
    assert severe == []


def test_without_a_plan_there_is_nothing_to_do_but_to_try_again(
    window: Any, served: str, evening: EveningClient
) -> None:
    shown = "document.getElementById('{}').checkVisibility()"
    evening.gone = True
    window.get(served.split("#")[0] + "#place")
    assert awaited(lambda: script(window, shown.format("plan-again")), 15.0)
    for name in ("plan-done", "pick", "plan-help", "plan-save"):
        assert not script(window, shown.format(name)), name
    evening.gone = False
    window.execute_script("document.getElementById('plan-again').click()")
    assert awaited(lambda: script(window, "!!document.querySelector('#plan .thing')"), 10.0)
    assert script(window, shown.format("plan-done"))
    assert not script(window, shown.format("plan-again"))
