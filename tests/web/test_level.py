"""The room Level in a real browser: what is measured, the sentence, and what is kept."""

from __future__ import annotations

from typing import Any

import pytest

from monitor.level.measuring import NO_LINE
from tests.browser import resize
from tests.waiting import awaited
from tests.web.conftest import both_sizes
from tests.web.evening import LOW_CUT_WAITING, METERS, EveningClient, meter
from tests.web.looking import click, click_when_ready, script, text

NOTHING = {"line": "Set the gain", "box": "Does the box hear?"}
"""What is said before anything is measured."""


@pytest.fixture
def page(window: Any, served: str) -> Any:
    window.get(served + "#level")
    assert awaited(lambda: text(window, "lv-say") == "Set the gain", 10.0)
    return window


def said(driver: Any) -> str:
    return text(driver, "lv-say").replace("\u00a0", " ")


def commands(evening: EveningClient) -> list[dict[str, Any]]:
    return [{k: v for k, v in c.items() if k != "class"} for c in evening.asked]


def xs_of(driver: Any, *selectors: str) -> list[float]:
    """The middles of parts of the meter, of one drawing, in its pixels."""
    boxes = ",".join(f"document.querySelector('#lv-meter {one}').getBBox()" for one in selectors)
    return [float(x) for x in script(driver, f"[{boxes}].map((b) => b.x + b.width / 2)")]


def test_from_measuring_to_a_kept_level(page: Any, evening: EveningClient) -> None:
    click_when_ready(page, "lv-main")
    assert awaited(lambda: said(page) == "turn the gain down 5 dB", 10.0)
    assert commands(evening) == [{"do": "measure", "source": "line"}]
    # The sentence is the largest thing of the room.
    sizes = script(
        page,
        "[...document.querySelectorAll('#level-room *, #low-cut-part *, #strip *')]"
        ".filter((n) => n.checkVisibility() && n.textContent.trim())"
        ".map((n) => [parseFloat(getComputedStyle(n).fontSize), n.id])",
    )
    assert max(sizes)[1] == "lv-say"
    assert "the desk's line" in text(page, "lv-of")
    figures = text(page, "lv-figures").replace("\u00a0", " ")
    for words in ("peak\u22123.1 dB", "sungpeak \u22123.1", "noise\u221261.0", "clippednever"):
        assert words in figures
    # It is 3 dB above the bracket: the wedge stands to the right of it.
    wedge, wanted = xs_of(page, ".wedge", ".wanted")
    assert wedge > wanted
    label = script(page, "document.getElementById('lv-meter').getAttribute('aria-label')")
    assert "reads \u22129, above what is wanted" in label
    # Nothing can be kept by mistake: the main button measures again after the turn.
    evening.asked.clear()
    click_when_ready(page, "lv-main")
    again = [{"do": "measure_stop"}, {"do": "measure", "source": "line"}]
    assert awaited(lambda: commands(evening) == again, 10.0), evening.asked
    evening.script = METERS["right"]
    assert awaited(lambda: said(page) == "leave the gain", 10.0)
    wedge, wanted = xs_of(page, ".wedge", ".wanted")
    assert abs(wedge - wanted) < 20
    assert text(page, "lv-main") == "Keep this level"
    evening.asked.clear()
    click_when_ready(page, "lv-main")
    assert awaited(lambda: commands(evening) == [{"do": "take_level"}], 10.0), evening.asked
    assert awaited(lambda: "leave the gain" in text(page, "lv-taken"), 10.0)
    click(page, "#lv-small [data-do=measure_stop]")
    assert awaited(lambda: said(page) == "Set the gain", 10.0)
    assert "Kept 70 s ago" in text(page, "lv-taken")


