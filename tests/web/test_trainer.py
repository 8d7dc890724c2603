"""The ear trainer in a real browser: what it reckons, a run, and what it keeps."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from scipy.signal import freqz

from monitor.advice import sections
from monitor.advice.choice import EqualiserChoice
from monitor.advice.equaliser import Equaliser
from monitor.advice.widths import slider_q
from monitor.present_snapshot import equaliser_fields
from tests.browser import forget
from tests.waiting import awaited
from tests.web.looking import module, press, script, text
from tests.web.screenshots import StillClient, page_server
from tests.web.states import EQUALISER, STATES

CENTRES = [s.centre_hz for s in EQUALISER.sliders]
LABELS = [s.label for s in EQUALISER.sliders]


@pytest.fixture
def page(window: Any, link: StillClient) -> Iterator[Any]:
    """The trainer of a plain box, with no stage and no scores."""
    link.hold(STATES["quiet"])
    with page_server(link) as url:
        forget(window, url)
        window.get(url + "#ears")
        assert awaited(lambda: script(window, "!!document.querySelector('#ears-levels input')"), 10)
        yield window
        window.get("about:blank")
        link.close()


@pytest.fixture(scope="module")
def plain_url() -> Iterator[str]:
    client = StillClient()
    client.hold(STATES["quiet"])
    with page_server(client) as url:
        yield url


@pytest.fixture
def brought(window: Any, plain_url: str) -> Any:
    """A page that only brings the trainer's module: what that reckons changes no page."""
    if not window.current_url.startswith(plain_url):
        window.get(plain_url)
    return window


def ears(page: Any, expression: str) -> Any:
    return module(page, "ears", expression)


# --- what it reckons -------------------------------------------------------------------------


@pytest.mark.parametrize("hz", [100.0, 800.0, 990.0, 1000.0, 1260.0, 9000.0])
@pytest.mark.parametrize(("q", "gain_db"), [(4.318, -12.0), (1.414, -6.0)])
def test_response_is_the_peaking_section_s(
    brought: Any, hz: float, q: float, gain_db: float
) -> None:
    # R. Bristow-Johnson's cookbook, peaking section.
    amplitude, turn = 10.0 ** (gain_db / 40.0), 2.0 * math.pi * 1000.0 / 48000
    alpha = math.sin(turn) / (2.0 * q)
    b = [1.0 + alpha * amplitude, -2.0 * math.cos(turn), 1.0 - alpha * amplitude]
    a = [1.0 + alpha / amplitude, -2.0 * math.cos(turn), 1.0 - alpha / amplitude]
    _, response = freqz(b, a, [hz], fs=48000)  # scipy
    found = ears(brought, f"m.responseDb({{centreHz: 1000, q: {q}, gainDb: {gain_db}, hz: {hz}}})")
    assert found == pytest.approx(20.0 * math.log10(abs(response[0])), abs=1e-6)


@pytest.mark.parametrize("hz", [800.0, 990.0, 1000.0, 1260.0, 9000.0])
@pytest.mark.parametrize("gain_db", [-12.0, -6.0, 6.0])
def test_of_constant_shape_the_response_is_that_of_the_advice(
    brought: Any, hz: float, gain_db: float
) -> None:
    # Which its own tests hold against scipy; the bilinear transform with the corner in its place.
    shape = sections.peak(gain_db, q=4.318, width="constant")
    expected = sections.level_db(shape, sections.ratio_to(1000.0, np.array([hz]), 48000))
    asked = f"{{centreHz: 1000, q: 4.318, gainDb: {gain_db}, hz: {hz}, shape: 'constant'}}"
    assert ears(brought, f"m.responseDb({asked})") == pytest.approx(float(expected[0]), abs=1e-6)


