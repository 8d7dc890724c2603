"""Pairing in a real browser: anyone looks, the first change asks for the six digits."""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any

import pytest

from monitor.access.doorkeeper import Doorkeeper
from tests.waiting import awaited
from tests.web.held import held, hold, hold_no_more, let_go, shown_again
from tests.web.kept import CODE, TONIGHT, KeptClient
from tests.web.looking import script, text, visited
from web.answers import newest_snapshot

SHEET = "document.getElementById('pair-sheet').open"
SONG = {"class": "gig", "do": "song", "gig": TONIGHT}


@pytest.fixture
def box() -> Iterator[KeptClient]:
    client = KeptClient(control="code")
    yield client
    client.close()


@pytest.fixture
def page(window: Any, box: KeptClient) -> Iterator[Any]:
    with visited(window, box) as url:
        window.get(url)
        window.delete_all_cookies()
        assert awaited(lambda: "on for" in text(window, "gig-words"), 10.0)
        yield window
        window.delete_all_cookies()


def click(driver: Any, element_id: str) -> None:
    driver.execute_script(f"document.getElementById('{element_id}').click()")


def type_code(driver: Any, code: str) -> None:
    driver.execute_script(
        "const i = document.getElementById('pair-code'); i.value = arguments[0];"
        "document.getElementById('pair-go').click()",
        code,
    )


def open_to_all(box: KeptClient) -> None:
    box.door = Doorkeeper("open")
    awaited(lambda: newest_snapshot(box)["access"]["control"] == "open", 10.0)


def test_the_tap_that_was_meant_goes_through_after_the_digits(page: Any, box: KeptClient) -> None:
    click(page, "gig-song")
    assert awaited(lambda: bool(script(page, SHEET)), 10.0)
    assert awaited(lambda: "shows six digits" in text(page, "pair-words"), 10.0)
    assert script(page, "document.activeElement.id") == "pair-code"
    assert script(page, "document.activeElement.inputMode") == "numeric"
    assert SONG not in box.asked
    type_code(page, "12345")
    assert text(page, "pair-said") == "the code has 6 digits, these are 5"
    type_code(page, "000000")
    assert awaited(lambda: "not the code" in text(page, "pair-said"), 10.0)
    assert SONG not in box.asked
    type_code(page, " 135-790 ")  # as people write it down
    assert awaited(lambda: SONG in box.asked, 10.0)
    assert awaited(lambda: not script(page, SHEET), 10.0)
    # Once: the next tap goes through, also after a reload.
    page.refresh()
    assert awaited(lambda: "now 1" in text(page, "gig-song"), 10.0)
    click(page, "gig-song")
    assert awaited(lambda: box.song == 2, 10.0)
    assert not script(page, SHEET)
    # No script can read the key.
    assert script(page, "document.cookie") == ""


def test_six_digits_on_a_keypad_need_no_key_to_send_them(page: Any, box: KeptClient) -> None:
    click(page, "gig-song")
    assert awaited(lambda: "shows six digits" in text(page, "pair-words"), 10.0)
    page.switch_to.active_element.send_keys(CODE)
    assert awaited(lambda: box.song == 1, 10.0)
    assert [one for one in box.asked if one["class"] == "pair"] == [
        {"class": "pair", "code": CODE, "name": "laptop", "from": "127.0.0.1"}
    ]


def test_only_looking_changes_nothing_and_says_so(page: Any, box: KeptClient) -> None:
    click(page, "gig-song")
    assert awaited(lambda: bool(script(page, SHEET)), 10.0)
    click(page, "pair-leave")
    assert awaited(lambda: "only looks" in text(page, "gig-said"), 10.0)
    assert box.song == 0


def test_after_wrong_digits_the_page_waits_as_long_as_the_box_says(
    page: Any, box: KeptClient
) -> None:
    click(page, "gig-song")
    assert awaited(lambda: "shows six digits" in text(page, "pair-words"), 10.0)
    shown = (
        "[...['pair-wait', 'pair-said'].map((id) => document.getElementById(id).textContent),"
        " document.getElementById('pair-go').disabled]"
    )
    for number in range(12):
        type_code(page, f"{number:06d}")
        assert awaited(lambda: text(page, "pair-said") != "", 10.0)  # it is answered
        wait, said, is_held = script(page, shown)
        if wait:
            break
    assert wait.startswith("again in ")
    assert said == "too many wrong codes"  # the seconds count beside it
    assert is_held
    click(page, "pair-leave")


