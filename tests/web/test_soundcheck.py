"""The soundcheck's strip, its steps and its ticks in a real browser."""

from __future__ import annotations

import time
from typing import Any

import pytest

from monitor.placing.checklist import CHECKLIST
from tests.waiting import awaited
from tests.web.conftest import both_sizes
from tests.web.evening import METERS, EveningClient
from tests.web.held import held, hold, hold_no_more, shown_again
from tests.web.looking import click, click_when_ready, module, script, tap_on, text

ROOMS = ["place", "level", "ring-out", "set", "after", "practice"]


@pytest.fixture
def page(window: Any, served: str) -> Any:
    window.get(served + "#place")
    assert awaited(lambda: script(window, "!!document.querySelector('#plan .thing')"), 10.0)
    return window


def steps(driver: Any) -> list[list[str]]:
    """Each step's title and state, by the words that are shown."""
    return list(
        script(
            driver,
            "[...document.querySelectorAll('#steps a')].map((a) =>"
            " [a.firstChild.textContent, a.lastChild.textContent])",
        )
    )


def room(driver: Any) -> str:
    return str(script(driver, "document.body.dataset.room"))


def step_end(step: str, do: str) -> str:
    return f".step-end[data-step={step}] [data-do={do}]"


@both_sizes
def test_six_rooms_are_under_the_thumb_in_the_order_of_an_evening(page: Any) -> None:
    links = script(
        page,
        "[...document.querySelectorAll('#rail a')].map((a) => {"
        " const b = a.getBoundingClientRect();"
        " return [a.hash.slice(1), b.left, b.right, b.width, b.height]; })",
    )
    assert [name for name, *_ in links] == ROOMS
    for _, left, right, width, height in links:
        assert left >= 0
        assert right <= script(page, "innerWidth")
        assert min(width, height) >= 44
    ends = [right for _, _, right, *_ in links]
    assert all(a <= left + 0.5 for a, (_, left, *_) in zip(ends, links[1:], strict=False))


@both_sizes
def test_a_soundcheck_from_the_first_step_to_the_last(page: Any, evening: EveningClient) -> None:
    assert awaited(
        lambda: (
            steps(page)
            == [
                ["Place", "now"],
                ["Level", "to do"],
                ["Low cut", "to do"],
                ["Ring-out", "to do"],
            ]
        ),
        10.0,
    )
    assert text(page, "strip-age") == "not begun"
    click(page, "#plan-done")
    assert awaited(lambda: steps(page)[:2] == [["Place", "done"], ["Level", "now"]], 10.0)
    assert text(page, "strip-age") == "begun just now"
    # What ends a step leads on to the next.
    assert awaited(lambda: room(page) == "level", 10.0)
    assert awaited(lambda: script(page, "document.activeElement.id") == "level-title", 10.0)
    evening.script = METERS["right"]
    click_when_ready(page, "lv-main")
    assert awaited(lambda: text(page, "lv-main") == "Keep this level", 10.0)
    click_when_ready(page, "lv-main")
    assert awaited(lambda: ["Low cut", "now"] in steps(page), 10.0)
    assert awaited(lambda: script(page, "document.activeElement.id") == "low-cut-title", 10.0)
    assert room(page) == "level"
    top = "document.getElementById('low-cut-title').getBoundingClientRect().top"
    assert 0 <= script(page, top) < 100, "with what is to be done below it"
    click(page, step_end("low_cut", "skip"))
    assert awaited(lambda: steps(page)[2:] == [["Low cut", "left out"], ["Ring-out", "now"]], 10.0)
    assert awaited(lambda: room(page) == "ring-out", 10.0)
    # Minutes, and the same after a reload.
    evening.begun_mono_s = time.monotonic() - 4 * 60.0
    page.refresh()
    assert awaited(lambda: text(page, "strip-age") == "begun 4 min ago", 10.0)
    assert steps(page) == [
        ["Place", "done"],
        ["Level", "done"],
        ["Low cut", "left out"],
        ["Ring-out", "now"],
    ]


def test_it_leads_forward_and_never_back_to_what_was_passed_by(
    page: Any, evening: EveningClient
) -> None:
    click(page, "#rail a[href='#level']")
    assert awaited(lambda: room(page) == "level", 10.0)
    for step in ("level", "low_cut"):
        click(page, step_end(step, "skip"))
        assert awaited(lambda: evening.states[step] == "left_out", 10.0)  # noqa: B023
    assert awaited(lambda: room(page) == "ring-out", 10.0)
    assert steps(page)[0] == ["Place", "now"]


