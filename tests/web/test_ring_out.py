"""The ring-out's room and the advised depth in a real browser."""

from __future__ import annotations

import copy
import itertools
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest

from monitor.advice.equaliser import Equaliser
from monitor.advice.moves import moves
from monitor.advice.pulls import Pull
from monitor.present_advice import pull_fields
from monitor.present_snapshot import equaliser_fields
from tests.browser import resize
from tests.waiting import awaited
from tests.web.looking import lowest_seen, script, tap_on, text, visited
from tests.web.screenshots import StillClient
from tests.web.states import EQUALISER, RING_OUT_UID, RING_OUTS, STATES, cut, pull, rang


@pytest.fixture
def page(window: Any, link: StillClient) -> Iterator[Any]:
    link.hold(STATES["quiet"])
    with visited(window, link) as url:
        window.get(url + "#ring-out")
        assert awaited(lambda: text(window, "ro-say") == "Ring it out", 10.0)
        yield window


def show(page: Any, link: StillClient, name: str) -> dict[str, Any]:
    state = RING_OUTS[name]
    link.hold(STATES[f"ring-out {name}"])
    assert awaited(
        lambda: (
            script(page, "document.getElementById('ro-sentence').dataset.phase") == state["phase"]
            and text(page, "ro-say").replace("\u00a0", " ") == state["say"]
        ),
        10.0,
    )
    return state


def buttons(page: Any) -> list[str]:
    """The commands on offer, the main one first."""
    return list(
        script(
            page,
            "[...document.querySelectorAll('#ring-out-room button[data-do]')]"
            ".filter((b) => b.checkVisibility()).map((b) => b.dataset.do)",
        )
    )


def rested(page: Any) -> bool:
    """Whether the main button takes taps again: not while one may be meant for the step before."""
    return bool(script(page, "document.getElementById('ro-main').ariaDisabled !== 'true'"))


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("ready", ["begin", "close"]),
        ("raise", ["stop", "undo", "pause"]),
        ("pull", ["pulled", "turned_down", "skip", "undo", "pause", "stop"]),
        ("listen", ["undo", "pause", "stop"]),
        ("asks", ["pulled", "turned_down", "undo", "pause", "stop"]),
        ("back-off", ["turned_down", "undo", "pause", "stop"]),
        ("paused", ["go_on", "stop"]),
        ("done", ["set", "open", "close"]),
    ],
)
def test_each_phase_has_its_steps(
    page: Any, link: StillClient, name: str, expected: list[str]
) -> None:
    show(page, link, name)
    assert awaited(lambda: buttons(page) == expected, 10.0), buttons(page)
    assert awaited(lambda: rested(page), 10.0)
    for do in (one for one in expected if one != "set"):
        size = page.execute_script(
            "const b = document.querySelector(`#ring-out-room button[data-do='${arguments[0]}']`)"
            ".getBoundingClientRect(); return [b.width, b.height]",
            do,
        )
        assert min(size) >= 44
        link.asked.clear()
        page.execute_script(
            "document.querySelector(`#ring-out-room button[data-do='${arguments[0]}']`).click()", do
        )
        wanted = {"class": "ring_out", "do": do, "ring_out": RING_OUT_UID}
        assert awaited(lambda: link.asked == [wanted], 10.0), do  # noqa: B023


@pytest.mark.parametrize("name", RING_OUTS)
def test_sentence_and_main_step_need_no_scrolling(page: Any, link: StillClient, name: str) -> None:
    show(page, link, name)
    assert script(page, "document.documentElement.scrollWidth") <= 360
    main = "document.getElementById('ro-main')"
    if script(page, f"{main}.checkVisibility()"):
        rail = script(page, "document.getElementById('rail').getBoundingClientRect().top")
        assert script(page, f"{main}.getBoundingClientRect().bottom") <= rail


@pytest.mark.parametrize("name", sorted(set(RING_OUTS) - {"ready", "done"}))
def test_on_its_side_too_the_main_step_is_in_the_window(
    page: Any, link: StillClient, name: str
) -> None:
    """What has to be read before it begins, and what came of it, are longer."""
    resize(page, 740, 360)
    try:
        show(page, link, name)
        main = "document.getElementById('ro-main')"
        if script(page, f"{main}.checkVisibility()"):
            assert script(page, f"{main}.getBoundingClientRect().bottom") <= lowest_seen(page)
    finally:
        resize(page, 360, 640)