@both_sizes
def test_the_low_cut_waits_is_drawn_and_is_kept(page: Any, evening: EveningClient) -> None:
    evening.script, evening.measuring = METERS["too-loud"], "line"
    assert awaited(lambda: "32 s of voice" in text(page, "lc-say"), 10.0)
    done = script(page, "document.getElementById('lc-progress').value")
    assert done == pytest.approx(28.0 / 60.0)
    assert not script(page, "document.getElementById('lc-take').checkVisibility()")
    evening.script = METERS["right"]
    assert awaited(lambda: "low cut at 120" in text(page, "lc-say"), 10.0)
    assert not script(page, "document.getElementById('lc-wait').checkVisibility()")
    rows = script(
        page,
        "[...document.querySelectorAll('#lc-choices tbody tr')].map((r) => r.textContent)",
    )
    assert [row.replace("\u00a0", " ") for row in rows] == [
        "75 Hz9.1 dB0.1 dB",
        "80 Hz10.4 dB0.1 dB",
        "100 Hz14.8 dB0.3 dB",
        "120 Hz, this one18.2 dB0.6 dB",
    ]
    # The cut stands below the lowest note, between 100 and 200 Hz of the axis.
    cut, low, high, note = script(
        page,
        "(s => [Number(s.querySelector('.held').getAttribute('x1')),"
        " ...['100', '200'].map((hz) => Number([...s.querySelectorAll('text')]"
        "  .find((t) => t.textContent === hz).getAttribute('x'))),"
        " Number(s.querySelector('.pulled').getAttribute('x1'))])"
        "(document.getElementById('lc-spectrum'))",
    )
    # Third octaves are evenly spaced: 120 Hz lies log2(1.2) of the way from 100 to 200 Hz.
    assert (cut - low) / (high - low) == pytest.approx(0.263, abs=0.01)
    assert cut < note < high
    click(page, "#lc-take")
    assert awaited(lambda: commands(evening) == [{"do": "take_low_cut"}], 10.0), evening.asked
    assert awaited(lambda: "low cut at 120" in text(page, "lc-taken"), 10.0)
    wide, window_wide = script(page, "[document.documentElement.scrollWidth, innerWidth]")
    assert wide <= window_wide


def test_the_box_s_own_microphone_is_never_taken_for_the_desk(
    page: Any, evening: EveningClient
) -> None:
    click(page, "#sources [value=box]")
    assert awaited(lambda: "nothing about the desk's gain" in text(page, "lv-detail"), 10.0)
    evening.script = METERS["box"]
    click_when_ready(page, "lv-main")
    assert awaited(lambda: said(page) == "the box hears well", 10.0)
    assert commands(evening) == [{"do": "measure", "source": "box"}]
    assert "not the desk" in text(page, "lv-of")
    assert not script(page, "document.getElementById('lv-meter').checkVisibility()")
    assert script(page, "document.querySelector('#level-room [data-do=take_level]')") is None
    assert "cannot tell" in text(page, "lc-say")
    assert not script(page, "document.getElementById('lc-take').checkVisibility()")


@pytest.mark.parametrize(
    ("name", "words", "main"),
    [
        ("waiting", "sing your loudest line", "Stop"),
        ("clipping", "turn the gain down at least 9 dB", "Turned: measure again"),
        ("dead", "nothing arrives on this channel", "Measure again"),
        ("analogue", "turn the gain up 9 dB", "Turned: measure again"),
    ],
)
@both_sizes
def test_each_state_has_its_sentence_and_shape(
    page: Any, evening: EveningClient, name: str, words: str, main: str
) -> None:
    evening.script, evening.measuring = METERS[name], "line"
    assert awaited(lambda: said(page) == words, 10.0)
    assert (
        script(page, "document.getElementById('lv-sentence').dataset.state")
        == METERS[name]["state"]
    )
    assert text(page, "lv-main") == main
    # On the smallest phone the sentence and the main button need no scrolling.
    rail, lowest, window_wide = script(
        page,
        "[document.getElementById('rail').getBoundingClientRect().top,"
        " document.getElementById('lv-main').getBoundingClientRect().bottom, innerWidth]",
    )
    if window_wide == 360:
        assert lowest <= rail
    if name == "clipping":
        assert "14 times, now" in text(page, "lv-figures")
    if name == "analogue":
        assert "on the desk's meter" in text(page, "lv-meter")
        wedge, wanted = xs_of(page, ".wedge", ".wanted")
        assert wedge < wanted


