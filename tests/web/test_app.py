"""The page's server as a phone, a curious neighbour and a hostile page see it."""

from __future__ import annotations

import gzip
import html
import json
import re
import threading
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

import web
from monitor.link.gig_commands import LONGEST_NOTE
from monitor.link.messages import LinkError, UnreachableError
from monitor.placing.stage_file import EXAMPLE, read_stage, stage_fields
from tests.web.screenshots import StillClient, page_server
from tests.web.states import STATES
from web.app import create_app
from web.guard import MAX_BODY_BYTES

STATIC = Path(web.__file__).parent / "static"


OPEN = {"control": "open", "showing": False, "phones": 0, "revision": 0}
COMMANDS = [f"/api/v1/{name}" for name in ("stage", "way", "ring-out", "pull", "soundcheck")]


@pytest.fixture
def link() -> StillClient:
    client = StillClient()
    client.hold({**STATES["demo"], "access": OPEN})
    return client


@pytest.fixture
def phone(link: StillClient) -> FlaskClient:
    return create_app(link, max_streams=1).test_client()


@pytest.mark.parametrize("count", [20, 985, 991, 1000])
@pytest.mark.parametrize(
    "path", [*COMMANDS, *(f"/api/v1/{one}" for one in ("plan", "plan/reckon", "sound", "gig"))]
)
def test_what_is_nested_without_end_is_a_wrong_request_and_no_failure(
    phone: FlaskClient, path: str, count: int
) -> None:
    for first in ('{"way":', '{"stage":', ""):
        deep = first + "[" * count + "]" * count + ("}" if first else "")
        headers = {"Content-Type": "application/json"}
        answer = phone.post(path, data=deep[: MAX_BODY_BYTES * 4], headers=headers)
        assert answer.status_code in (400, 413), (path, first)
        assert answer.get_json()["error"]


@pytest.mark.parametrize("path", ["/", "/api/v1/now", "/static/main.js", "/nothing-here"])
def test_every_answer_carries_the_protecting_headers(phone: FlaskClient, path: str) -> None:
    with phone.get(path) as answer:
        policy = answer.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["X-Frame-Options"] == "DENY"


def test_the_page_asks_nothing_of_the_outside(phone: FlaskClient) -> None:
    with phone.get("/") as answer:
        body = answer.get_data(as_text=True)
    files = {path.name: path.read_text(encoding="utf-8") for path in STATIC.iterdir()}
    for name, text in {"page.html": body, **files}.items():
        outside = set(re.findall(r"(?:https?:)?//[\w.]+\.\w+[^\s\"']*", text))
        outside.discard("http://www.w3.org/2000/svg")  # the name of SVG, which nobody fetches
        assert not outside, name
    assert not re.search(r"<script(?![^>]*\bsrc=)", body)
    assert not re.search(r"\son\w+=|style=", body)


def test_files_come_packed_and_are_not_sent_twice(phone: FlaskClient) -> None:
    plain = (STATIC / "main.js").read_bytes()
    whole = phone.get("/static/main.js")
    assert whole.data == plain
    assert "Content-Encoding" not in whole.headers
    packed = phone.get("/static/main.js", headers={"Accept-Encoding": "br, gzip"})
    assert packed.headers["Content-Encoding"] == "gzip"
    assert gzip.decompress(packed.data) == plain
    assert packed.headers["Cache-Control"] == "no-cache"
    assert "Accept-Encoding" in packed.headers["Vary"]
    # Two forms, two names: else a cache would hand out the one for the other (RFC 9110, 8.8.3).
    assert packed.headers["ETag"] != whole.headers["ETag"]
    same = {"Accept-Encoding": "gzip", "If-None-Match": packed.headers["ETag"]}
    again = phone.get("/static/main.js", headers=same)
    assert (again.status_code, again.data) == (304, b"")
    assert phone.get("/static/main.js", headers={"If-None-Match": '"other"'}).data == plain