def test_cautions_come_first_and_say_what_the_microphone_does_not_know(
    page: Any, link: StillClient
) -> None:
    show(page, link, "ready")
    words = text(page, "ro-cautions")
    for word in ("ears", "slowly", "loudspeakers", "not calibrated"):
        assert word in words
    show(page, link, "raise")
    assert script(page, "document.getElementById('ro-cautions').hidden")


def test_the_wedge_hangs_at_the_slider_with_its_depth_and_what_stands_is_drawn(
    page: Any, link: StillClient
) -> None:
    show(page, link, "pull")
    wedge = "document.querySelector('#ro-picture .wedge').getBoundingClientRect()"
    picture = "document.getElementById('ro-picture').getBoundingClientRect()"
    middle = script(page, f"({wedge}.left + {wedge}.right) / 2 - {picture}.left")
    step = script(page, f"{picture}.width") / 31
    assert middle == pytest.approx(21.5 * step, abs=1.0)
    assert script(page, "document.querySelector('#ro-picture .depth').textContent") == "\u22124.5"
    label = script(page, "document.getElementById('ro-picture').getAttribute('aria-label')")
    assert "pull 2.5k by 4.5 dB" in label
    assert "315 at \u22124 dB" in label
    # 4 of 12 dB: the slider that stands hangs a third of the way down.
    stood = script(page, "Number(document.querySelector('#ro-picture .pulled').getAttribute('y2'))")
    height = script(page, "document.getElementById('ro-picture').clientHeight")
    assert stood == pytest.approx(8 + (height - 22 - 16) / 3, abs=1.0)


@pytest.mark.parametrize(
    ("name", "told"),
    [("pull-two", {"\u22124": "12.5k"}), ("pull-beside", {"\u22127": "500", "\u22122": "630"})],
)
def test_each_depth_stands_by_its_own_wedge_or_is_left_to_the_words(
    page: Any, link: StillClient, name: str, told: dict[str, str]
) -> None:
    show(page, link, name)
    boxes = script(
        page,
        "[...document.querySelectorAll('#ro-picture .depth')].map((t) => {"
        " const b = t.getBoundingClientRect();"
        " return [t.textContent, b.left, b.top, b.right, b.bottom]; })",
    )
    left = script(page, "document.getElementById('ro-picture').getBoundingClientRect().left")
    width = script(page, "document.getElementById('ro-picture').getBoundingClientRect().width")
    labels = [slider.label for slider in EQUALISER.sliders]
    at = {
        pull["label"]: left + (labels.index(pull["label"]) + 0.5) * width / 31
        for pull in RING_OUTS[name]["pulls_now"]
    }
    assert {words for words, *_ in boxes} == set(told)
    for words, from_x, _, to_x, _ in boxes:
        middle = 0.5 * (from_x + to_x)
        assert min(at, key=lambda label: abs(at[label] - middle)) == told[words]
        assert 0 <= from_x < to_x <= 360
    for one, other in itertools.combinations(boxes, 2):
        apart = one[3] <= other[1] or other[3] <= one[1]
        assert apart or one[4] <= other[2] + 4 or other[4] <= one[2] + 4


@pytest.mark.parametrize(
    ("asked", "stood"),
    [("1k", ("250", "500")), ("800", ("250", "500", "630")), ("315", ("400", "500", "2k"))],
)
def test_no_slider_that_stands_makes_a_plus_of_a_depth_s_minus(
    page: Any, link: StillClient, asked: str, stood: tuple[str, ...]
) -> None:
    """As a ring-out went on the practice stage: "-4" across a pulled slider read "+4"."""
    state = copy.deepcopy(STATES["ring-out pull"])
    state["ring_out"]["pulls_now"] = [pull(asked, 4.0, 4.0)]
    state["standing"] = [cut(label, -9.0) for label in stood]
    link.hold(state)
    named = "document.querySelector('#ro-picture .named')?.textContent"
    assert awaited(lambda: str(script(page, named)).split(" ")[0] == asked, 10.0)
    assert len(script(page, "[...document.querySelectorAll('#ro-picture .pulled')]")) == len(stood)
    crossed = script(
        page,
        "[...document.querySelectorAll('#ro-picture .depth')].flatMap((t) => {"
        " const b = t.getBoundingClientRect();"
        " return [...document.querySelectorAll('#ro-picture .pulled')].filter((l) => {"
        "  const p = l.getBoundingClientRect();"
        "  return p.right > b.left && p.left < b.right && p.bottom > b.top + 4; }); })",
    )
    assert crossed == []
    words = "[...document.querySelectorAll('#ro-picture :is(.depth, .named)')]"
    assert "\u22124" in script(page, f"{words}.map((t) => t.textContent).join(' ')")


