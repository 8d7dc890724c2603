"""Taps in the set, the level and the ring-out, where the box shows another thing meanwhile."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest

from tests.waiting import awaited
from tests.web.evening import METERS, EveningClient
from tests.web.held import held, hold, hold_no_more, shown_again
from tests.web.looking import click, click_when_ready, module, script, text, visited
from tests.web.screenshots import StillClient
from tests.web.states import RING_OUTS, STAGE, STATES, pull

FIRST, SECOND = pull("2.5k", 4.0, 4.0), pull("315", 3.0, 3.0)


def advised(one: dict[str, Any]) -> dict[str, Any]:
    line = f"pull {one['label']} by {one['more_db']:g}"
    return {**STATES["advised"], "advice": {"line": line, "pulls": [one]}, "standing": []}


@pytest.fixture
def page(window: Any, link: StillClient) -> Iterator[Any]:
    link.hold(STATES["quiet"])
    with visited(window, link) as url:
        window.get(url + "#set")
        assert awaited(lambda: script(window, "document.body.dataset.fresh") == "yes", 10.0)
        yield window


def shown_and_clicked(driver: Any, snapshot: dict[str, Any], selector: str) -> None:
    """A snapshot, and a tap before anybody can have read it."""
    module(
        driver,
        "feed",
        f"(m.feed({json.dumps(snapshot)}), document.querySelector({selector!r}).click(), 0)",
    )


def some_time(driver: Any, ms: float) -> None:
    since = script(driver, "performance.now()")
    assert awaited(lambda: script(driver, "performance.now()") > since + ms, 10.0)


def test_what_was_pulled_is_what_stood_there_when_the_hand_set_out(
    page: Any, link: StillClient
) -> None:
    link.hold(advised(FIRST))
    assert awaited(lambda: not script(page, "document.getElementById('asked').hidden"), 10.0)
    some_time(page, 800.0)
    shown_and_clicked(page, advised(SECOND), "#asked-done")
    link.hold(advised(SECOND))
    assert awaited(lambda: bool(link.asked), 10.0)
    assert link.asked == [{"class": "pull", "slider": FIRST["slider"], "cut_db": -4}]
    some_time(page, 800.0)
    assert not script(page, "document.getElementById('asked').hidden"), "the other is still asked"
    click(page, "#asked-done")
    assert awaited(lambda: len(link.asked) == 2, 10.0)
    assert link.asked[1] == {"class": "pull", "slider": SECOND["slider"], "cut_db": -3}


def test_a_pull_that_is_asked_for_while_one_is_confirmed_is_still_to_be_confirmed(
    page: Any, link: StillClient
) -> None:
    link.hold(advised(FIRST))
    assert awaited(lambda: not script(page, "document.getElementById('asked').hidden"), 10.0)
    hold(page, "/api/v1/pull")
    click(page, "#asked-done")
    held(page, 1)
    link.hold(advised(SECOND))
    assert awaited(lambda: text(page, "slider") == "pull 315 by 3", 10.0)
    link.hold({**STATES["quiet"], "standing": []})  # it has stopped ringing: nothing is advised
    assert awaited(lambda: "315 by 3" in text(page, "asked-words"), 10.0)
    hold_no_more(page)
    shown_again(page)
    assert not script(page, "document.getElementById('asked').hidden")


def test_a_refused_pull_says_so_until_the_next(
    page: Any, link: StillClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    refused = {"class": "error", "message": "that slider is down already"}
    monkeypatch.setattr(link, "request", lambda *_, **__: refused)
    link.hold(advised(FIRST))
    assert awaited(lambda: not script(page, "document.getElementById('asked').hidden"), 10.0)
    click(page, "#asked-done")
    assert awaited(lambda: text(page, "asked-words") == refused["message"], 10.0)
    shown_again(page)
    assert text(page, "asked-words") == refused["message"]


def test_sliders_of_another_row_are_not_confirmed(page: Any, link: StillClient) -> None:
    """The box began anew with another equaliser while its offer stood."""
    link.hold(advised(FIRST))
    assert awaited(lambda: not script(page, "document.getElementById('asked').hidden"), 10.0)
    ten = {**STATES["quiet"]["equaliser"], "sliders": STATES["quiet"]["equaliser"]["sliders"][::3]}
    link.hold({**STATES["quiet"], "equaliser": ten, "standing": []})
    assert awaited(lambda: bool(script(page, "document.getElementById('asked').hidden")), 10.0)


def test_a_way_that_was_tapped_does_not_spring_back(page: Any, link: StillClient) -> None:
    chosen = "document.querySelector('#ways :checked').value"
    assert awaited(lambda: script(page, f"{chosen}") == "set", 10.0)
    hold(page, "/api/v1/way")
    click(page, "#ways input[value=soundcheck]")
    held(page, 1)
    shown_again(page)
    assert script(page, chosen) == "soundcheck"
    link.hold({**STATES["quiet"], "way": "soundcheck"})
    hold_no_more(page)
    assert awaited(lambda: text(page, "way") == "listens: soundcheck", 10.0)
    link.hold(STATES["quiet"])  # by another phone
    assert awaited(lambda: script(page, chosen) == "set", 10.0)


def test_rooms_of_the_stage_are_asked_for_one_after_the_other(page: Any, link: StillClient) -> None:
    link.hold({**STATES["demo"], "stage": STAGE})
    page.execute_script("location.hash = '#practice'")
    placed = "#placements input[value='{}']"
    assert awaited(
        lambda: bool(script(page, f'!!document.querySelector("{placed.format("behind")}")')), 10.0
    )
    hold(page, "/api/v1/stage")
    click(page, placed.format("behind"))
    click(page, placed.format("too near"))
    held(page, 1)
    shown_again(page)
    assert [one.get("placement") for one in link.asked] == ["behind"]
    assert script(page, "document.querySelector('#placements :checked').value") == "too near"
    hold_no_more(page)
    assert awaited(lambda: len(link.asked) == 2, 10.0)
    assert link.asked[1]["placement"] == "too near"


def test_a_fader_does_not_spring_back_while_the_box_is_at_it(page: Any, link: StillClient) -> None:
    link.hold({**STATES["demo"], "stage": STAGE})
    page.execute_script("location.hash = '#practice'")
    fader = "document.getElementById('fader')"
    assert awaited(lambda: script(page, f"{fader}.valueAsNumber") == -12.0, 10.0)
    hold(page, "/api/v1/stage")
    page.execute_script(f"{fader}.value = -6; {fader}.dispatchEvent(new Event('input'))")
    held(page, 1)
    some_time(page, 1100.0)
    shown_again(page)
    assert script(page, f"{fader}.valueAsNumber") == -6.0
    link.hold({**STATES["demo"], "stage": {**STAGE, "fader_db": -6.0}})
    hold_no_more(page)
    link.hold({**STATES["demo"], "stage": {**STAGE, "fader_db": -9.0}})  # by another phone
    assert awaited(lambda: script(page, f"{fader}.valueAsNumber") == -9.0, 10.0)


def test_a_refused_fader_says_so_until_it_was_read_or_the_next(
    page: Any, link: StillClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    refused = {"class": "error", "message": "the stage is on its way to another room"}
    monkeypatch.setattr(link, "request", lambda *_, **__: refused)
    link.hold({**STATES["demo"], "stage": STAGE})
    page.execute_script("location.hash = '#practice'")
    assert awaited(lambda: text(page, "advice") == STAGE["advice"], 10.0)
    page.execute_script("document.getElementById('fader').dispatchEvent(new Event('input'))")
    assert awaited(lambda: text(page, "advice") == refused["message"], 10.0)
    shown_again(page)
    assert text(page, "advice") == refused["message"]
    monkeypatch.undo()
    page.execute_script("document.getElementById('fader').dispatchEvent(new Event('input'))")
    assert awaited(lambda: text(page, "advice") == STAGE["advice"], 10.0)


@pytest.fixture
def level(window: Any, evening: EveningClient) -> Iterator[Any]:
    with visited(window, evening) as url:
        window.get(url + "#level")
        assert awaited(lambda: text(window, "lv-main") == "Measure", 10.0)
        yield window


def test_a_level_that_is_to_be_kept_is_not_thrown_away(level: Any, evening: EveningClient) -> None:
    """One louder word while the hand comes down, and the button would measure again."""
    evening.measuring, evening.script = "line", METERS["right"]
    assert awaited(lambda: text(level, "lv-main") == "Keep this level", 10.0)
    evening.script = METERS["too-loud"]
    shown_and_clicked(level, evening.snapshot(), "#lv-main")
    shown_again(level)
    assert text(level, "lv-main") == "Turned: measure again"
    assert evening.asked == []
    click_when_ready(level, "lv-main")
    assert awaited(
        lambda: [one["do"] for one in evening.asked] == ["measure_stop", "measure"], 10.0
    )


def test_a_line_that_comes_later_is_measured_where_nothing_was_chosen(
    level: Any, evening: EveningClient
) -> None:
    evening.line = {"there": False, "why": "none is set up"}
    level.refresh()
    chosen = "document.querySelector('#sources :checked')?.value"
    assert awaited(lambda: script(level, chosen) == "box", 10.0)
    evening.line = {"there": True, "name": "channel 1 of the desk's USB"}
    assert awaited(lambda: script(level, chosen) == "line", 10.0)
    click(level, "#sources input[value=box]")
    shown_again(level)
    assert script(level, chosen) == "box"


def test_the_next_ring_s_pull_is_not_confirmed_by_the_one_before(
    page: Any, link: StillClient
) -> None:
    first = {**RING_OUTS["pull"], "pulls_now": [FIRST]}
    link.hold({**STATES["quiet"], "ring_out": first})
    page.execute_script("location.hash = '#ring-out'")
    assert awaited(lambda: text(page, "ro-main") == "I have pulled it", 10.0)
    second = {**STATES["quiet"], "ring_out": {**first, "pulls_now": [SECOND]}}
    shown_and_clicked(page, second, "#ro-main")
    link.hold(second)
    shown_again(page)
    assert link.asked == []
    click_when_ready(page, "ro-main")
    assert awaited(lambda: [one.get("do") for one in link.asked] == ["pulled"], 10.0)


def test_a_tick_that_was_taken_back_at_once_stays_as_the_hand_left_it(
    level: Any, evening: EveningClient
) -> None:
    box = "document.querySelector('.ticks[data-of=level] [data-item]')"
    assert awaited(lambda: not script(level, f"{box}.disabled"), 10.0)
    hold(level, "/api/v1/soundcheck")
    module(level, "feed", f"({box}.click(), {box}.click(), m.feed(m.news()), 0)")
    held(level, 1)  # the box has it ticked, and the second tap waits for the answer
    shown_again(level)
    assert evening.ticks != []
    assert not script(level, f"{box}.checked")
    hold_no_more(level)
    assert awaited(lambda: evening.ticks == [], 10.0)
    shown_again(level)
    assert not script(level, f"{box}.checked")


def test_a_small_button_in_the_place_of_another_takes_no_tap_at_once(
    level: Any, evening: EveningClient
) -> None:
    """ "Keep it as it is" where the level has just come right: in its place is "stop"."""
    evening.measuring, evening.script = "line", METERS["too-loud"]
    assert awaited(lambda: text(level, "lv-small").startswith("keep it as it is"), 10.0)
    evening.script = METERS["right"]
    shown_and_clicked(level, evening.snapshot(), "#lv-small button")
    shown_again(level)
    assert text(level, "lv-small") == "stop"
    assert evening.asked == []
    small = "document.querySelector('#lv-small button')"
    assert awaited(lambda: not script(level, f"{small}.ariaDisabled"), 10.0)
    click(level, "#lv-small button")
    assert awaited(lambda: [one["do"] for one in evening.asked] == ["measure_stop"], 10.0)