@pytest.mark.parametrize(
    "path", ["../app.py", "%2e%2e/app.py", "..%2fapp.py", "%2fetc/passwd", "x", "main.js/", ""]
)
def test_no_path_leads_out_of_the_files(phone: FlaskClient, path: str) -> None:
    assert phone.get("/static/" + path, follow_redirects=True).status_code == 404


def test_answers_are_packed_where_the_phone_takes_it(phone: FlaskClient) -> None:
    plain = phone.get("/api/v1/now", headers={"Accept-Encoding": "gzip;q=0, br"})
    assert "Content-Encoding" not in plain.headers
    packed = phone.get("/api/v1/now", headers={"Accept-Encoding": "gzip"})
    assert packed.headers["Content-Encoding"] == "gzip"
    assert len(packed.data) < len(plain.data) / 2
    assert json.loads(gzip.decompress(packed.data))["snapshot"] == plain.get_json()["snapshot"]
    small = phone.get("/healthz", headers={"Accept-Encoding": "gzip"})
    assert "Content-Encoding" not in small.headers


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("192.168.4.1:8080", 200),
        ("[fe80::1]:8080", 200),
        ("lantern.local", 200),
        ("LANTERN.local.:80", 200),
        ("localhost:80", 200),
        ("evil.example", 421),
        ("192.168.4.1.evil.example", 421),
        ("local", 421),
        ("[::1", 421),
    ],
)
def test_only_an_address_or_a_local_name_is_this_box(
    phone: FlaskClient, host: str, status: int
) -> None:
    assert phone.get("/api/v1/now", headers={"Host": host}).status_code == status


def test_a_foreign_name_pointed_at_the_box_changes_nothing(
    phone: FlaskClient, link: StillClient
) -> None:
    answer = phone.post(
        "/api/v1/stage",
        json={"fader_db": 0},
        headers={"Host": "evil.example", "Origin": "http://evil.example"},
    )
    assert answer.status_code == 421
    assert link.asked == []


# What browsers send for an address that is opened, and for what a script fetches (HTML and Fetch
# standards: "text/html,application/xhtml+xml,..." for navigation, "*/*" otherwise).
OPENED = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"
# As seen from Chromium, whose last word has a parameter and so is the most exact.
OPENED_BY_CHROMIUM = f"{OPENED},application/signed-exchange;v=b3;q=0.7"


@pytest.mark.parametrize("accept", [OPENED, OPENED_BY_CHROMIUM])
@pytest.mark.parametrize(
    ("path", "status", "links"),
    [
        ("/paper", 503, ['href=""', 'href="/"']),
        ("/api/v1/gigs/%3Cscript%3E/report.html", 404, ['href="/"']),
        ("/nothing-of-ours", 404, ['href="/"']),
    ],
)
def test_a_refusal_that_is_opened_is_a_page_with_a_way_back(
    phone: FlaskClient,
    link: StillClient,
    monkeypatch: pytest.MonkeyPatch,
    path: str,
    status: int,
    links: list[str],
    accept: str,
) -> None:
    def gone(_command: object, _timeout_s: float = 2.0) -> dict[str, Any]:
        raise UnreachableError("the watcher cannot be reached: it's <off>")

    monkeypatch.setattr(link, "request", gone)
    asked = phone.get(path, headers={"Accept": "*/*"})
    opened = phone.get(path, headers={"Accept": accept})
    assert (asked.status_code, opened.status_code) == (status, status)
    assert asked.get_json()["error"]
    assert opened.mimetype == "text/html"
    words = html.unescape(opened.text)
    assert asked.get_json()["error"] in words
    assert re.findall(r'href="/?"', opened.text) == links
    assert "<script" not in opened.text
    assert "Accept" in asked.vary, "neither is kept for the other"


def test_a_refusal_under_another_s_name_leads_nowhere(phone: FlaskClient) -> None:
    opened = phone.get("/", headers={"Host": "evil.example", "Accept": OPENED})
    assert (opened.status_code, "<a " in opened.text) == (421, False)
    assert "IP address" in opened.text