@pytest.mark.parametrize(
    "asked",
    [("10k", "12.5k", "16k"), ("400", "500", "630"), ("20", "25", "31.5", "40"), ("16k", "20k")],
)
def test_each_slider_to_pull_has_its_name_and_none_runs_into_another(
    page: Any, link: StillClient, asked: tuple[str, ...]
) -> None:
    state = copy.deepcopy(STATES["ring-out pull"])
    state["ring_out"]["pulls_now"] = [pull(label, 4.0, 4.0) for label in reversed(asked)]
    link.hold(state)
    names = (
        "[...document.querySelectorAll('#ro-picture text')].map((t) => {"
        " const b = t.getBoundingClientRect();"
        " return [t.textContent, b.left, b.top, b.right, b.bottom, t.classList.contains('named')];"
        " })"
    )
    known = {slider.label for slider in EQUALISER.sliders}

    def named() -> set[str]:
        return {words.split(" ")[0] for words, *_, is_named in script(page, names) if is_named}

    assert awaited(lambda: named() == set(asked), 10.0), named()
    boxes = [box for box in script(page, names) if box[0].split(" ")[0] in known]
    for _, left, _, right, *_ in boxes:
        assert 0 <= left < right <= 360
    for one, other in itertools.combinations(boxes, 2):
        beside = one[3] <= other[1] or other[3] <= one[1]
        assert beside or one[4] <= other[2] + 4 or other[4] <= one[2] + 4, (one, other)


@pytest.mark.parametrize("root_px", [16, 32])
def test_what_is_written_in_a_picture_can_be_read_and_grows_with_the_letters(
    page: Any, link: StillClient, root_px: int
) -> None:
    page.execute_script("document.documentElement.style.fontSize = arguments[0]", f"{root_px}px")
    show(page, link, "pull")
    heights = (
        "[...document.querySelectorAll('#ro-picture text')].map((t) => {"
        " const scale = t.getScreenCTM().a;"
        " return scale * parseFloat(getComputedStyle(t).fontSize); })"
    )
    least_px = {16: 13.0, 32: 20.0}[root_px]
    assert awaited(lambda: min(script(page, heights)) >= least_px - 0.1, 10.0)
    page.execute_script("document.documentElement.style.fontSize = ''")


@pytest.mark.parametrize("width_px", [360, 320])
def test_all_steps_of_a_pull_stand_in_one_row(page: Any, link: StillClient, width_px: int) -> None:
    resize(page, width_px, 640)
    try:
        show(page, link, "pull")
        assert awaited(lambda: len(buttons(page)) == 6, 10.0)
        tops = script(
            page,
            "[...document.querySelectorAll('#ro-small button')].map((b) => "
            "Math.round(b.getBoundingClientRect().top))",
        )
        assert len(set(tops)) == 1
    finally:
        resize(page, 360, 640)


def test_the_end_shows_the_curve_with_the_rings_on_it(page: Any, link: StillClient) -> None:
    show(page, link, "done")
    assert awaited(lambda: not script(page, "document.getElementById('ro-end').hidden"), 10.0)
    figures = text(page, "ro-figures")
    assert "1.2 dB on average" in figures
    # Once, and not again below.
    for word in ("6.5 dB won", "3 sliders pulled", "room's limit"):
        assert word in text(page, "ro-sentence").replace("\u00a0", " ")
    for word in ("6.5 dB", "3 sliders", "room's limit"):
        assert word not in figures
    points = script(
        page,
        "document.querySelector('#ro-curve .cutting').getAttribute('points').split(' ').length",
    )
    assert points == 64
    assert script(page, "document.querySelectorAll('#ro-curve circle').length") == 4
    # What was left alone is hollow: shape, not colour.
    assert script(page, "document.querySelectorAll('#ro-curve circle.hollow').length") == 1
    assert script(page, "document.querySelectorAll('#ro-rings li').length") == 4
    assert "2.5k: gone, 5.8 dB taken out; about 4 dB left, 2 to 6" in text(page, "ro-rings")
    # Two in one band are told apart by how high they are.
    for words in ("1k (1068 Hz): came back", "1k (940 Hz): left alone"):
        assert words in text(page, "ro-rings")
    assert "notches" in text(page, "ro-hints")