def test_it_leads_nobody_on_who_went_elsewhere_meanwhile(page: Any, evening: EveningClient) -> None:
    """Into the set, say, while the box is still to answer."""
    hold(page, "/api/v1/soundcheck")
    click(page, step_end("place", "skip"))
    held(page, 1)
    click(page, "#rail a[href='#set']")
    assert awaited(lambda: room(page) == "set", 10.0)
    hold_no_more(page)
    assert awaited(lambda: steps(page)[0] == ["Place", "left out"], 10.0)
    shown_again(page)
    assert room(page) == "set"
    # And where the answer has come, but the room that was tapped is only on its way.
    page.execute_script("location.hash = '#place'")
    assert awaited(lambda: room(page) == "place", 10.0)
    evening.states["place"] = "to_do"
    assert awaited(lambda: steps(page)[0] == ["Place", "now"], 10.0)
    module(page, "soundcheck", "m.endStep('place', async () => true)")
    evening.states["place"] = "done"
    module(
        page,
        "feed",
        "(location.hash = '#after', m.feed({ ...m.news(), soundcheck: { ...m"
        ".news().soundcheck, steps: m.news().soundcheck.steps.map((one) =>"
        " ({ ...one, state: one.id === 'place' ? 'done' : one.state })) } }), 0)",
    )
    shown_again(page)
    assert room(page) == "after"


def test_a_refusal_goes_when_the_steps_stand_otherwise(page: Any, evening: EveningClient) -> None:
    evening.refuse = "Level is done already; to leave it out, do it again first"
    click(page, step_end("level", "skip"))
    assert awaited(lambda: text(page, "strip-said") == evening.refuse, 10.0)
    evening.states.update(level="done")
    assert awaited(lambda: ["Level", "done"] in steps(page), 10.0)
    assert text(page, "strip-said") == ""


def test_a_step_is_done_again(page: Any, evening: EveningClient) -> None:
    evening.states.update(place="done", level="left_out")
    again = f"document.querySelector('{step_end('place', 'again')}')"
    assert awaited(lambda: script(page, f"{again}.checkVisibility()"), 10.0)
    page.execute_script(f"{again}.focus()")
    click(page, step_end("place", "again"))
    assert awaited(lambda: steps(page)[0] == ["Place", "now"], 10.0)
    # The button went away under the hand: the focus is on the one in its place.
    assert script(page, "document.activeElement.textContent") == "leave this step out"
    label = script(page, "document.activeElement.getAttribute('aria-label')")
    assert label == "leave this step out: Place"


def test_state_is_a_shape_and_a_word_not_a_colour(page: Any, evening: EveningClient) -> None:
    evening.states.update(place="done", level="left_out")

    def shapes() -> list[Any]:
        return list(
            script(
                page,
                "[...document.querySelectorAll('#steps a')].map((a) => {"
                " const i = a.querySelector('i'), s = getComputedStyle(i);"
                " return [s.borderStyle, s.borderRadius, getComputedStyle(i, '::after').content]"
                "  .join(); })",
            )
        )

    assert awaited(lambda: [state for _, state in steps(page)][2] == "now", 10.0)
    assert len(set(shapes())) == 4
    assert script(page, "document.querySelector('#steps [aria-current=step]').textContent") == (
        "Low cutnow"
    )


def test_the_strip_stands_aside_while_it_rings_out(page: Any, evening: EveningClient) -> None:
    from tests.web.states import RING_OUTS

    click(page, "#rail a[href='#ring-out']")
    shown = "document.getElementById('strip').checkVisibility()"
    assert awaited(lambda: script(page, shown), 10.0)
    evening.base["ring_out"] = RING_OUTS["pull"]
    assert awaited(lambda: not script(page, shown), 10.0)
    evening.base["ring_out"] = RING_OUTS["done"]
    assert awaited(lambda: script(page, shown), 10.0)


