"""The room After where answers come in another order, or a hand is quicker than they are."""

from __future__ import annotations

from typing import Any

from tests.waiting import awaited
from tests.web.held import held, hold, hold_no_more, let_go, shown_again
from tests.web.kept import CHAPEL, HERON, TONIGHT, KeptClient, made_record
from tests.web.looking import click, module, script, text
from tests.web.test_after import box as box
from tests.web.test_after import fill
from tests.web.test_after import page as page

LISTED = "[...document.querySelectorAll('#gig-list button')].map((b) => b.dataset.gig)"
TYPED = f"document.getElementById('venue-{CHAPEL['uid']}')"
CHAPEL_LINE = f"#venues [data-venue='{CHAPEL['uid']}']"


def look_again(driver: Any) -> None:
    driver.execute_script("document.dispatchEvent(new CustomEvent('gigs'))")


def test_two_taps_on_earlier_ones_bring_them_once(page: Any, box: KeptClient) -> None:
    for n in range(30):
        uid = f"{0xD0 + n:016x}"
        box.records[uid] = made_record(uid, None, "2025-11-20T19:30:00Z", 1)
    look_again(page)
    assert awaited(lambda: len(script(page, LISTED)) == 20, 10.0)
    hold(page, "/api/v1/gigs")
    click(page, "#gigs-more")
    click(page, "#gigs-more")
    held(page, 1)
    shown_again(page)
    hold_no_more(page)
    assert awaited(lambda: script(page, LISTED)[20:] != [], 10.0)
    shown_again(page)
    assert script(page, LISTED) == list(box.records)


def test_an_older_list_does_not_come_over_a_newer_one(page: Any, box: KeptClient) -> None:
    hold(page, "/api/v1/gigs")
    look_again(page)
    held(page, 1)
    box.records[TONIGHT]["gig"]["title"] = "Release night"
    look_again(page)
    shown_again(page)
    let_go(page)
    shown_again(page)
    hold_no_more(page)
    assert awaited(lambda: "Release night" in text(page, "gig-list"), 10.0)
    shown_again(page)
    assert "Release night" in text(page, "gig-list")


def test_a_list_that_is_the_same_stays_under_the_finger(page: Any, box: KeptClient) -> None:
    under = "['#gig-list button', '#memory-bands details'].map((s) => document.querySelector(s))"
    assert awaited(lambda: None not in script(page, under), 10.0)
    page.execute_script(f"window.under = {under}; window.under[1].open = true")
    asked = [one["class"] for one in box.asked].count("venues")
    look_again(page)
    assert awaited(lambda: [one["class"] for one in box.asked].count("venues") > asked, 20.0)
    assert script(page, "window.under.map((one) => one.isConnected)") == [True, True]
    assert script(page, "window.under[1].open")


def test_a_record_that_comes_after_its_gig_has_gone_is_not_shown(page: Any) -> None:
    hold(page, f"/api/v1/gigs/{TONIGHT}/summary")
    module(page, "after", f"(m.read('{TONIGHT}'), 0)")
    held(page, 1)
    module(page, "after", "m.none('Deleted')")
    hold_no_more(page)
    shown_again(page)
    assert text(page, "af-say") == "Deleted"
    assert script(page, "document.getElementById('af-body').hidden")


def test_a_note_that_is_begun_meanwhile_stays(page: Any, box: KeptClient) -> None:
    hold(page, "/api/v1/gig")
    fill(page, "af-note-text", "wedge moved")
    click(page, "#af-note button")
    held(page, 1)
    fill(page, "af-note-text", "new strings af")
    hold_no_more(page)
    assert awaited(lambda: "wedge moved" in text(page, "af-figures"), 10.0)
    assert script(page, "document.getElementById('af-note-text').value") == "new strings af"


def test_a_venue_s_name_is_typed_on_while_another_is_told_anew(page: Any, box: KeptClient) -> None:
    assert awaited(lambda: bool(script(page, f"!!{TYPED}")), 10.0)
    click(page, f"{CHAPEL_LINE} summary")
    page.execute_script(f"{TYPED}.focus()")
    fill(page, f"venue-{CHAPEL['uid']}", "Slate Ch")
    box.venues = [{**HERON, "name": "Blue Heron, upstairs"}, CHAPEL]
    look_again(page)
    assert awaited(lambda: "upstairs" in text(page, "venues"), 20.0)
    assert script(page, f"{TYPED}.value") == "Slate Ch"
    assert script(page, f"document.activeElement === {TYPED}")
    assert script(page, f"document.querySelector({CHAPEL_LINE!r}).open")
    # And what nobody types in follows.
    heron = f"document.getElementById('venue-{HERON['uid']}').value"
    assert script(page, heron) == "Blue Heron, upstairs"


def test_a_hand_that_has_gone_on_keeps_the_focus(page: Any) -> None:
    assert awaited(lambda: bool(script(page, f"!!{TYPED}")), 10.0)
    hold(page, "/api/v1/venues")
    fill(page, f"venue-{CHAPEL['uid']}", "Slate Chapel")
    click(page, f"{CHAPEL_LINE} form button")
    held(page, 1)
    page.execute_script(
        "const field = document.getElementById('af-note-text');"
        "field.closest('details').open = true; field.focus()"
    )
    hold_no_more(page)
    assert awaited(lambda: "Slate Chapel" in text(page, "venues"), 10.0)
    assert script(page, "document.activeElement.id") == "af-note-text"


def test_venues_that_do_not_come_are_not_said_to_be_none(page: Any, box: KeptClient) -> None:
    box.refuse = "the journal is being read"
    click(page, "#gig-venue")
    assert awaited(lambda: text(page, "venue-said") == box.refuse, 10.0)
    assert script(page, "document.getElementById('venue-empty').hidden")


def test_what_is_put_away_is_what_the_hand_saw(page: Any, box: KeptClient) -> None:
    """Its pulls are still being told when the venue is another one."""
    page.execute_script("localStorage.removeItem('here'); location.hash = '#set'")
    box.venue = HERON
    shown = "document.getElementById('here').checkVisibility()"
    assert awaited(lambda: bool(script(page, shown)), 10.0)
    hold(page, "/api/v1/pull")
    click(page, "#here-done")
    held(page, 1)
    box.venue = None
    assert awaited(lambda: not script(page, shown), 10.0)
    hold_no_more(page)
    box.venue = HERON
    kept = "localStorage.getItem('here')"
    assert awaited(lambda: bool(script(page, kept)), 10.0)
    assert script(page, kept) == f"{TONIGHT} {HERON['uid']}"
    page.execute_script("localStorage.removeItem('here')")