def test_the_end_leads_on_to_the_set(page: Any, link: StillClient) -> None:
    """The big button is what the evening goes on with; it throws nothing away."""
    show(page, link, "done")
    assert awaited(lambda: text(page, "ro-main") == "On to the set", 10.0)
    link.asked.clear()
    tap_on(page, "#ro-main")
    assert awaited(lambda: script(page, "document.body.dataset.room") == "set", 10.0)
    assert link.asked == []


def test_what_rings_calls_nobody_away_from_the_ring_out_that_tells_it(
    page: Any, link: StillClient
) -> None:
    lit = "getComputedStyle(document.querySelector('#rail a[data-room=set]')).borderRadius"
    howling = STATES["howl"]
    assert howling["rings"], "it must ring for the rail to have a reason"
    for name, radius in (("pull", "0px"), ("paused", "10px"), ("pull", "0px"), ("done", "10px")):
        link.hold({**howling, "ring_out": RING_OUTS[name]})
        assert awaited(lambda: script(page, lit) == radius, 10.0), name  # noqa: B023


def test_what_is_left_over_is_of_the_ring_that_would_be_the_next(
    page: Any, link: StillClient
) -> None:
    state = show(page, link, "done")
    # One of three has a margin that is told; the one left alone has none.
    assert "2.5k is the next: about 4 dB left, 2 to 6, if you came down" in text(page, "ro-figures")
    assert "not known of what was left alone" in text(page, "ro-figures")
    margin = {"margin_low_db": 5.0, "margin_high_db": 8.0, "margin_sure": "sure"}
    rings = [rang(313.0, "gone", 4.0, margin_db=6.0, **margin), state["rings"][1]]
    rings[1] = {**rings[1], "margin_db": 7.0}
    link.hold({**STATES["ring-out done"], "ring_out": {**state, "rings": rings}})
    told = "315 is the next: 6 dB left, 5 to 8, if you came down"
    assert awaited(lambda: told in text(page, "ro-figures"), 10.0), text(page, "ro-figures")
    assert "not known" not in text(page, "ro-figures")
    link.hold({**STATES["ring-out done"], "ring_out": {**state, "rings": []}})
    assert awaited(lambda: "not known" in text(page, "ro-figures"), 10.0)


@pytest.mark.parametrize(
    ("name", "shown"), [("paused", True), ("back-off", False), ("done", True), ("pull", False)]
)
def test_hints_stand_on_the_page_while_no_hand_pulls(
    page: Any, link: StillClient, name: str, shown: bool
) -> None:
    (hint,) = show(page, link, name)["hints"]
    is_shown = "document.getElementById('ro-hints').checkVisibility()"
    assert awaited(lambda: script(page, is_shown) is shown, 10.0)
    assert not shown or hint in text(page, "ro-hints")


def test_a_low_cut_is_told_as_on_without_a_depth(page: Any, link: StillClient) -> None:
    pulls = (Pull("low cut", 12.3, 100.0, 0.707), Pull("low", 8.0, 80.0, 0.707))
    strip = Equaliser.from_settings("strip")
    now = [pull_fields(strip, one) for one in moves((), pulls)]
    state = {
        **RING_OUTS["pull"],
        "say": "Pull low by 8 dB, low cut on",
        "pulls_now": [{k: v for k, v in one.items() if v is not None} for one in now],
    }
    held = {**STATES["ring-out pull"], "equaliser": equaliser_fields(strip)}
    link.hold({**held, "ring_out": state, "standing": []})
    label = "document.getElementById('ro-picture').getAttribute('aria-label')"
    asked = "Your equaliser, pull low cut on, low by 8 dB, nothing pulled yet"
    assert awaited(lambda: script(page, label) == asked, 10.0), script(page, label)
    depths = "[...document.querySelectorAll('#ro-picture .depth')].map((one) => one.textContent)"
    assert script(page, depths) == ["\u22128"]
    link.hold({**held, "ring_out": state, "standing": [{"slider": 0, "cut_db": -12.3}]})
    assert awaited(lambda: script(page, label).endswith("; pulled already: low cut on"), 10.0)