def test_a_sheet_that_does_not_come_is_said_and_the_next_tap_is_asked_again(
    page: Any, box: KeptClient
) -> None:
    page.execute_cdp_cmd("Network.enable", {})
    page.execute_cdp_cmd("Network.setBlockedURLs", {"urls": ["*/pairing.js"]})
    try:
        click(page, "gig-song")
        awaited(lambda: "six digits did not come" in text(page, "gig-said"), 10.0)
        page.execute_script("document.getElementById('gig-said').textContent = ''")
        click(page, "gig-song")
        awaited(lambda: "six digits did not come" in text(page, "gig-said"), 10.0)
    finally:
        page.execute_cdp_cmd("Network.setBlockedURLs", {"urls": []})
    assert not script(page, SHEET)
    open_to_all(box)
    click(page, "gig-song")
    awaited(lambda: box.song == 1, 10.0)
    assert text(page, "gig-said") == ""


def test_a_command_that_breaks_on_the_page_holds_up_none_behind_it(
    page: Any, box: KeptClient
) -> None:
    open_to_all(box)
    page.execute_script(
        "window.real = AbortSignal.timeout;"
        "AbortSignal.timeout = () => { throw new Error('a bug'); };"
    )
    click(page, "gig-song")
    awaited(lambda: "failed on it" in text(page, "gig-said"), 10.0)
    page.execute_script("AbortSignal.timeout = window.real")
    click(page, "gig-song")
    awaited(lambda: box.song == 1, 10.0)


def test_how_long_the_digits_stay_is_what_the_box_says(page: Any, box: KeptClient) -> None:
    for _ in range(2):  # opened again, it is less
        asked_mono_s = time.monotonic()
        click(page, "gig-song")
        assert awaited(lambda: script(page, SHEET), 10.0)  # until then the words are the last ones
        assert awaited(lambda: "They stay for" in text(page, "pair-words"), 10.0)
        click(page, "pair-leave")
        time.sleep(1.5)
        stay_s = int(text(page, "pair-words").split("stay for ")[1].split(" s")[0])
    window = box.door.ask(time.monotonic(), "127.0.0.1")
    assert window.lasts_s is not None
    # As of when it was asked for, in whole seconds.
    assert window.lasts_s <= stay_s <= window.lasts_s + time.monotonic() - asked_mono_s + 1.0


def test_looking_alone_asks_for_nothing_that_changes(page: Any, box: KeptClient) -> None:
    for room in ("place", "level", "ring-out", "after", "set"):
        page.execute_script(f"location.hash = '#{room}'")
        assert awaited(lambda: script(page, "document.body.dataset.room") == room, 10.0)  # noqa: B023
        time.sleep(0.3)
    assert not script(page, SHEET)
    looking = {"gigs", "venues", "record", "recollection", "plan_get", "key_check", "phones"}
    assert {command["class"] for command in box.asked} <= looking


def test_phones_are_listed_and_taken_back(page: Any, box: KeptClient) -> None:
    box.phones.pair("old phone", _now())
    click(page, "gig-song")
    assert awaited(lambda: "shows six digits" in text(page, "pair-words"), 10.0)
    type_code(page, CODE)
    assert awaited(lambda: box.song == 1, 10.0)
    page.execute_script("document.getElementById('who').open = true")
    listed = "[...document.querySelectorAll('#who-phones span')].map((one) => one.textContent)"
    assert awaited(lambda: len(script(page, listed)) == 2, 10.0), script(page, listed)
    assert "may change things" in text(page, "who-words")
    old = "[...document.querySelectorAll('#who-phones button')].at(-1)"
    page.execute_script(f"{old}.click()")
    assert len(box.phones) == 2  # it asks back
    time.sleep(0.8)  # read by then: a double tap is none
    page.execute_script(f"{old}.click()")
    assert awaited(lambda: len(box.phones) == 1, 10.0)
    assert awaited(lambda: len(script(page, listed)) == 1, 10.0)