@pytest.mark.parametrize(
    ("choice", "shape"),
    [
        (EqualiserChoice("31", shape="constant"), "constant"),
        (EqualiserChoice("31"), "proportional"),
        # Its filters have no place in a row: the standard bands are trained.
        (EqualiserChoice("parametric", shape="constant"), "proportional"),
    ],
)
def test_the_shape_is_that_of_the_settings(
    brought: Any, choice: EqualiserChoice, shape: str
) -> None:
    snapshot = {"equaliser": equaliser_fields(Equaliser.from_choice(choice))}
    assert ears(brought, f"m.shapeOf({json.dumps(snapshot)})") == shape
    # A watcher of before says nothing of it.
    assert ears(brought, "m.shapeOf({equaliser: {}})") == "proportional"


def test_q_of_third_octaves_and_octaves(brought: Any) -> None:
    # 1 / (2^(1/2n) - 2^(-1/2n)): 4.318 for a third of an octave, 1.414 for an octave.
    assert ears(brought, f"m.qOf({CENTRES}, 17)") == pytest.approx(4.318, rel=0.01)
    assert ears(brought, "m.qOf([500, 1000, 2000], 0)") == pytest.approx(math.sqrt(2.0))
    assert ears(brought, "m.qOf([1000], 0)") == pytest.approx(math.sqrt(2.0))


@pytest.mark.parametrize(
    "centres",
    [CENTRES, [40.0, 14000.0], [1000.0, 1010.0, 1020.0], [100.0, 330.0, 1000.0, 3300.0, 10000.0]],
)
def test_q_is_that_of_the_advice_and_no_wider_or_narrower(
    brought: Any, centres: list[float]
) -> None:
    found = ears(brought, f"{centres}.map((_, i) => m.qOf({centres}, i))")
    assert found == pytest.approx(slider_q(centres))


@pytest.mark.parametrize("kind", ["parametric", "strip"])
def test_without_a_row_of_sliders_the_standard_bands_are_trained(brought: Any, kind: str) -> None:
    snapshot = {
        "equaliser": equaliser_fields(Equaliser.from_settings(kind)),
        "bands": STATES["quiet"]["bands"],
    }
    found = ears(brought, f"m.slidersOf({json.dumps(snapshot)})")
    assert [one["label"] for one in found] == LABELS
    # Exact third octaves: IEC 61260-1.
    assert [one["centre_hz"] for one in found] == pytest.approx(CENTRES)
    own = {**snapshot, "equaliser": equaliser_fields(Equaliser.from_settings("5"))}
    own_labels = [one["label"] for one in ears(brought, f"m.slidersOf({json.dumps(own)})")]
    assert own_labels == ["100", "330", "1k", "3.3k", "10k"]


def test_the_page_says_that_the_standard_bands_are_trained(page: Any, link: StillClient) -> None:
    shown = "document.getElementById('ears-whose').checkVisibility()"
    assert not script(page, shown)
    parametric = equaliser_fields(Equaliser.from_settings("parametric"))
    link.hold({**STATES["quiet"], "equaliser": parametric})
    assert awaited(lambda: script(page, shown), 10.0)
    assert "standard 31 bands" in text(page, "ears-whose")
    levels = "[...document.querySelectorAll('#ears-levels input')].length"
    assert script(page, levels) == 3


@pytest.mark.parametrize(
    ("centres", "sizes"),
    [
        (CENTRES, [7, 16, 24]),
        ([31.25 * 2.0**i for i in range(10)], [7, 8]),
        ([100.0, 330.0, 1000.0, 3300.0, 10000.0], [5]),
        ([40.0, 14000.0], [2]),
    ],
)
def test_levels_grow_and_none_is_there_twice(
    brought: Any, centres: list[float], sizes: list[int]
) -> None:
    levels = ears(brought, f"m.levelsOf({centres})")
    assert [len(level["sliders"]) for level in levels] == sizes


def test_the_first_level_is_an_octave_apart(brought: Any) -> None:
    easy = ears(brought, f"m.levelsOf({CENTRES})[0].sliders")
    assert [LABELS[i] for i in easy] == ["125", "250", "500", "1k", "2k", "4k", "8k"]


