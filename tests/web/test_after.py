"""The room After, the gig's strip, the venue's sheet and what is known of a venue."""

from __future__ import annotations

import json
import time
from datetime import timedelta, timezone
from pathlib import Path
from typing import Any

import pytest

import web.gig_routes
from monitor.link.messages import LinkError
from monitor.report.next_time import next_lines
from tests.browser import resize
from tests.waiting import awaited
from tests.web.conftest import PHONE, both_sizes
from tests.web.kept import (
    BEFORE,
    CHAPEL,
    FIRST,
    HERON,
    MEMORY,
    TONIGHT,
    KeptClient,
    made_record,
    rang_at,
)
from tests.web.looking import click, script, tap_on, text, visited
from web.records import Busy


@pytest.fixture
def box() -> Any:
    client = KeptClient()
    yield client
    client.close()


@pytest.fixture
def page(size: tuple[int, int], window: Any, box: KeptClient) -> Any:
    resize(window, *size)
    with visited(window, box) as url:
        window.get(url + "#after")
        assert awaited(lambda: "14 rings" in text(window, "af-say"), 20.0), text(window, "af-said")
        # Where the record comes before the first snapshot, it is read again.
        awaited(lambda: text(window, "af-which") == "the gig that is on", 20.0)
        yield window
    resize(window, *PHONE)


def room(driver: Any, name: str) -> None:
    driver.execute_script(f"location.hash = '#{name}'")
    assert awaited(lambda: script(driver, "document.body.dataset.room") == name, 10.0)


def fill(driver: Any, element_id: str, value: str) -> None:
    driver.execute_script(
        "document.getElementById(arguments[0]).value = arguments[1]", element_id, value
    )


@both_sizes
def test_tonight_is_shown_with_what_rang_and_what_was_won(page: Any, box: KeptClient) -> None:
    assert text(page, "af-which") == "the gig that is on"
    assert text(page, "af-say") == "14 rings, 2 of them howls"
    assert text(page, "af-venue") == HERON["name"]
    box.venue = HERON  # and on the button above, so that it need not be said twice
    assert awaited(lambda: text(page, "gig-venue") == HERON["name"], 10.0)
    assert awaited(lambda: text(page, "af-venue") == "", 10.0)
    rows = script(
        page,
        "[...document.querySelectorAll('#af-rings tbody tr')].map((row) =>"
        " [...row.children].map((cell) => cell.textContent))",
    )
    # Of every four rings two are at 2.5k, one each at 315 and 1k: 7, 4 and 3 of 14.
    assert [row[:2] for row in rows] == [["2.5k", "7"], ["315", "4"], ["1k", "3"]]
    figures = text(page, "af-figures")
    for words in ("6.5 dB won, 2 sliders pulled", "2.5k -6 dB", "wedge too near"):
        assert words in figures
    assert script(page, "document.documentElement.scrollWidth <= innerWidth")


@both_sizes
def test_the_evening_is_drawn_in_the_page_s_own_inks(page: Any) -> None:
    svg = "document.querySelector('#af-timeline svg')"
    assert awaited(lambda: bool(script(page, f"!!{svg}")), 20.0)
    assert script(page, f"{svg}.getAttribute('aria-label')")
    assert "var(--" in script(page, f"{svg}.outerHTML")


def test_what_to_do_next_time_is_the_report_s_list(page: Any, box: KeptClient) -> None:
    lines = "[...document.querySelectorAll('#af-next li')].map((li) => li.textContent)"
    assert awaited(lambda: len(script(page, lines)) > 0, 20.0)
    zone = timezone(timedelta(minutes=script(page, "-new Date().getTimezoneOffset()")))
    advice = next_lines(box.records[TONIGHT], MEMORY, zone=zone)
    assert script(page, lines) == [one.do + one.why for one in advice]


