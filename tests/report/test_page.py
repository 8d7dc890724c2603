"""The report's page: whole by itself, safe with any name, on one or two sheets."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterator
from datetime import UTC
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from monitor.placing.stage_file import EXAMPLE
from monitor.report.page import CAUTION, MOST_TWICE, report_html
from tests.browser import browser, resize
from tests.report.made_gig import RECOLLECTION, SLIDERS, bare, record

HOSTILE = '<script>document.title="taken"</script>"\'><img src=x onerror=alert(1)>\u202e&amp;'
"""A name as a stranger might give it; U+202E turns the writing round."""
ALLOWED = set(
    "html head meta title style body header main footer section div figure figcaption svg path "
    "circle text h1 h2 p ol ul li b dl dt dd table thead tbody tr th td".split()
)


class Page(HTMLParser):
    """Collects tags, attributes and the words that are read."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: set[str] = set()
        self.attributes: set[tuple[str, str]] = set()
        self.words: list[str] = []
        self._in_style = False
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes.update((name, value or "") for name, value in attrs)
        self._in_style = tag == "style"

    def handle_data(self, data: str) -> None:
        if not self._in_style and data.strip():
            self.words.append(data.strip())
        self._in_style = False

    @property
    def text(self) -> str:
        return "\n".join(self.words)


def page_of(made: dict[str, Any], memory: dict[str, Any] | None = None) -> Page:
    return Page(report_html(made, memory, zone=UTC))


def hostile() -> dict[str, Any]:
    made = record(30)
    made["gig"]["title"] = made["gig"]["box"] = made["gig"]["uid"] = HOSTILE
    made["gig"]["venue"]["name"] = HOSTILE
    made["equaliser"]["name"] = HOSTILE
    for one in made["rings"][:10]:
        one["slider"] = one["band"] = HOSTILE
    made["happenings"] += [
        {"at_s": 50.0, "kind": "note", "text": HOSTILE},
        {"at_s": 10.0, "kind": "deaf", "reason": HOSTILE},
        {"at_s": 9000.0, "kind": "plan", "sentence": HOSTILE},
        {
            "at_s": 9001.0,
            "kind": "ring_out",
            "pulls": [{"label": HOSTILE, "centre_hz": 1000.0, "pull_db": 4.0}],
            "why": HOSTILE,
        },
    ]
    return made


def test_it_says_what_happened() -> None:
    text = page_of(record(24), RECOLLECTION).text
    for said in (
        "The Ferry Lamps at The Slipway",
        "Thu 26 November 2026, 18:02 to 21:02 (UTC), 3 h",
        "24 rings, 6 of them howls.",
        "ended at 18:17: 6.5 dB won (fader up to -4 dB), 3 sliders pulled, "
        "costs 0.4 dB of tone on average. The gain asked for is reached",
        "taken: the loudest, sung, peaks at -14 dBFS",
        "taken: low cut at 100",
        "31 bands: 1.25k -3 dB, 2.5k -6 dB, 3.15k -3 dB",
        "1 time, 4 min in all, at 19:12",
        "ended by hand",
        "Here 400 rang on 3 evenings of 3.",
        CAUTION,
    ):
        assert said in text, said


def test_the_list_that_the_room_after_takes_out_of_it() -> None:
    html = report_html(record(24), RECOLLECTION, zone=UTC)
    (found,) = re.findall(r'<ol class="next">.*?</ol>', html, re.DOTALL)
    assert found.count("<li>") == found.count("<b>") == 4


@pytest.mark.parametrize(
    ("dated", "said"),
    [
        ("phone", "The date as a phone told it."),
        ("believed", "Date not sure: nobody had told the box the time."),
    ],
)
def test_how_sure_the_date_is(dated: str, said: str) -> None:
    assert said in page_of(record(2, dated=dated)).text
    assert said not in page_of(record(2)).text


def test_no_clock_is_shown_that_nobody_set() -> None:
    text = page_of(record(24, dated="believed")).text
    assert not re.search(r"\b(18|19|20|21):\d\d\b", text)
    assert "\nThu 26 November 2026, 3 h\n" in text


def test_an_empty_gig_is_a_page_too() -> None:
    text = page_of(bare()).text
    for said in ("A gig without a venue", "Date not known.", "Nothing rang.", "still going on"):
        assert said in text


def test_what_is_no_longer_kept_is_counted() -> None:
    text = page_of(bare(rings_gone=120, howls_gone=7, in_doubt=True)).text
    assert "120 rings, 7 of them howls; none of them kept any more." in text
    assert "not sure that this was one gig" in text


def test_a_plan_without_a_sentence_is_reckoned() -> None:
    import tomllib

    made = bare()
    stage = tomllib.loads(EXAMPLE.read_text(encoding="utf-8"))
    made["happenings"] = [{"at_s": 1.0, "kind": "plan", "revision": 1, "stage": stage}]
    assert "limits the gain" in page_of(made).text
    made["happenings"][0]["stage"] = {"room": "none"}
    assert "a stage plan was saved" in page_of(made).text