def test_what_is_missed_comes_more_often(brought: Any) -> None:
    assert ears(brought, "m.missRate([])") == 0.5
    assert ears(brought, "m.missRate([1, 1, 1, 1, 1, 1])") == pytest.approx(1 / 8)
    assert ears(brought, "m.missRate([0, 0, 0, 0, 0, 0])") == pytest.approx(7 / 8)
    drawn = ears(
        brought,
        "(() => { const answers = { 1: [0, 0, 0, 0], 2: [1, 1, 1, 1] };"
        "const seen = [0, 0, 0, 0]; let x = 1;"
        "for (let i = 0; i < 6000; i += 1) { x = (x * 48271) % 2147483647;"
        "seen[m.draw([0, 1, 2], m.weightsOf([0, 1, 2], (j) => answers[j]), x / 2147483647)] += 1 }"
        "return seen })()",
    )
    # Miss rates 1/2, 5/6, 1/6, squared: 9, 25 and 1 parts of 35.
    assert np.array(drawn[:3]) / 6000 == pytest.approx(np.array([9, 25, 1]) / 35, abs=0.03)
    assert ears(brought, "m.weightsOf([4, 9], () => [], 9)") == [0.25, 0]
    assert ears(brought, "m.weightsOf([4], () => [], 4)") == [0.25]
    assert ears(brought, "m.draw([4, 9], [0.25, 0], 0.999999)") == 4


@pytest.mark.parametrize("i", [0, 12, 30])
@pytest.mark.parametrize("random", [0.0, 0.3, 0.5, 0.999])
def test_a_ring_stays_its_slider_s_own(brought: Any, i: int, random: float) -> None:
    hz = ears(brought, f"m.ringHz({CENTRES}, {i}, false, {random})")
    assert EQUALISER.nearest(hz).label == LABELS[i]
    assert ears(brought, f"m.ringHz({CENTRES}, {i}, true, {random})") == pytest.approx(CENTRES[i])


@pytest.mark.parametrize(
    ("pulled", "ring", "fall_db", "words"),
    [
        ("2.5k", "2.5k", -11.6, "Right: 2.5k. The ring falls by 12 dB."),
        ("2k", "2.5k", -5.9, "You pulled 2k. It was 2.5k: 1 slider higher, 4 semitones. "
         "The ring falls by 6 dB."),
        ("2.5k", "250", -0.1, "You pulled 2.5k. It was 250: 10 sliders lower, 3.3 octaves. "
         "The ring goes on as before."),
    ],
)  # fmt: skip
def test_the_verdict(brought: Any, pulled: str, ring: str, fall_db: float, words: str) -> None:
    i, j = LABELS.index(pulled), LABELS.index(ring)
    found = ears(
        brought,
        f"m.verdict({{pulled: '{pulled}', ring: '{ring}', fallDb: {fall_db},"
        f"miss: m.missOf({CENTRES}, {i}, {j}, {CENTRES[j]})}})",
    )
    assert found == words


@pytest.mark.parametrize(
    "kept",
    [
        "", "x", "null", "[]", "7", '{"v": 2, "sliders": {"1k": [1]}}', '{"v": 1}',
        '{"v": 1, "sliders": {"1k": "11"}}', '{"v": 1, "sliders": {"1k": [2]}}',
    ],
)  # fmt: skip
def test_foreign_scores_count_as_none(brought: Any, kept: str) -> None:
    assert ears(brought, f"m.readScores({json.dumps(kept)}).sliders") == {}


def test_scores_keep_the_newest_answers(brought: Any) -> None:
    kept = json.dumps({"v": 1, "runs": 3, "sliders": {"1k": [0] * 20}})
    assert ears(brought, f"m.readScores({json.dumps(kept)}).sliders['1k'].length") == 8
    newer = f"m.withAnswer(m.readScores({json.dumps(kept)}), '1k', true).sliders['1k']"
    assert ears(brought, newer) == [0] * 7 + [1]


# --- a run -----------------------------------------------------------------------------------