def test_times_are_the_phone_s_own(page: Any) -> None:
    """Kolkata keeps UTC+5:30 all year (tz database); the gig began at 19:30 UTC."""
    page.execute_cdp_cmd("Emulation.setTimezoneOverride", {"timezoneId": "Asia/Kolkata"})
    try:
        page.refresh()
        times = "[...document.querySelectorAll('#af-timeline text')].map((t) => t.textContent)"
        assert awaited(lambda: "01:00" in script(page, times), 20.0), script(page, times)
        assert "19:30" not in script(page, times)
        assert "01:00 to 03:34" in text(page, "af-detail")
        report = "document.querySelector('#af-links a[data-file=\"report.html\"]').href"
        assert str(script(page, report)).endswith("report.html?utc_offset_min=330")
        table = "document.querySelector('#af-links a[data-file=\"rings.csv\"]').href"
        assert str(script(page, table)).endswith("rings.csv")  # UTC, whoever reads it
    finally:
        page.execute_cdp_cmd("Emulation.setTimezoneOverride", {"timezoneId": ""})


def test_what_it_gives_out_is_there(page: Any) -> None:
    answers = page.execute_async_script(
        "const done = arguments[0];"
        "Promise.all([...document.querySelectorAll('#af-links a')].map(async (a) =>"
        " { const r = await fetch(a.href); return [a.dataset.file, r.status]; })).then(done)"
    )
    assert dict(answers) == dict.fromkeys(
        ("report.html", "rings.csv", "happenings.csv", "record.json"), 200
    )


def test_the_gig_is_ended_by_the_second_tap(page: Any, box: KeptClient) -> None:
    click(page, "#af-end")
    assert text(page, "af-end") == "sure? tap again"
    assert box.on
    tap_on(page, "#af-end")
    assert awaited(lambda: not box.on, 10.0)
    assert awaited(lambda: script(page, "document.getElementById('af-end').hidden"), 10.0)
    said = "ended by hand; sound begins a new one in 14 min"
    assert awaited(lambda: text(page, "gig-words") == said, 10.0)
    assert script(page, "document.getElementById('gig-words').checkVisibility()")
    click(page, "#gig-begin")
    assert awaited(lambda: box.on, 10.0)
    assert awaited(lambda: script(page, "document.getElementById('gig-begin').hidden"), 10.0)


def test_without_a_gig_one_is_said_to_begin_by_itself(page: Any, box: KeptClient) -> None:
    """What begins it is more than the first sound: sound counts against the quietest minute."""
    box.on = False
    said = "no gig is on: one begins by itself"
    assert awaited(lambda: text(page, "gig-words") == said, 10.0)


def test_a_double_tap_ends_nothing_and_deletes_nothing(page: Any, box: KeptClient) -> None:
    for selector in ("#af-end", "#af-delete"):
        # At one go: what comes later is no double tap.
        page.execute_script(
            "const b = document.querySelector(arguments[0]); b.click(); b.click(); b.click()",
            selector,
        )
        assert script(page, f"document.querySelector('{selector}').textContent").startswith("sure")
    time.sleep(0.5)
    assert box.on
    assert [one for one in box.asked if one["class"] == "gig"] == []


def test_a_delete_asked_of_one_gig_is_not_done_to_the_next(page: Any, box: KeptClient) -> None:
    click(page, f"#gig-list [data-gig='{FIRST}']")
    assert awaited(lambda: text(page, "af-say") == "Nothing rang", 10.0)
    click(page, "#af-delete")
    click(page, f"#gig-list [data-gig='{BEFORE}']")
    assert text(page, "af-delete") == "delete this gig"
    tap_on(page, "#af-delete")
    assert text(page, "af-delete") == "sure? tap again"
    assert {FIRST, BEFORE} <= set(box.records)


def test_a_name_that_is_being_typed_outlasts_the_looks_at_the_gig(
    page: Any, box: KeptClient
) -> None:
    """The gig that is on is read again by itself; here the same happens sooner."""
    value = "document.getElementById('af-name-text').value"
    page.execute_script("document.querySelector('#af-body details').open = true")
    page.find_element("id", "af-name-text").send_keys("The Ferry La")

    def reads() -> int:
        return len([one for one in box.asked if one["class"] == "record"])

    before = reads()
    page.execute_script("document.dispatchEvent(new CustomEvent('gigs'))")
    assert awaited(lambda: reads() > before, 10.0)
    time.sleep(0.5)
    assert script(page, value) == "The Ferry La"
    page.execute_script("document.activeElement.blur()")
    page.execute_script("document.dispatchEvent(new CustomEvent('gigs'))")
    time.sleep(0.5)
    assert script(page, value) == "The Ferry La"
    click(page, f"#gig-list [data-gig='{BEFORE}']")
    assert awaited(lambda: script(page, value) == "", 10.0)  # another gig has a name of its own