def test_a_note_of_the_longest_fits_whatever_its_letters(
    phone: FlaskClient, link: StillClient
) -> None:
    """500 kana: three bytes each in UTF-8, six where a program escapes them."""
    note = {"do": "note", "text": "\u304b" * 500}
    for ascii_only in (False, True):
        body = json.dumps(note, ensure_ascii=ascii_only).encode()
        answer = phone.post("/api/v1/gig", data=body, content_type="application/json")
        assert answer.status_code != 413, answer.get_json()
    page = phone.get("/").get_data(as_text=True)
    assert f'id="af-note-text" type="text" maxlength="{LONGEST_NOTE}"' in page


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("ring-out", {"do": "stop"}),
        ("pull", {"slider": 1, "cut_db": -3.0}),
        ("soundcheck", {"do": "measure", "source": "line"}),
        ("gig", {"do": "end"}),
        ("clock", {"utc_s": 1_800_000_000.0}),
        ("plan", {"stage": stage_fields(read_stage(EXAMPLE))}),
        ("pair/ask", {}),
    ],
)
def test_a_slow_card_is_waited_for(
    phone: FlaskClient, link: StillClient, monkeypatch: pytest.MonkeyPatch, path: str, body: Any
) -> None:
    """All these are answered when they are on the disk, which takes five seconds here."""
    asked: list[Any] = []

    def slow(command: Any, timeout_s: float = 2.0) -> dict[str, Any]:
        asked.append(command)
        if timeout_s < 5.0:
            raise UnreachableError("the watcher does not answer")
        return {"class": "done"}

    if path.startswith("pair"):
        link.hold({**STATES["demo"], "access": {**OPEN, "control": "code"}})
    monkeypatch.setattr(link, "request", slow)
    answer = phone.post(f"/api/v1/{path}", json=body)
    assert (answer.status_code, len(asked)) == (200, 1), answer.get_json()


@pytest.mark.parametrize(
    ("arguments", "status"),
    [
        ({"data": "fader_db=0"}, 415),
        ({"data": '{"fader_db": 0}', "content_type": "text/plain"}, 415),
        ({"data": "{", "content_type": "application/json"}, 400),
        ({"data": b"\xff\xfe", "content_type": "application/json"}, 400),
        ({"data": "[" * 900, "content_type": "application/json"}, 400),
        ({"json": [1]}, 400),
        ({"json": {"fader_db": 0}, "headers": {"Origin": "http://other.local"}}, 403),
        ({"json": {"fader_db": 0}, "headers": {"Origin": "null"}}, 403),
        ({"json": {"fader_db": 0}, "headers": {"Origin": "http://[::1"}}, 403),
        ({"json": {"fader_db": 0}, "headers": {"Sec-Fetch-Site": "cross-site"}}, 403),
        ({"json": {"fader_db": "x" * MAX_BODY_BYTES}}, 413),
    ],
)
@pytest.mark.parametrize("path", COMMANDS)
def test_bad_requests_are_refused_in_one_line(
    phone: FlaskClient, link: StillClient, path: str, arguments: dict[str, Any], status: int
) -> None:
    answer = phone.post(path, **arguments)
    assert answer.status_code == status
    message = answer.get_json()["error"]
    assert message
    assert "\n" not in message
    assert link.asked == []


@pytest.mark.parametrize("path", COMMANDS)
def test_looking_never_changes_anything(phone: FlaskClient, link: StillClient, path: str) -> None:
    assert phone.get(path).status_code == 405
    assert link.asked == []


def test_commands_reach_the_watcher_and_its_class_cannot_be_forged(
    phone: FlaskClient, link: StillClient
) -> None:
    body = {"class": "address", "slider": 4, "cut_db": -6}
    assert phone.post("/api/v1/stage", json=body).status_code == 200
    assert phone.post("/api/v1/way", json={"way": "set"}).status_code == 200
    assert link.asked == [
        {"class": "stage", "slider": 4, "cut_db": -6},
        {"class": "way", "way": "set"},
    ]


