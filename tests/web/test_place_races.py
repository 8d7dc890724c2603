"""The room Place where an answer, a state or another page comes between two taps."""

from __future__ import annotations

from typing import Any

import pytest

from tests.waiting import awaited
from tests.web.evening import PLAN, EveningClient
from tests.web.held import held, hold, hold_no_more, let_go, shown_again
from tests.web.looking import script, text
from tests.web.test_place import focus, open_place, plan, press, settled
from tests.web.test_place import page as page

PLAN_PATH = "/api/v1/plan"
RECKON_PATH = "/api/v1/plan/reckon"
TRY = "document.querySelector('#plan-changes button')"


def test_another_page_s_plan_does_not_take_an_edit_that_began_meanwhile(
    page: Any, evening: EveningClient
) -> None:
    hold(page, PLAN_PATH)
    evening.plan = {**PLAN, "name": "Tin Chapel"}
    evening.revision += 1
    held(page, 1)  # the page asks for it, as nothing was changed here
    focus(page, "microphone", 1)
    press(page, "ArrowRight")
    moved = PLAN["microphone"][1]["x"] + 0.1
    let_go(page)
    shown_again(page)
    assert plan(page, "m.current().microphone[1].x") == pytest.approx(moved)
    assert plan(page, "m.canUndo()")
    assert "from another page" in text(page, "plan-kept")
    hold_no_more(page)


def test_a_plan_that_is_being_saved_is_not_another_page_s(
    page: Any, evening: EveningClient
) -> None:
    focus(page, "microphone", 1)
    press(page, "ArrowRight")
    hold(page, PLAN_PATH)
    page.execute_script("document.getElementById('plan-save').click()")
    page.execute_script("document.getElementById('plan-save').click()")
    held(page, 1)  # the box has it, and shows it
    shown_again(page)
    assert text(page, "plan-kept") == "Saving"
    # Taken back before the answer: what is saved does not come over it.
    page.execute_script("document.getElementById('plan-undo').click()")
    shown_again(page)
    assert script(page, "window.heldAnswers.length") == 1, "nothing is asked for meanwhile"
    hold_no_more(page)
    assert awaited(lambda: text(page, "plan-kept").startswith("Not saved yet"), 10.0)
    assert plan(page, "m.current()") == PLAN


def test_a_change_of_the_plan_before_takes_nothing_back(page: Any) -> None:
    assert settled(page)
    hold(page, RECKON_PATH)
    focus(page, "microphone", 1)
    press(page, "ArrowRight")
    moved = plan(page, "m.current()")
    held(page, 1)
    page.execute_script(f"{TRY}.click()")
    assert plan(page, "m.current()") == moved
    assert "another by now" in text(page, "plan-said")
    hold_no_more(page)
    assert settled(page)
    assert text(page, "plan-said") == ""
    page.execute_script(f"{TRY}.click()")
    assert plan(page, "m.current()") != moved


def test_what_may_be_tried_stays_under_the_finger_while_it_is_the_same(page: Any) -> None:
    """A finger that leaves a field for the list has the plan reckoned again on its way."""
    assert settled(page)
    page.execute_script(f"window.under = {TRY}")
    page.execute_script("document.querySelector('#thing input').focus()")
    page.execute_script("document.activeElement.blur()")
    assert settled(page)
    assert script(page, "window.under.isConnected")


def test_a_plan_that_was_asked_for_by_hand_is_not_asked_for_twice(
    window: Any, served: str, evening: EveningClient
) -> None:
    """The wait after a refusal ends while the next answer is under way."""
    evening.gone = True
    window.get(served + "#place")
    again = "document.getElementById('plan-again').checkVisibility()"
    assert awaited(lambda: bool(script(window, again)), 20.0)
    hold(window, PLAN_PATH)
    evening.gone = False
    window.execute_script("document.getElementById('plan-again').click()")
    held(window, 1)
    since = script(window, "performance.now()")
    assert awaited(lambda: script(window, "performance.now()") > since + 2200.0, 10.0)
    shown_again(window)
    assert script(window, "window.heldAnswers.length") == 1
    hold_no_more(window)
    assert awaited(lambda: script(window, "!!document.querySelector('#plan .thing')"), 10.0)


def test_a_reckoning_of_the_plan_before_does_not_come_over_another_page_s(
    page: Any, evening: EveningClient
) -> None:
    assert settled(page)
    hold(page, RECKON_PATH)
    focus(page, "microphone", 1)
    press(page, "ArrowRight")
    page.execute_script("document.getElementById('plan-undo').click()")
    held(page, 1)
    evening.plan = {**PLAN, "loudspeaker": PLAN["loudspeaker"][:2]}
    evening.revision += 1
    speakers = "document.querySelectorAll('#plan .thing[data-kind=loudspeaker]').length"
    assert awaited(lambda: script(page, speakers) == 2, 10.0)
    hold_no_more(page)
    assert settled(page)
    assert script(page, speakers) == 2


def test_another_tab_s_edits_stay_in_the_browser(page: Any, evening: EveningClient) -> None:
    """This one only follows what a third page has saved."""
    page.execute_script("localStorage.setItem('plan', 'of another tab')")
    evening.plan = {**PLAN, "name": "Tin Chapel"}
    evening.revision += 1
    assert awaited(lambda: plan(page, "m.revision") == evening.revision, 10.0)
    assert script(page, "localStorage.getItem('plan')") == "of another tab"
    # Its own go with the way back.
    focus(page, "microphone", 1)
    press(page, "ArrowRight")
    assert script(page, "localStorage.getItem('plan')") != "of another tab"
    page.execute_script("document.getElementById('plan-undo').click()")
    assert script(page, "localStorage.getItem('plan')") is None


def test_what_was_saved_while_an_edit_lay_in_the_browser_is_told(
    page: Any, evening: EveningClient
) -> None:
    """Saving the edit would put it in the place of a plan that its person has not seen."""
    focus(page, "microphone", 1)
    press(page, "ArrowRight")
    moved = plan(page, "m.current()")
    address = script(page, "location.href")
    page.get("about:blank")
    evening.plan = {**PLAN, "name": "Tin Chapel"}
    evening.revision += 1
    open_place(page, address)
    assert awaited(lambda: "saved from another page" in text(page, "plan-kept"), 10.0)
    assert plan(page, "m.current()") == moved
    # The way back leads to what is saved.
    page.execute_script("document.getElementById('plan-undo').click()")
    assert awaited(lambda: plan(page, "m.current().name") == "Tin Chapel", 10.0)
    assert awaited(lambda: text(page, "plan-kept") == "Saved in the box.", 10.0)