def test_a_gig_that_ends_elsewhere_is_no_longer_called_on(page: Any, box: KeptClient) -> None:
    """By itself, by another phone, or here with a snapshot that came late."""
    assert text(page, "af-which") == "the gig that is on"
    box.on = False
    assert awaited(lambda: text(page, "af-which") == "", 10.0)
    assert text(page, "af-venue") == HERON["name"], "where it was is said once"
    assert script(page, "document.getElementById('af-end').hidden")
    assert "on now" not in text(page, "gig-list")


def test_what_is_no_longer_known_of_a_gig_is_said(page: Any, box: KeptClient) -> None:
    """Of very old gigs rings go; the list counts them, and so does the gig."""
    record = box.records[BEFORE]
    record["rings"] = []
    record["gig"] |= {"rings_gone": 5, "howls_gone": 1, "in_doubt": True}
    click(page, f"#gig-list [data-gig='{BEFORE}']")
    assert awaited(lambda: text(page, "af-say") == "5 rings, 1 of them a howl", 10.0)
    assert "no longer kept5 of them" in text(page, "af-figures")
    assert "not surethat this was one gig" in text(page, "af-figures"), "as the report says it"


def test_the_slider_that_howled_stands_first_as_in_the_report(page: Any, box: KeptClient) -> None:
    rings = [rang_at(60.0 * n, 1000.0, "ringing", 2.0) for n in range(3)]
    box.records[BEFORE]["rings"] = [*rings, rang_at(400.0, 2500.0, "howl", 200.0)]
    click(page, f"#gig-list [data-gig='{BEFORE}']")
    cells = (
        "[...document.querySelectorAll('#af-rings tbody tr')].map((row) =>"
        " [...row.children].map((cell) => cell.textContent))"
    )
    expected = [["2.5k", "1", "1", "3 min"], ["1k", "3", "", "2.0 s"]]
    assert awaited(lambda: script(page, cells) == expected, 10.0), script(page, cells)


def test_a_note_is_of_the_gig_that_is_on(page: Any, box: KeptClient) -> None:
    fill(page, "af-note-text", "the drummer sat nearer")
    click(page, "#af-note button")
    assert awaited(lambda: "the drummer sat nearer" in text(page, "af-figures"), 10.0)
    click(page, f"#gig-list [data-gig='{BEFORE}']")
    assert awaited(lambda: "5 rings" in text(page, "af-say"), 10.0)
    assert script(page, "document.getElementById('af-note').hidden")


def test_another_gig_is_looked_at_named_and_deleted(page: Any, box: KeptClient) -> None:
    buttons = "[...document.querySelectorAll('#gig-list button')].map((b) => b.textContent)"
    assert len(script(page, buttons)) == 3
    assert "31 Dec 2025?" in script(page, buttons)[2]  # nobody confirmed that clock
    click(page, f"#gig-list [data-gig='{BEFORE}']")
    assert awaited(lambda: text(page, "af-say") == "5 rings, 1 of them a howl", 10.0)
    assert script(page, "document.activeElement.id") == "after-title"
    fill(page, "af-name-text", "The Ferry Lamps in October")
    click(page, "#af-name button")
    assert awaited(lambda: text(page, "af-which") == "The Ferry Lamps in October", 10.0)
    click(page, "#af-delete")
    assert BEFORE in box.records
    tap_on(page, "#af-delete")
    assert awaited(lambda: BEFORE not in box.records, 10.0)
    assert awaited(lambda: len(script(page, buttons)) == 2, 10.0)
    assert awaited(lambda: script(page, "document.activeElement.id") == "after-title", 10.0)