@pytest.mark.parametrize(
    ("control", "words"),
    [("open", "Anyone on this Wi-Fi may change"), ("off", "Nobody can change")],
)
def test_open_and_off_are_said_quietly(
    page: Any, box: KeptClient, control: str, words: str
) -> None:
    box.door = Doorkeeper(control)  # type: ignore[arg-type]
    box.phones.revision += 1
    page.execute_script("document.getElementById('who').open = true")
    assert awaited(lambda: words in text(page, "who-words"), 10.0)
    assert script(page, "document.getElementById('who-pair').hidden")
    click(page, "gig-song")
    if control == "open":
        assert awaited(lambda: box.song == 1, 10.0)
    else:
        assert awaited(lambda: "switched off" in text(page, "gig-said"), 10.0)
    assert not script(page, SHEET)


def test_a_paired_phone_tells_a_box_without_a_clock_the_time(page: Any, box: KeptClient) -> None:
    click(page, "gig-song")
    assert awaited(lambda: "shows six digits" in text(page, "pair-words"), 10.0)
    type_code(page, CODE)
    assert awaited(lambda: box.song == 1, 10.0)
    assert [one for one in box.asked if one["class"] == "clock"] == []
    box.dated = "believed"
    assert awaited(lambda: box.dated == "phone", 10.0)
    told = [one["utc_s"] for one in box.asked if one["class"] == "clock"]
    assert told == [pytest.approx(time.time(), abs=30.0)]


def test_a_wrong_time_of_another_phone_is_put_right_once(page: Any, box: KeptClient) -> None:
    """Once: two phones that differ would go on for ever."""

    def told() -> list[float]:
        return [one["utc_s"] for one in box.asked if one["class"] == "clock"]

    box.door = Doorkeeper("open")
    box.dated, box.utc_s = "phone", time.time() + 40.0
    time.sleep(1.0)
    assert told() == []
    box.utc_s = time.time() - 3600.0
    assert awaited(lambda: len(told()) == 1, 10.0)
    assert told() == [pytest.approx(time.time(), abs=30.0)]
    page.execute_script("document.dispatchEvent(new CustomEvent('paired'))")  # it may ask again
    box.utc_s = time.time() + 7200.0
    time.sleep(1.5)
    assert len(told()) == 1


def test_no_key_is_no_hindrance_to_the_time_of_somebody_else(page: Any, box: KeptClient) -> None:
    """A phone that only looks does not tell the time, and is not asked for digits either."""
    box.dated = "believed"
    time.sleep(1.0)
    assert not script(page, SHEET)
    assert box.dated == "believed"
    assert TONIGHT in box.records


def _now() -> Any:
    from monitor import clock

    return clock.now()


def test_digits_that_go_by_themselves_and_by_the_button_are_one_try(
    page: Any, box: KeptClient
) -> None:
    """The sixth digit sends them, and a thumb is on its way to the button."""
    click(page, "gig-song")
    assert awaited(lambda: script(page, SHEET), 10.0)
    assert awaited(lambda: "digits" in text(page, "pair-words"), 10.0)
    hold(page, "/api/v1/pair")
    page.execute_script(
        "const i = document.getElementById('pair-code'); i.value = arguments[0];"
        "i.dispatchEvent(new Event('input', { bubbles: true }));"
        "document.getElementById('pair-go').click()",
        CODE,
    )
    held(page, 1)
    shown_again(page)
    hold_no_more(page)
    assert awaited(lambda: not script(page, SHEET), 10.0)
    assert [one["class"] for one in box.asked].count("pair") == 1


def test_an_older_list_of_phones_does_not_come_over_a_newer_one(page: Any, box: KeptClient) -> None:
    click(page, "gig-song")
    assert awaited(lambda: "shows six digits" in text(page, "pair-words"), 10.0)
    type_code(page, CODE)
    assert awaited(lambda: box.song == 1, 10.0)
    page.execute_script("document.getElementById('who').open = true")
    assert awaited(lambda: "may change things" in text(page, "who-words"), 10.0)
    hold(page, "/api/v1/pair")
    page.execute_script("document.dispatchEvent(new CustomEvent('paired'))")
    held(page, 1)
    box.phones.pair("old phone", _now())
    page.execute_script("document.dispatchEvent(new CustomEvent('paired'))")
    shown_again(page)
    let_go(page)
    shown_again(page)
    hold_no_more(page)
    assert awaited(lambda: "old phone" in text(page, "who-phones"), 10.0)
    shown_again(page)
    assert "old phone" in text(page, "who-phones")