def test_a_box_without_a_stage_takes_no_stage_commands(
    phone: FlaskClient, link: StillClient
) -> None:
    link.hold({**STATES["quiet"], "access": OPEN})
    answer = phone.post("/api/v1/stage", json={"fader_db": 0})
    assert answer.status_code == 403
    assert "practice stage" in answer.get_json()["error"]
    assert link.asked == []


@pytest.mark.parametrize("state", ["quiet", "demo"])
def test_a_box_takes_way_ring_out_and_pulls_of_its_own_page(
    phone: FlaskClient, link: StillClient, state: str
) -> None:
    link.hold({**STATES[state], "access": OPEN})
    assert phone.post("/api/v1/way", json={"way": "soundcheck"}).status_code == 200
    assert phone.post("/api/v1/ring-out", json={"do": "open"}).status_code == 200
    assert phone.post("/api/v1/pull", json={"slider": 3, "cut_db": -2}).status_code == 200
    assert link.asked == [
        {"class": "way", "way": "soundcheck"},
        {"class": "ring_out", "do": "open"},
        {"class": "pull", "slider": 3, "cut_db": -2},
    ]


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (LinkError("way must be 'soundcheck' or 'set', not 'watcher'"), 400),
        (UnreachableError("the watcher did not answer within 2 s"), 503),
    ],
)
def test_the_watchers_word_is_passed_on(
    phone: FlaskClient,
    link: StillClient,
    monkeypatch: pytest.MonkeyPatch,
    error: LinkError,
    status: int,
) -> None:
    def refuse(command: object, timeout_s: float = 2.0) -> dict[str, Any]:
        raise error

    monkeypatch.setattr(link, "request", refuse)
    answer = phone.post("/api/v1/stage", json={"fader_db": 999})
    assert (answer.status_code, answer.get_json()) == (status, {"error": str(error)})


def test_the_page_stands_without_a_watcher(phone: FlaskClient, link: StillClient) -> None:
    link.hold(None)
    assert phone.get("/").status_code == 200
    answer = phone.get("/api/v1/now").get_json()
    assert answer["connected"] is False
    assert "no watcher" in answer["problem"]
    assert phone.get("/healthz").status_code == 503
    assert phone.post("/api/v1/stage", json={"fader_db": 0}).status_code == 503


def test_now_says_how_old_its_news_is(phone: FlaskClient, link: StillClient) -> None:
    link.hold(STATES["howl"], age_s=30.0)
    answer = phone.get("/api/v1/now").get_json()
    assert 30.0 <= answer["age_s"] < 35.0
    assert answer["snapshot"]["rings"][0]["band"] == "2.5k"


def test_full_streams_leave_the_page_answering_and_come_free_again(link: StillClient) -> None:
    streams = 3
    with page_server(link, max_streams=streams) as url:
        held = [urllib.request.urlopen(url + "api/v1/stream", timeout=20) for _ in range(streams)]
        for response in held:
            assert response.readline() == b"retry: 500\n"
        with pytest.raises(urllib.error.HTTPError, match="HTTP Error 503") as refused:
            urllib.request.urlopen(url + "api/v1/stream", timeout=20)
        assert int(refused.value.headers["Retry-After"]) > 0
        refused.value.close()
        with urllib.request.urlopen(url + "api/v1/now", timeout=20) as answer:
            assert answer.status == 200
        for response in held:
            response.close()
        pause, fresh = threading.Event(), None
        for _ in range(200):
            try:
                fresh = urllib.request.urlopen(url + "api/v1/stream", timeout=20)
                break
            except urllib.error.HTTPError as error:
                error.close()
                pause.wait(0.1)
        assert fresh is not None, "a place was not given back within 20 s"
        fresh.close()
        link.close()  # ends what is left of the streams