def test_the_list_keeps_the_focus_and_what_was_opened_of_it(page: Any, box: KeptClient) -> None:
    for i in range(30):
        uid = f"{i:015x}e"
        box.records[uid] = made_record(uid, None, "2025-06-01T18:00:00Z", 0)
    count = "document.querySelectorAll('#gig-list button').length"
    page.execute_script("document.dispatchEvent(new CustomEvent('gigs'))")
    assert awaited(lambda: script(page, count) == 20, 10.0)
    click(page, "#gigs-more")
    assert awaited(lambda: script(page, count) == 33, 10.0)
    page.execute_script(f"document.querySelector(\"[data-gig='{uid}']\").focus()")
    asked = len([one for one in box.asked if one["class"] == "gigs"])
    page.execute_script("document.dispatchEvent(new CustomEvent('gigs'))")
    assert awaited(lambda: len([one for one in box.asked if one["class"] == "gigs"]) > asked, 10.0)
    time.sleep(0.5)
    assert script(page, count) == 33
    assert script(page, "document.activeElement.dataset.gig") == uid


def test_what_did_not_come_comes_as_soon_as_the_box_answers(window: Any, box: KeptClient) -> None:
    """Nobody goes to another room and back for it."""
    box.gone = True
    with visited(window, box) as url:
        window.get(url + "#after")
        said = "as soon as the box answers"
        assert awaited(lambda: said in text(window, "af-detail"), 20.0)
        box.gone = False
        assert awaited(lambda: "14 rings" in text(window, "af-say"), 20.0)
        assert awaited(lambda: HERON["name"] in text(window, "venues"), 10.0)