def test_ticks_are_the_box_s(page: Any, evening: EveningClient) -> None:
    items = [item.id for item in CHECKLIST if item.step == "place"]
    there = script(
        page,
        "[...document.querySelectorAll('.ticks[data-of=place] [data-item]')]"
        ".map((i) => i.dataset.item)",
    )
    assert there == items
    click(page, f"[data-item={items[0]}]")
    assert awaited(lambda: evening.ticks == [items[0]], 10.0)
    count = "document.querySelector('.ticks[data-of=place] summary span').textContent"
    assert awaited(lambda: script(page, count) == f"1 of {len(items)}", 10.0)
    # Another phone ticks one and takes the first away.
    evening.ticks = [items[1]]
    ticked = f"document.querySelector('[data-item={items[1]}]').checked"
    assert awaited(lambda: script(page, ticked), 10.0)
    first = f"document.querySelector('[data-item={items[0]}]').checked"
    assert awaited(lambda: not script(page, first), 10.0)
    # What is refused is said, and the box is as it was.
    evening.refuse = "the ticks could not be written: the card is full"
    click(page, f"[data-item={items[2]}]")
    assert awaited(lambda: text(page, "strip-said") == evening.refuse, 10.0)
    assert awaited(
        lambda: not script(page, f"document.querySelector('[data-item={items[2]}]').checked"), 10.0
    )


def test_a_new_soundcheck_wants_two_taps(page: Any, evening: EveningClient) -> None:
    click(page, step_end("place", "skip"))
    shown = "document.getElementById('strip-clear').checkVisibility()"
    assert awaited(lambda: script(page, shown), 10.0)
    click(page, "#strip-clear")
    assert text(page, "strip-clear") == "sure? tap again"
    assert evening.states["place"] == "left_out"
    tap_on(page, "#strip-clear")
    assert awaited(lambda: steps(page)[0] == ["Place", "now"], 10.0)
    assert not script(page, shown)


def test_a_doubtful_one_and_what_is_wrong_are_said(page: Any, evening: EveningClient) -> None:
    evening.begun_mono_s = time.monotonic() - 5000.0
    evening.more = {"doubt": "from before the restart", "health": "soundcheck.json: card full"}
    assert awaited(lambda: text(page, "strip-age") == "from before the restart", 10.0)
    click(page, "#rail a[href='#level']")
    assert script(page, "document.getElementById('strip-clear').checkVisibility()")
    assert text(page, "strip-health") == "soundcheck.json: card full"
    evening.more = {}
    assert awaited(lambda: text(page, "strip-age") == "begun 83 min ago", 10.0)
    assert not script(page, "document.getElementById('strip-health').checkVisibility()")


def test_the_way_of_listening_is_named_in_the_set_alone(page: Any) -> None:
    """ "set" over the steps of a soundcheck would be one word for two things."""
    seen = "document.getElementById('way').checkVisibility({visibilityProperty: true})"
    assert awaited(lambda: text(page, "way") == "listens: set", 10.0)
    assert not script(page, seen)
    click(page, "#rail a[href='#set']")
    assert awaited(lambda: script(page, seen), 10.0)


def test_one_of_the_gig_before_is_said_to_be_that(page: Any, evening: EveningClient) -> None:
    """On a second evening its four ticks say nothing of this one."""
    click(page, "#rail a[href='#level']")
    assert awaited(lambda: room(page) == "level")  # in Place a new one can be begun at any time
    evening.begun_mono_s = time.monotonic() - 1300.0
    clear = "document.getElementById('strip-clear').checkVisibility()"
    for gig_age_s, said in ((1310.0, "begun 22 min ago"), (200.0, "from before this gig")):
        evening.base["gig"] = {"on": True, "begun_age_s": gig_age_s, "ring_count": 0}
        assert awaited(lambda: text(page, "strip-age") == said, 10.0)  # noqa: B023
        assert script(page, clear) == (said == "from before this gig")


def test_the_practice_desk_has_an_input_gain(page: Any, evening: EveningClient) -> None:
    from tests.web.states import STAGE

    evening.base["stage"] = {**STAGE, "gain_db": -3.0}
    assert awaited(
        lambda: not script(page, "document.getElementById('practice-room').hidden"), 10.0
    )
    click(page, "#rail a[href='#practice']")
    shown = "document.getElementById('gain-db').checkVisibility()"
    assert awaited(lambda: script(page, shown), 10.0)
    assert text(page, "gain-words") == "\u22123 dB"
    page.execute_script(
        "const i = document.getElementById('gain-db'); i.value = '4';"
        "i.dispatchEvent(new Event('input', { bubbles: true }))"
    )
    wanted = {"class": "stage", "gain_db": 4.0}
    assert awaited(lambda: wanted in evening.asked, 10.0), evening.asked
    # Where it is measured it is at hand too.
    click(page, "#rail a[href='#level']")
    assert awaited(lambda: room(page) == "level" and script(page, shown), 10.0)
    click(page, "#rail a[href='#practice']")
    assert awaited(lambda: room(page) == "practice" and script(page, shown), 10.0)
    evening.base["stage"] = STAGE
    assert awaited(lambda: not script(page, shown), 10.0)