def test_fader_marks_are_asked_for_only_by_who_wants_them(page: Any, link: StillClient) -> None:
    show(page, link, "raise")
    assert not script(page, "document.getElementById('ro-marks').hidden")
    assert not script(page, "document.getElementById('ro-marks').open")
    page.execute_script("document.getElementById('ro-marks').open = true")
    page.execute_script(
        "document.getElementById('ro-fader').value = '-4.5';"
        "document.querySelector('#ro-mark button').click()"
    )
    wanted = {"class": "ring_out", "do": "fader", "fader_db": -4.5, "ring_out": RING_OUT_UID}
    assert awaited(lambda: link.asked == [wanted], 10.0), link.asked
    link.hold({**STATES["ring-out raise"], "stage": STATES["demo"]["stage"]})
    assert awaited(lambda: script(page, "document.getElementById('ro-marks').hidden"), 10.0)


def test_on_the_practice_stage_its_desk_is_on_the_same_page(page: Any, link: StillClient) -> None:
    link.hold({**STATES["ring-out pull"], "stage": STATES["demo"]["stage"]})
    shown = "document.getElementById('fader').checkVisibility()"
    assert awaited(lambda: script(page, shown), 10.0)
    named = "document.querySelector('#desk [data-named=yes]').textContent"
    assert awaited(lambda: script(page, named) == "2.5k", 10.0)
    link.hold(STATES["ring-out pull"])
    assert awaited(lambda: not script(page, shown), 10.0)