@pytest.mark.parametrize("made", [bare(), record(24), hostile()], ids=["empty", "usual", "hostile"])
def test_nothing_in_it_but_what_we_put_there(made: dict[str, Any]) -> None:
    page = page_of(made, {"words": [HOSTILE], "venue": {"name": HOSTILE, "words": [HOSTILE]}})
    assert page.tags <= ALLOWED
    names = {name for name, _ in page.attributes}
    assert not {n for n in names if n.startswith("on")} | names & {"style", "href", "src", "id"}
    assert "\u202e" not in page.text


def test_nothing_comes_from_elsewhere() -> None:
    html = report_html(record(24), RECOLLECTION, zone=UTC)
    found = re.findall(r"(?:https?:)?//[\w.-]+", html)
    # The one address is the name of SVG's own vocabulary.
    assert set(found) == {"http://www.w3.org"}
    assert "url(" not in html
    assert "@import" not in html


def test_its_policy_lets_in_its_style_and_nothing_else() -> None:
    html = report_html(record(2), zone=UTC)
    (style,) = re.findall(r"<style>(.*?)</style>", html, re.DOTALL)
    # Content Security Policy Level 3, 2.3.1: the base64 of the SHA-256 of the element's text.
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    (policy,) = (
        value for name, value in Page(html).attributes if name == "content" and "src" in value
    )
    assert policy.startswith(f"default-src 'none'; style-src 'sha256-{digest}';")
    assert "unsafe" not in policy


# --- in a real browser ----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def driver() -> Iterator[Any]:
    with browser(390, 844, night=False) as driver:
        yield driver


def opened(driver: Any, tmp_path: Path, made: dict[str, Any], width: int) -> None:
    path = tmp_path / "report.html"
    path.write_text(report_html(made, RECOLLECTION, zone=UTC), encoding="utf-8")
    resize(driver, width, 844)
    driver.get(path.as_uri())


def sheets(driver: Any, width_inch: float, height_inch: float) -> int:
    """How many sheets the browser prints it on."""
    printed = driver.execute_cdp_cmd(
        "Page.printToPDF", {"paperWidth": width_inch, "paperHeight": height_inch}
    )
    data = base64.b64decode(printed["data"])
    # Every page of a PDF is an object of type Page (ISO 32000-1, 7.7.3.3).
    return len(re.findall(rb"/Type\s*/Page\b", data))


def crowded() -> dict[str, Any]:
    """As much of everything as the page ever shows."""
    made = record(2000)
    for n, one in enumerate(made["rings"]):
        one["slider"] = SLIDERS[n % 31]["label"]
    said = "The wedge was moved a step to the left and turned away from the singer. " * 6
    made["happenings"] += [{"at_s": 10.0 * n, "kind": "note", "text": said} for n in range(9)]
    ring_out = next(one for one in made["happenings"] if one["kind"] == "ring_out")
    made["happenings"] += [{**ring_out, "at_s": 1000.0}, {**ring_out, "at_s": 1100.0}]
    return made


@pytest.mark.browser
@pytest.mark.parametrize(
    ("made", "most"),
    [(bare(), 1), (record(1), 2), (record(200), 2), (record(2000), 2), (crowded(), 2)],
    ids=["empty", "one", "200", "2000", "crowded"],
)
@pytest.mark.parametrize("paper", [(8.27, 11.69), (8.5, 11.0)], ids=["A4", "letter"])
def test_it_prints_on_one_or_two_sheets(
    driver: Any, tmp_path: Path, made: dict[str, Any], most: int, paper: tuple[float, float]
) -> None:
    opened(driver, tmp_path, made, 1280)
    assert 1 <= sheets(driver, *paper) <= most


@pytest.mark.browser
@pytest.mark.parametrize("width", [320, 390, 1280])
@pytest.mark.parametrize("made", [record(24), hostile()], ids=["usual", "hostile"])
def test_no_width_makes_the_page_scroll_sideways(
    driver: Any, tmp_path: Path, width: int, made: dict[str, Any]
) -> None:
    opened(driver, tmp_path, made, width)
    assert driver.execute_script("return document.documentElement.scrollWidth") <= width


@pytest.mark.browser
def test_one_timeline_is_seen_on_a_phone_and_the_other_on_a_desk(
    driver: Any, tmp_path: Path
) -> None:
    seen = "return [...document.querySelectorAll('figure svg')].map(s => s.checkVisibility())"
    opened(driver, tmp_path, record(24), 390)
    assert driver.execute_script(seen) == [True, False, True]
    opened(driver, tmp_path, record(24), 1280)
    assert driver.execute_script(seen) == [False, True, True]


@pytest.mark.browser
def test_a_stranger_s_name_runs_nothing(driver: Any, tmp_path: Path) -> None:
    opened(driver, tmp_path, hostile(), 390)
    assert driver.title.endswith("· Howl Lantern")
    assert driver.execute_script("return document.scripts.length + document.images.length") == 0


def test_a_phone_has_its_timeline_however_much_rang() -> None:
    made = record()
    first = made["rings"][0]
    made["rings"] = [{**first, "id": i, "at_s": 20.0 * i} for i in range(MOST_TWICE + 100)]
    html = report_html(made, zone=UTC)
    assert html.count("<svg") == report_html(record(), zone=UTC).count("<svg")
    assert f"On a narrow screen it is the {MOST_TWICE} that howled" in html