def test_a_picture_that_another_phone_holds_up_is_waited_for(
    window: Any, box: KeptClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Records are drawn one at a time; who would wait too long is told when to ask again."""
    tries: list[str] = []
    drawn = web.gig_routes._drawn

    def busy_at_first(record: Any, memory: Any, name: str, wish: Any) -> Any:
        tries.append(name)
        if tries.count(name) == 1:
            raise Busy("another record is being read; try again in a moment")
        return drawn(record, memory, name, wish)

    monkeypatch.setattr(web.gig_routes, "_drawn", busy_at_first)
    with visited(window, box) as url:
        window.get(url + "#after")
        # By itself, and not because a gig that is on is read again every 15 s.
        assert awaited(lambda: script(window, "!!document.querySelector('#af-timeline svg')"), 12.0)
        assert tries.count("timeline.svg") == 2


@both_sizes
def test_a_name_of_sixty_letters_takes_two_lines(page: Any, box: KeptClient) -> None:
    box.records[BEFORE]["gig"]["venue"] = {"uid": HERON["uid"], "name": "W" * 60}
    click(page, f"#gig-list [data-gig='{BEFORE}']")
    assert awaited(lambda: text(page, "af-venue") == "W" * 60, 10.0)
    lines = (
        "((e) => e.clientHeight / parseFloat(getComputedStyle(e).lineHeight))"
        "(document.getElementById('af-venue'))"
    )
    assert script(page, lines) < 2.2


def test_a_gig_without_rings_and_with_a_doubtful_date(page: Any) -> None:
    click(page, f"#gig-list [data-gig='{FIRST}']")
    assert awaited(lambda: text(page, "af-say") == "Nothing rang", 10.0)
    assert "which nobody confirmed" in text(page, "af-detail")
    assert script(page, "document.getElementById('af-rings').hidden")


def test_a_venue_is_renamed_and_deleted(page: Any, box: KeptClient) -> None:
    lines = "[...document.querySelectorAll('#venues summary')].map((one) => one.textContent)"
    assert awaited(lambda: len(script(page, lines)) == 2, 10.0)
    assert script(page, lines)[1] == "Tin Chapel 0 gigs"
    assert script(page, lines)[0].startswith("Back Room of the Blue Heron 2 gigs, last ")
    chapel = f"#venues [data-venue='{CHAPEL['uid']}']"
    click(page, f"{chapel} summary")
    fill(page, f"venue-{CHAPEL['uid']}", HERON["name"])
    click(page, f"{chapel} form button")
    assert awaited(lambda: "already" in text(page, "venues-said"), 10.0)
    fill(page, f"venue-{CHAPEL['uid']}", " Slate Chapel ")
    click(page, f"{chapel} form button")
    assert awaited(lambda: script(page, lines)[1] == "Slate Chapel 0 gigs", 10.0)
    assert text(page, "venues-said") == ""
    focused = "document.activeElement.parentElement.dataset.venue"
    assert awaited(lambda: script(page, focused) == CHAPEL["uid"], 10.0)
    heron = f"#venues [data-venue='{HERON['uid']}']"
    assert "Its gigs stay" in script(page, f'document.querySelector("{heron}").textContent')
    click(page, f"{heron} summary")
    click(page, f"{heron} > button")
    assert len(box.venues) == 2  # the first look only
    page.execute_script(f'document.querySelector("{heron} > button").focus()')  # as a finger does
    tap_on(page, f"{heron} > button")
    assert awaited(lambda: script(page, lines) == ["Slate Chapel 0 gigs"], 10.0)
    assert [v["uid"] for v in box.venues] == [CHAPEL["uid"]]
    assert awaited(lambda: script(page, "document.activeElement.id") == "venues-title", 10.0)


def test_the_memory_says_rig_room_or_not_yet_with_its_reason(page: Any) -> None:
    lines = (
        "[...document.querySelectorAll('#memory-bands li')].map((li) => [li.dataset.verdict,"
        " li.querySelector('b').textContent, li.querySelector('p').textContent])"
    )
    assert awaited(lambda: len(script(page, lines)) == 3, 10.0)
    verdicts = script(page, lines)
    assert [one[:2] for one in verdicts] == [
        ["rig", "2.5k: the rig"],
        ["room", f"315: the room, {HERON['name']}"],
        ["unsure", "1k: not sure yet"],
    ]
    assert "not enough evenings" in verdicts[2][2]


def test_of_much_that_rang_here_the_worst_is_told(
    page: Any, box: KeptClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    page.execute_script("localStorage.removeItem('here')")
    told = [(1, 2), (2, 0), (1, 0), (1, 5), (2, 3), (1, 1)]
    rang = [{"words": f"ring {i}", "evenings": n, "howls": h} for i, (n, h) in enumerate(told)]
    monkeypatch.setitem(MEMORY["venue"], "rang", rang)
    room(page, "set")
    box.venue = HERON
    lines = "[...document.querySelectorAll('#here-rang li')].map((li) => li.textContent)"
    worst = ["ring 0", "ring 1", "ring 3", "ring 4", "and 2 more"]
    assert awaited(lambda: script(page, lines) == worst, 10.0), script(page, lines)


def test_a_memory_that_can_tell_nothing_yet_makes_no_list_of_it(
    page: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    bands = "document.querySelectorAll('#memory-bands li').length"
    assert awaited(lambda: script(page, bands) == 3, 10.0)
    monkeypatch.setitem(MEMORY, "enough", False)
    page.execute_script("document.dispatchEvent(new CustomEvent('gigs'))")
    assert awaited(lambda: script(page, bands) == 0, 10.0)
    assert text(page, "memory-words")


def test_a_file_of_another_box_comes_in_by_pieces(
    page: Any, box: KeptClient, tmp_path: Path
) -> None:
    brought = made_record("00000000000000c1", HERON, "2026-09-01T19:00:00Z", 200)
    brought["gig"]["title"] = "Fährhaus \U0001f3a4"  # counted alike on both ends
    file = tmp_path / "gig.json"
    file.write_text(json.dumps(brought, ensure_ascii=False), encoding="utf-8")
    page.find_element("id", "bring").send_keys(str(file))
    assert awaited(lambda: "came in: 1 gig, 200 rings" in text(page, "bring-said"), 20.0), text(
        page, "bring-said"
    )
    assert box.records["00000000000000c1"] == brought
    pieces = [one for one in box.asked if one["class"] == "import"]
    assert len(pieces) > 1
    listed = "[...document.querySelectorAll('#gig-list button')].map((b) => b.textContent).join()"
    assert awaited(lambda: "Fährhaus" in script(page, listed), 10.0)


def test_what_is_no_record_is_refused_here(page: Any, box: KeptClient, tmp_path: Path) -> None:
    file = tmp_path / "song.txt"
    file.write_text("la la", encoding="utf-8")
    page.find_element("id", "bring").send_keys(str(file))
    assert awaited(lambda: "song.txt is no record" in text(page, "bring-said"), 10.0)
    assert not [one for one in box.asked if one["class"] == "import"]


@pytest.mark.parametrize("where", ["set", "place", "after"])
def test_the_venue_is_one_tap_away(page: Any, box: KeptClient, where: str) -> None:
    room(page, where)
    click(page, "#gig-venue")
    names = "[...document.querySelectorAll('#venue-list b')].map((b) => b.textContent)"
    assert awaited(lambda: len(script(page, names)) == 2, 10.0)
    click(page, "#venue-list button")
    assert awaited(lambda: box.venue == HERON, 10.0)
    assert awaited(lambda: text(page, "gig-venue") == HERON["name"], 10.0)
    assert awaited(lambda: not script(page, "document.getElementById('venue-sheet').open"), 10.0)


def test_a_new_venue_has_a_name(page: Any, box: KeptClient) -> None:
    room(page, "set")
    click(page, "#gig-venue")
    assert awaited(lambda: script(page, "document.getElementById('venue-sheet').open"), 10.0)
    fill(page, "venue-name", "  Ropewalk Hall ")
    click(page, "#venue-form button")
    assert awaited(lambda: (box.venue or {}).get("name") == "Ropewalk Hall", 10.0)


def test_the_next_song_is_counted(page: Any, box: KeptClient) -> None:
    room(page, "set")
    assert text(page, "gig-song") == "first song"
    click(page, "#gig-song")
    assert awaited(lambda: text(page, "gig-song") == "next song, now 1", 10.0)


@both_sizes
def test_what_is_known_here_is_shown_until_it_is_put_away(page: Any, box: KeptClient) -> None:
    page.execute_script("localStorage.removeItem('here')")
    room(page, "set")
    here = "document.getElementById('here')"
    assert script(page, f"{here}.hidden")
    box.venue = HERON
    assert awaited(lambda: script(page, f"{here}.checkVisibility()"), 10.0)
    assert "2.48 kHz on 2 of 2 evenings, 3 howls" in text(page, "here-rang")
    assert "more" not in text(page, "here-rang")
    assert "2.5k by 4 dB: pulled by 6 and by 4 on both evenings here" in text(page, "here-pulls")
    # It never pushes the main thing away.
    top = script(page, f"{here}.getBoundingClientRect().top")
    assert top > script(page, "document.getElementById('state').getBoundingClientRect().bottom")
    room(page, "ring-out")
    assert script(page, f"{here}.checkVisibility()")
    click(page, "#here-done")
    told = {"class": "pull", "slider": 21, "cut_db": -4}
    assert awaited(lambda: told in box.asked, 10.0), box.asked
    assert awaited(lambda: script(page, f"{here}.hidden"), 10.0)
    assert script(page, "document.activeElement.id") == "ring-out-title"
    page.refresh()
    assert awaited(lambda: text(page, "gig-venue") == HERON["name"], 10.0)
    assert script(page, f"{here}.hidden")  # put away for this gig
    assert TONIGHT in script(page, "localStorage.getItem('here')")


def test_where_a_filter_is_to_stand_is_said_before_its_depth(
    page: Any, box: KeptClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    page.execute_script("localStorage.removeItem('here')")
    one = {"label": "filter 2", "centre_hz": 224.5, "q": 0.94, "pull_db": 6.0, "why": "it rang"}
    mid = {"label": "mid", "centre_hz": 884.0, "q": 0.7, "pull_db": 3.5, "why": "it rang"}
    monkeypatch.setitem(MEMORY, "venue", {**MEMORY["venue"], "begin_with": [one, mid]})
    room(page, "set")
    box.venue = HERON
    assert awaited(lambda: "filter 2" in text(page, "here-pulls"), 10.0)
    assert "filter 2 (225 Hz, Q 0.9) by 6 dB: it rang" in text(page, "here-pulls")
    assert "mid (884 Hz) by 3.5 dB: it rang" in text(page, "here-pulls")


LAST = "document.getElementById('here-last')"
LAST_LINES = "[...document.querySelectorAll('#here-last-lines li')].map((li) => li.textContent)"


@pytest.fixture
def second_evening(page: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """One gig was here before: the memory has no cuts yet."""
    page.execute_script("localStorage.removeItem('here')")
    once = {"rang": [], "begin_with": [], "gig_count": 1}
    monkeypatch.setitem(MEMORY, "venue", {**MEMORY["venue"], **once})
    monkeypatch.setitem(MEMORY, "bands", [])


@pytest.mark.usefixtures("second_evening")
def test_on_the_second_evening_the_lines_of_the_first_are_there(page: Any, box: KeptClient) -> None:
    room(page, "set")
    box.venue = HERON
    assert awaited(lambda: script(page, f"{LAST}.checkVisibility()"), 10.0)
    zone = timezone(timedelta(minutes=script(page, "-new Date(2026, 9, 16).getTimezoneOffset()")))
    said = next_lines(box.records[BEFORE], MEMORY, zone=zone)
    assert said[0].do == "Begin with the sliders as they stood: 315 -4 dB, 2.5k -6 dB"
    assert script(page, LAST_LINES) == [one.do + one.why for one in said]
    assert text(page, "here-last-title") == "Last time here, Friday 16 October"  # of 2026, a Friday
    assert text(page, "here-last-other") == ""
    assert not script(page, "document.getElementById('here-begin').checkVisibility()")
    report = page.find_element("id", "here-report").get_attribute("href")
    assert f"/api/v1/gigs/{BEFORE}/report.html?" in report
    room(page, "ring-out")
    assert script(page, f"{LAST}.checkVisibility()")
    # Read once: no snapshot asks again.
    records = [one for one in box.asked if one["class"] == "record" and one["gig"] == BEFORE]
    assert len([one for one in records if one["offset"] == 0]) == 1
    asked = [one for one in box.asked if one["class"] == "recollection" and "but" in one]
    assert [one["but"] for one in asked] == [TONIGHT], "tonight teaches nothing about last time"


@pytest.mark.usefixtures("second_evening")
def test_where_to_begin_is_no_question_once_the_set_has_begun(page: Any, box: KeptClient) -> None:
    room(page, "set")
    # The gig is on for 72 minutes; this ring-out was another evening's.
    box.states["ring_out"], box.begun_mono_s = "done", time.monotonic() - 7200.0
    box.venue = HERON
    assert awaited(lambda: script(page, f"{LAST}.checkVisibility()"), 10.0)
    box.begun_mono_s = time.monotonic() - 3600.0
    assert awaited(lambda: script(page, f"{LAST}.hidden"), 10.0)
    box.states["ring_out"] = "to_do"
    assert awaited(lambda: script(page, f"{LAST}.checkVisibility()"), 10.0)
    box.song = 1
    assert awaited(lambda: script(page, f"{LAST}.hidden"), 10.0)


@pytest.mark.usefixtures("second_evening")
def test_of_another_equaliser_the_sliders_are_said_to_be_that(page: Any, box: KeptClient) -> None:
    last = {**MEMORY["venue"]["last"], "other_equaliser": "10 bands"}
    MEMORY["venue"]["last"] = last
    room(page, "set")
    box.venue = HERON
    assert awaited(lambda: script(page, f"{LAST}.checkVisibility()"), 10.0)
    assert "another equaliser, 10 bands: the sliders named belong to it" in text(page, "here-last")


@pytest.mark.usefixtures("second_evening")
def test_a_last_gig_that_is_deleted_gives_way_to_the_one_before(page: Any, box: KeptClient) -> None:
    room(page, "set")
    box.venue = HERON
    assert awaited(lambda: script(page, f"{LAST}.checkVisibility()"), 10.0)
    MEMORY["venue"]["last"] = {"gig": FIRST}
    del box.records[BEFORE]
    record = made_record(FIRST, HERON, "2025-12-31T18:00:00Z", 5)
    record["happenings"][1]["pulls"][0]["pull_db"] = 2.0
    box.records[FIRST] = record
    assert awaited(lambda: "315 -2 dB" in str(script(page, LAST_LINES)), 10.0)
    assert text(page, "here-last-title") == "Last time here, on a day unknown"
    del MEMORY["venue"]["last"]  # and none is left
    assert awaited(lambda: script(page, f"{LAST}.hidden"), 10.0)


@both_sizes
@pytest.mark.usefixtures("second_evening")
def test_another_gig_here_that_is_brought_in_is_heeded(
    page: Any, box: KeptClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With it two evenings agree on the pulls, and the last one's own are told no more."""
    room(page, "set")
    box.venue = HERON
    assert awaited(lambda: script(page, f"{LAST}.checkVisibility()"), 10.0)
    monkeypatch.undo()
    assert MEMORY["venue"]["gig_count"] == 2
    assert awaited(lambda: script(page, "document.getElementById('here-begin').offsetHeight") > 0)
    assert awaited(lambda: script(page, f"{LAST}.hidden"), 10.0)


def test_what_several_evenings_agree_on_is_not_told_as_last_time_s(
    page: Any, box: KeptClient
) -> None:
    page.execute_script("localStorage.removeItem('here')")
    room(page, "set")
    box.venue = HERON
    read = "performance.getEntriesByType('resource').filter((e) => e.name.includes('/next')).length"
    assert awaited(lambda: script(page, f"{read}") >= 2, 10.0)  # After's, and this one
    known = next_lines(box.records[BEFORE], MEMORY)
    assert [one.is_known for one in known] == [True]
    assert script(page, "document.getElementById('here-pulls').checkVisibility()")
    assert script(page, LAST_LINES) == []
    assert script(page, f"{LAST}.hidden")


def test_nothing_of_it_breaks_the_page_s_own_policy(page: Any, box: KeptClient) -> None:
    page.get_log("browser")
    box.venue = HERON
    for name in ("set", "after"):
        room(page, name)
    assert awaited(
        lambda: bool(script(page, "!!document.querySelector('#af-timeline').firstChild")), 10.0
    )
    severe = [line["message"] for line in page.get_log("browser") if line["level"] == "SEVERE"]
    assert severe == []


def test_a_filter_s_rings_stand_together_and_a_low_cut_is_on(window: Any, box: KeptClient) -> None:
    """A parametric's rings are each told by their own frequency, which is no slider."""
    made = box.records[TONIGHT]
    for n, ring in enumerate(made["rings"]):
        if ring["band"] == "2.5k":
            ring["slider"] = f"2.{43 + n}k"
    for one in made["happenings"]:
        if "pulls" in one:
            one["pulls"] = [{"label": "low cut", "centre_hz": 100.0, "pull_db": 12.3}]
    with visited(window, box) as url:
        window.get(url + "#after")
        assert awaited(lambda: "14 rings" in text(window, "af-say"), 20.0), text(window, "af-said")
        first = script(window, "document.querySelector('#af-rings tbody tr').textContent")
        assert first.startswith("2.5k7"), first
        assert "low cut on" in text(window, "af-figures")
        assert "12.3" not in text(window, "af-figures")


def test_what_the_memory_did_not_say_in_time_is_said(
    window: Any, box: KeptClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def late(_self: KeptClient, _command: dict[str, Any]) -> dict[str, Any]:
        raise LinkError("the watcher did not answer within 5 s")

    monkeypatch.setattr(KeptClient, "_recollection", late)
    with visited(window, box) as url:
        window.get(url + "#after")
        assert awaited(lambda: "still being worked out" in text(window, "memory-words"), 20.0)
        assert "what earlier evenings say is not in this" in text(window, "af-said")