def begin(page: Any) -> None:
    assert script(page, "document.getElementById('ears-begin').disabled")
    press(page, "ears-try")
    assert awaited(lambda: not script(page, "document.getElementById('ears-begin').disabled"), 10.0)
    press(page, "ears-begin")
    assert awaited(lambda: text(page, "ears-said") == "Which slider do you pull?", 10.0)


def answer(page: Any, *, right: bool, below: bool = False) -> None:
    """Find out what rings by pulling; a test has no ears, so it looks at the sound itself."""
    hz = module(page, "tone", "m.frequencyHz()")
    truth = LABELS.index(EQUALISER.nearest(hz).label)
    keys = [int(i) for i in script(
        page, "[...document.querySelectorAll('#ears-sliders button')].map((k) => k.dataset.slider)"
    )]  # fmt: skip
    place = keys.index(truth)
    beside = place - 1 if below and place > 0 else (place + 1) % len(keys)
    chosen = truth if right else keys[beside]
    page.execute_script(
        "document.querySelector(`#ears-sliders [data-slider='${arguments[0]}']`).click()", chosen
    )


def level(page: Any) -> float:
    return float(module(page, "tone", "m.levelDb()"))


def test_a_run_with_right_and_wrong_answers_is_kept(page: Any) -> None:
    begin(page)
    assert module(page, "audio", "m.state()") == "running"
    for number in range(10):
        assert text(page, "ears-progress") == f"Ring {number + 1} of 10"
        right = number % 2 == 0
        answer(page, right=right)
        said = text(page, "ears-said")
        assert said.startswith("Right: " if right else "You pulled "), said
        assert script(page, "document.activeElement.id") == "ears-next"
        page.execute_script("document.getElementById('ears-next').click()")
    assert text(page, "ears-score") == "5 of 10"
    assert text(page, "ears-words").startswith("To meet again: ")
    assert "Not yet: " in script(
        page, "document.getElementById('ears-summary').getAttribute('aria-label')"
    )
    kept = json.loads(script(page, "localStorage.getItem('ears')"))
    answers = [one for some in kept["sliders"].values() for one in some]
    assert (len(answers), sum(answers)) == (10, 5)
    page.refresh()
    assert awaited(lambda: " known (solid)" in text(page, "known-words"), 10.0)
    press(page, "ears-reset")
    assert text(page, "known-words") == "nothing yet"
    assert json.loads(script(page, "localStorage.getItem('ears')"))["sliders"] == {}


def test_scores_that_cannot_be_kept_are_said_to_last_as_long_as_the_page(page: Any) -> None:
    page.execute_script(
        "Storage.prototype.setItem = () => { throw new DOMException('', 'QuotaExceededError'); };"
    )
    begin(page)
    answer(page, right=True)
    press(page, "ears-stop")
    assert "last until the page is closed" in text(page, "known-words")


@pytest.mark.parametrize(
    ("right", "deepest_db", "fall_db"), [(True, 12.0, 12.0), (False, 12.0, 0.0), (True, 6.0, 6.0)]
)
def test_the_ring_falls_by_what_the_pull_gives(
    page: Any, link: StillClient, right: bool, deepest_db: float, fall_db: float
) -> None:
    equaliser = {**STATES["quiet"]["equaliser"], "deepest_db": deepest_db}
    link.hold({**STATES["quiet"], "equaliser": equaliser})
    told = "m.news().equaliser.deepest_db"
    assert awaited(lambda: module(page, "feed", told) == deepest_db, 10.0)
    begin(page)
    assert awaited(lambda: level(page) > -0.05, 10.0), "it grows to its loudest"
    before = level(page)
    answer(page, right=right)
    if right:
        assert awaited(lambda: level(page) < before - fall_db + 0.5, 10.0)
    assert level(page) == pytest.approx(before - fall_db, abs=1.0)