def test_on_the_smallest_phone_measuring_begins_without_scrolling(page: Any) -> None:
    resize(page, 320, 568)
    for source in ("line", "box"):
        click(page, f"#sources [value={source}]")
        begins = NOTHING[source]
        assert awaited(lambda begins=begins: said(page) == begins, 10.0)
        rail, lowest, wide = script(
            page,
            "[document.getElementById('rail').getBoundingClientRect().top,"
            " document.getElementById('lv-main').getBoundingClientRect().bottom,"
            " document.documentElement.scrollWidth]",
        )
        assert lowest <= rail
        assert wide == 320


def test_without_a_line_it_says_how_to_have_one(page: Any, evening: EveningClient) -> None:
    evening.line = {"there": False, "why": NO_LINE}
    assert awaited(lambda: text(page, "line-words").startswith(NO_LINE), 10.0)
    assert "settings file, table [line]" in text(page, "line-words")
    assert script(page, "document.querySelector('#sources [value=line]').disabled")
    assert script(page, "document.getElementById('lv-main').disabled")
    click(page, "#sources [value=box]")
    assert awaited(lambda: not script(page, "document.getElementById('lv-main').disabled"), 10.0)


def test_a_measurement_that_goes_silent_or_ends_is_said(page: Any, evening: EveningClient) -> None:
    evening.measuring = "line"
    evening.script = {"kind": "line", "age_s": 7.0}
    assert awaited(lambda: said(page) == "It has gone silent", 10.0)
    assert "7\u00a0s" in text(page, "lv-detail")  # never parted
    evening.more = {"why": "the desk's interface was pulled out"}
    evening.measuring = ""
    assert awaited(lambda: said(page) == "It stopped", 10.0)
    assert "pulled out" in text(page, "lv-detail")


def test_a_refusal_is_said_and_an_old_watcher_is_named(page: Any, evening: EveningClient) -> None:
    evening.refuse = "another measurement is running"
    click_when_ready(page, "lv-main")
    assert awaited(lambda: text(page, "lv-said") == evening.refuse, 10.0)
    # The other phone's measurement is shown here too: the refusal is no matter any more.
    evening.measuring = "line"
    assert awaited(lambda: said(page) == "turn the gain down 5 dB", 10.0)
    assert text(page, "lv-said") == ""
    evening.with_soundcheck = False
    assert awaited(lambda: said(page) == "Not on this box", 10.0)
    assert "older than this page" in text(page, "lv-detail")
    assert not script(page, "document.getElementById('lv-main').checkVisibility()")
    assert not script(page, "document.getElementById('strip').checkVisibility()")


def test_a_gone_watcher_greys_what_was_measured(page: Any, evening: EveningClient) -> None:
    evening.measuring = "line"
    assert awaited(lambda: said(page) == "turn the gain down 5 dB", 10.0)
    evening.gone = True
    assert awaited(lambda: script(page, "document.body.dataset.fresh") == "no", 10.0)
    paper, old = script(
        page,
        "[getComputedStyle(document.getElementById('level-room')).getPropertyValue('--paper'),"
        " getComputedStyle(document.documentElement).getPropertyValue('--old')]",
    )
    assert paper == old != ""


def test_nothing_of_it_breaks_the_page_s_own_policy(page: Any, evening: EveningClient) -> None:
    page.get_log("browser")
    for name, one in METERS.items():
        evening.script, evening.measuring = one, one["kind"]
        sentence = one["advice"]["sentence"]
        assert awaited(lambda: said(page) == sentence, 10.0), name  # noqa: B023
    evening.script = meter(low_cut={**LOW_CUT_WAITING, "choices": []}, spectrum={})
    assert awaited(lambda: said(page) == "turn the gain down 5 dB", 10.0)
    severe = [line["message"] for line in page.get_log("browser") if line["level"] == "SEVERE"]
    assert severe == []
