"""The printed sheet: one page of paper, everything on it, nothing a strict policy forbids."""

from __future__ import annotations

import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import flask
import pytest

import web
from monitor.placing.checklist import CHECKLIST
from monitor.placing.drawing import draw_svg
from monitor.placing.reckon import reckon
from monitor.placing.stage import Stage
from tests.browser import FLAGS
from tests.placing.drawn import a_stage, many_microphones

WEB = Path(next(iter(web.__path__)))
LONG = "somebody with a long name, far left side"


def sheet(stage: Stage) -> str:
    """Return the page as the server makes it."""
    app = flask.Flask("paper", root_path=str(WEB))
    reckoning = reckon(stage)
    with app.test_request_context():
        return flask.render_template(
            "paper.html",
            stage=stage,
            checklist=CHECKLIST,
            reckoning=reckoning.fields(),
            svg=draw_svg(stage, reckoning),
        )


def crowded() -> Stage:
    """Return a stage with long names, mains behind the singers and many cautions."""
    microphones = [
        {"name": f"{i} {LONG}"[:40], "x": 1 + 0.6 * i, "y": 6, "pattern": "cardioid"}
        for i in range(9)
    ]
    boxes = [
        {"name": f"m{i} {LONG}"[:40], "kind": "mains", "x": 1 + 0.6 * i, "y": 4} for i in range(5)
    ]
    room = {"width": 7, "depth": 18, "height": 3.4}
    return a_stage(name=LONG, room=room, microphone=microphones, loudspeaker=boxes)


class Seen(HTMLParser):
    """What a browser would see: tags, attributes, words."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.words = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self.tags.append(tag)
        self.attributes += [(key, value or "") for key, value in attrs]

    def handle_data(self, data: str) -> None:
        self.words += data


def test_plan_changes_list_and_cautions_are_on_it() -> None:
    stage = a_stage()
    reckoning = reckon(stage)
    seen = Seen(sheet(stage))
    words = " ".join(seen.words.split())
    assert seen.tags.count("svg") == 1
    for line in (reckoning.sentence, *reckoning.unknown, *reckoning.cautions):
        assert line in words
    for change in reckoning.changes[:5]:
        assert f"+{change.gain_db:.1f} dB {change.words}" in words
    places = [words.find(f"{item.title}. {item.words}") for item in CHECKLIST]
    assert -1 not in places
    assert places == sorted(places)
    headings = [words.find(f" {name} ") for name in ("Place", "Level", "Low cut", "Ring-out")]
    assert -1 not in headings


def test_every_list_is_closed() -> None:
    text = sheet(a_stage())
    for tag in ("ul", "ol", "li", "div", "section", "main", "figure"):
        assert len(re.findall(rf"<{tag}\b", text)) == text.count(f"</{tag}>") > 0, tag


def test_it_keeps_to_the_policy_and_names_stay_words() -> None:
    name = "<script>alert(1)</script>"
    microphone = {"name": name, "x": 3, "y": 2, "pattern": "omni"}
    seen = Seen(sheet(a_stage(name="<b>&", microphone=[microphone])))
    assert "script" not in seen.tags
    assert "style" not in seen.tags
    assert not [key for key, _ in seen.attributes if key == "style" or key.startswith("on")]
    assert f"into '{name}'" in seen.words
    links = [value for key, value in seen.attributes if key in ("href", "src")]
    assert all(link.startswith(("/", "data:")) for link in links), links


def test_a_caution_of_everybody_s_is_never_left_out() -> None:
    stage = crowded()
    cautions = reckon(stage).cautions
    assert len(cautions) > 4, "this stage is meant to have many"
    assert cautions[-1] in " ".join(Seen(sheet(stage)).words.split())


@pytest.mark.browser
@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("stage", [a_stage(), crowded(), many_microphones(40)])
def test_it_prints_on_one_page(stage: Stage, paper: str, tmp_path: Path) -> None:
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("no browser: apt-get install chromium chromium-driver")
    size = f"<style>@page {{ size: {paper} }}</style></head>"
    text = sheet(stage).replace("/static/paper.css", (WEB / "static" / "paper.css").as_uri())
    (tmp_path / "paper.html").write_text(text.replace("</head>", size))
    pdf = tmp_path / "paper.pdf"
    subprocess.run(
        [
            program,
            *FLAGS,
            f"--user-data-dir={tmp_path / 'profile'}",
            "--no-pdf-header-footer",
            f"--print-to-pdf={pdf}",
            (tmp_path / "paper.html").as_uri(),
        ],
        check=True,
        capture_output=True,
        timeout=120,
    )
    found = pdf.read_bytes()
    width = {"a4": 594, "letter": 612}[paper]
    assert re.search(rb"/MediaBox \[0 0 %d" % width, found)
    # ISO 32000-1, 7.7.3.3: each page is an object of /Type /Page.
    assert len(re.findall(rb"/Type\s*/Page\b", found)) == 1