def test_an_octave_off_a_slider_of_constant_shape_is_heard(page: Any, link: StillClient) -> None:
    constant = {**STATES["quiet"]["equaliser"], "shape": "constant"}
    link.hold({**STATES["quiet"], "equaliser": constant})
    assert awaited(lambda: module(page, "feed", "m.news().equaliser.shape") == "constant", 10.0)
    begin(page)
    answer(page, right=False, below=True)
    # ``sections.peak``, at its end of 12 dB and third-octave Q: 1.3 dB an octave off; of
    # proportional shape it would be 0.4 dB and not worth a word.
    assert "The ring falls by 1 dB." in text(page, "ears-said")


def test_the_loudest_ring_at_full_volume_stays_under_the_ceiling(page: Any) -> None:
    page.execute_script(
        "const v = document.querySelector('#ears-room .volume input'); v.value = 100;"
        "v.dispatchEvent(new Event('input', { bubbles: true }))"
    )
    begin(page)
    assert awaited(lambda: level(page) > -0.5, 10.0)
    ceiling = float(module(page, "audio", "m.CEILING"))
    peaks = [float(module(page, "audio", "m.peak()")) for _ in range(10)]
    assert 0.7 * ceiling < max(peaks) <= ceiling


def test_arrows_walk_the_sliders_and_enter_pulls(page: Any) -> None:
    from selenium.webdriver.common.keys import Keys

    begin(page)
    page.switch_to.active_element.send_keys(Keys.ARROW_RIGHT, Keys.ARROW_RIGHT)
    assert script(page, "document.activeElement.getAttribute('aria-label')") == "pull 500"
    page.switch_to.active_element.send_keys(Keys.END, Keys.HOME, Keys.ENTER)
    assert script(page, "document.activeElement.id") == "ears-next"
    page.switch_to.active_element.send_keys(Keys.ENTER)
    assert awaited(lambda: text(page, "ears-progress") == "Ring 2 of 10", 10.0)


def test_hands_and_eyes(page: Any) -> None:
    begin(page)
    sizes = script(
        page,
        "[...document.querySelectorAll('#ears-run button, #rail a')]"
        ".filter((b) => b.checkVisibility()).map((b) => b.getBoundingClientRect())"
        ".map((box) => [box.width, box.height])",
    )
    assert min(min(size) for size in sizes) >= 44.0
    assert script(page, "document.documentElement.scrollWidth") <= 360


def test_leaving_the_room_is_silence(page: Any) -> None:
    begin(page)
    page.execute_script("location.hash = '#set'")
    assert awaited(lambda: module(page, "tone", "m.frequencyHz()") == 0, 10.0)
    assert awaited(lambda: module(page, "audio", "m.peak()") == 0, 10.0)
    # The run waits, and is not thrown away.
    page.execute_script("location.hash = '#ears'")
    assert awaited(lambda: script(page, "document.body.dataset.room") == "ears", 10.0)
    assert not script(page, "document.getElementById('ears-run').hidden")


def test_a_ring_that_is_ended_before_it_sounds_never_does(page: Any) -> None:
    """The browser takes its time to begin; meanwhile the room is left, or the slider pulled."""
    begin(page)
    for end in ("silence()", "pull(-12)"):
        module(page, "tone", "m.silence()")
        module(page, "tone", f"(() => {{ const ring = m.ring(440); m.{end}; return ring; }})()")
        assert module(page, "tone", "m.frequencyHz()") == 0, end
    module(page, "tone", "m.ring(440)")
    assert module(page, "tone", "m.frequencyHz()") == 440


def test_an_answer_before_the_ring_sounds_keeps_its_words(page: Any) -> None:
    begin(page)
    answer(page, right=True)
    page.execute_script(
        "document.getElementById('ears-next').click();"
        "document.querySelector('#ears-sliders button').click()"
    )
    assert awaited(lambda: text(page, "ears-said").startswith(("Right: ", "You pulled ")), 10.0)
    module(page, "audio", "(m.openAudio(), 0)")  # what the ring waited for is over
    assert text(page, "ears-said").startswith(("Right: ", "You pulled "))
    assert script(page, "document.activeElement.id") == "ears-next"