def test_taps_in_a_row_are_all_taken_and_a_double_tap_is_one(
    page: Any, link: StillClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a slow link the news of a step comes before its answer: the next tap must not be lost."""
    show(page, link, "pull")
    assert awaited(lambda: rested(page), 10.0)
    answer, asked = threading.Event(), []

    def slow(command: dict[str, Any], timeout_s: float = 2.0) -> dict[str, Any]:
        asked.append(command["do"])
        answer.wait(10.0)
        return {"class": "done"}

    monkeypatch.setattr(link, "request", slow)
    for do in ("pulled", "pulled", "pause"):
        page.execute_script(
            "document.querySelector(`#ring-out-room button[data-do='${arguments[0]}']`).click()", do
        )
    assert awaited(lambda: asked == ["pulled"], 10.0), asked
    answer.set()
    assert awaited(lambda: asked == ["pulled", "pause"], 10.0), asked


def test_a_tap_meant_for_the_step_before_does_not_end_the_ring_out(
    page: Any, link: StillClient
) -> None:
    """The box notices the pull itself; the hand was on its way to "I have pulled it"."""
    show(page, link, "pull")
    # At the very moment: it takes taps again a little later.
    page.execute_script(
        "const sentence = document.getElementById('ro-sentence');"
        "const main = document.getElementById('ro-main');"
        "new MutationObserver((_, observer) => {"
        "  if (sentence.dataset.phase !== 'raise') return;"
        "  observer.disconnect();"
        "  main.click();"
        "  window.restedAtOnce = main.ariaDisabled !== 'true';"
        "}).observe(sentence, { attributeFilter: ['data-phase'] });"
    )
    show(page, link, "raise")
    assert script(page, "window.restedAtOnce") is False
    assert awaited(lambda: rested(page), 10.0)
    tap_on(page, "#ro-main")
    assert awaited(lambda: link.asked != [], 10.0)
    # Once: the tap that was meant.
    assert link.asked == [{"class": "ring_out", "do": "stop", "ring_out": RING_OUT_UID}]


def test_what_was_refused_because_it_is_over_is_not_said(
    page: Any, link: StillClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another phone was first: the page shows the next step, and no refusal of the last one."""
    show(page, link, "pull")
    assert awaited(lambda: rested(page), 10.0)
    asked = []

    def late(command: dict[str, Any], timeout_s: float = 2.0) -> dict[str, Any]:
        asked.append(command["do"])
        link.hold(STATES["ring-out back-off"])
        time.sleep(0.5)
        return {"class": "error", "message": "it makes no sense now"}

    monkeypatch.setattr(link, "request", late)
    page.execute_script("document.getElementById('ro-main').click()")
    assert awaited(lambda: script(page, "document.body.dataset.ringout") == "back_off", 10.0)
    time.sleep(1.0)
    assert asked == ["pulled"]
    assert text(page, "ro-said") == ""


def test_what_is_refused_is_said(
    page: Any, link: StillClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    show(page, link, "raise")
    monkeypatch.setattr(
        link, "request", lambda *_: {"class": "error", "message": "it makes no sense now"}
    )
    tap_on(page, "#ro-main")
    assert awaited(lambda: text(page, "ro-said") == "it makes no sense now", 10.0)


def test_in_a_set_the_depth_is_named_and_can_be_confirmed(
    window: Any, link: StillClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(command: dict[str, Any], *_: Any) -> dict[str, Any]:
        link.asked.append(command)
        return {"class": "error", "message": "the advice is behind"}

    link.hold(STATES["advised"])
    with visited(window, link) as url:
        window.get(url)
        assert awaited(lambda: text(window, "slider") == "pull 2.5k by 4", 10.0)
        assert "or 3.15k by 3" in text(window, "hint")
        assert "aim the loudspeaker" in text(window, "hint")
        assert script(window, "document.querySelector('#sliders .depth').textContent") == "\u22124"
        assert "pull 2.5k by 4, the 22nd slider of 31" in text(window, "spoken")
        both = {**STATES["advised"]["advice"], "second_too": True}
        link.hold({**STATES["advised"], "advice": both})
        assert awaited(lambda: "and 3.15k by 3" in text(window, "hint"), 10.0)
        # Nothing is left to do: no wedge, no slider's name, nothing to confirm.
        wait = {"line": "enough: wait a moment", "pulls": []}
        stands = [cut("315", -4.0), cut("2.5k", -6.0)]
        link.hold({**STATES["advised"], "advice": wait, "standing": stands})
        assert awaited(lambda: text(window, "slider") == wait["line"], 10.0)
        assert text(window, "spoken").endswith(wait["line"])
        assert script(window, "document.querySelector('#sliders .depth')") is None
        assert script(window, "document.getElementById('asked').hidden")
        link.hold(STATES["advised"])
        assert awaited(lambda: text(window, "slider") == "pull 2.5k by 4", 10.0)
        # Between two songs, when it has long stopped ringing, a hand is free.
        link.hold({**STATES["quiet"], "standing": [cut("315", -4.0), cut("2.5k", -2.0)]})
        assert awaited(lambda: "last asked for: 2.5k by 4" in text(window, "asked-words"), 10.0)
        window.execute_script("document.getElementById('asked-done').click()")
        told = {"class": "pull", "slider": 21, "cut_db": -6}
        assert awaited(lambda: link.asked == [told], 10.0), link.asked
        assert awaited(lambda: script(window, "document.getElementById('asked').hidden"), 10.0)
        link.asked.clear()
        window.execute_script("document.querySelector('#flat button').click()")
        flat = [{"class": "pull", "slider": i, "cut_db": 0} for i in (12, 21)]
        assert awaited(lambda: link.asked == flat, 10.0), link.asked
        monkeypatch.setattr(link, "request", refuse)
        link.asked.clear()
        window.execute_script("document.querySelector('#flat button').click()")
        assert awaited(lambda: text(window, "flat-said") == "the advice is behind", 10.0)
        assert link.asked == flat[:1], "the first refusal ends it"


def test_while_a_ring_out_leads_every_room_says_what_it_says(page: Any, link: StillClient) -> None:
    """Two people look at the page, one in another room: there is one thing to do."""
    page.execute_script("location.hash = '#set'")
    rings = STATES["howl"]["rings"]
    for name in ("raise", "pull", "back-off"):
        state = RING_OUTS[name]
        link.hold({**STATES[f"ring-out {name}"], "rings": rings, "state": "howl"})
        said = state["say"].replace(" dB", "\u00a0dB")
        assert awaited(lambda: text(page, "slider") == said, 10.0), name  # noqa: B023
        pulled = script(page, "document.querySelectorAll('#sliders .depth').length")
        assert pulled == len(state["pulls_now"])
        assert state["say"] in text(page, "spoken")
    link.hold({**STATES["ring-out paused"], "rings": rings, "state": "howl"})
    assert awaited(lambda: text(page, "slider").startswith("pull "), 10.0)


def test_nothing_of_it_breaks_the_page_s_own_policy(page: Any, link: StillClient) -> None:
    for name in RING_OUTS:
        show(page, link, name)
    severe = [line for line in page.get_log("browser") if line["level"] == "SEVERE"]
    assert [line for line in severe if "Content Security Policy" in line["message"]] == []
