"""Records through the link's short lines, their forms, and what happens when they change."""

from __future__ import annotations

import base64
import csv
import hashlib
import json
import re
import threading
from collections.abc import Iterator
from datetime import UTC
from html import escape
from typing import Any

import pytest
from flask.testing import FlaskClient

from monitor.link.messages import LinkError
from monitor.report.next_time import next_lines
from tests.web.kept import BEFORE, FIRST, HERON, MEMORY, TONIGHT, KeptClient, made_record
from web import records
from web.app import create_app
from web.gig_forms import FORMS
from web.gig_routes import NOT_REMEMBERED
from web.records import Busy, NoRecord, Records

GIGS = "/api/v1/gigs"


@pytest.fixture
def kept() -> Iterator[KeptClient]:
    client = KeptClient()
    client.hold(client.snapshot())
    yield client
    client.close()


@pytest.fixture
def phone(kept: KeptClient) -> FlaskClient:
    return create_app(kept, max_streams=1).test_client()


def asked_records(kept: KeptClient) -> list[int]:
    return [c["offset"] for c in kept.asked if c["class"] == "record"]


def test_a_record_comes_whole_and_is_not_fetched_again(
    phone: FlaskClient, kept: KeptClient
) -> None:
    kept.records[TONIGHT] = made_record(TONIGHT, HERON, "2026-11-20T19:30:00Z", 200)
    answer = phone.get(f"{GIGS}/{TONIGHT}")
    assert answer.get_json() == kept.records[TONIGHT]
    pieces = len(asked_records(kept))
    assert pieces > 5
    assert phone.get(f"{GIGS}/{TONIGHT}/record.json").get_json() == kept.records[TONIGHT]
    assert len(asked_records(kept)) == pieces + 1  # only whether it is still the same
    kept.records[TONIGHT]["gig"]["title"] = "The Ferry Lamps, late"
    assert phone.get(f"{GIGS}/{TONIGHT}").get_json()["gig"]["title"] == "The Ferry Lamps, late"


def test_a_record_that_changes_while_it_is_read_is_read_again(
    phone: FlaskClient, kept: KeptClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    told, changes = KeptClient._record, [2]

    def changing(self: KeptClient, command: dict[str, Any]) -> dict[str, Any]:
        if command["offset"] and changes[0]:
            changes[0] -= 1
            self.records[TONIGHT]["gig"]["title"] = f"take {changes[0]}"
        return told(self, command)

    monkeypatch.setattr(KeptClient, "_record", changing)
    assert phone.get(f"{GIGS}/{TONIGHT}").get_json() == kept.records[TONIGHT]
    changes[0] = 10**9
    kept.records[TONIGHT]["gig"]["title"] = "another"
    answer = phone.get(f"{GIGS}/{TONIGHT}")
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "2")
    assert "changes too fast" in answer.get_json()["error"]


@pytest.mark.parametrize(
    ("piece", "words"),
    [
        ({"total": 10**12}, "characters"),
        ({"total": "many"}, "characters"),
        ({"text": "[" * 4000, "total": 4000}, "cannot be read"),
        ({"text": "[1]", "total": 3}, "no object"),
        ({"class": "error", "message": "no such gig"}, "no such gig"),
    ],
)
def test_a_watcher_s_odd_pieces_end_in_one_line(
    kept: KeptClient, monkeypatch: pytest.MonkeyPatch, piece: dict[str, Any], words: str
) -> None:
    def odd(_self: KeptClient, command: dict[str, Any]) -> dict[str, Any]:
        return {"class": "record", "gig": command["gig"], "digest": "d", "text": "x", **piece}

    monkeypatch.setattr(KeptClient, "_record", odd)
    with Records(kept) as reading, pytest.raises(NoRecord, match=words):
        reading.read(TONIGHT)


@pytest.mark.parametrize("piece", [{"text": "", "total": 3}, {"text": "{}and more", "total": 2}])
def test_pieces_that_do_not_fit_are_asked_for_again_and_not_for_ever(
    kept: KeptClient, monkeypatch: pytest.MonkeyPatch, piece: dict[str, Any]
) -> None:
    asked: list[int] = []

    def odd(_self: KeptClient, command: dict[str, Any]) -> dict[str, Any]:
        asked.append(command["offset"])
        return {"class": "record", "gig": command["gig"], "digest": "d", **piece}

    monkeypatch.setattr(KeptClient, "_record", odd)
    with Records(kept) as reading, pytest.raises(Busy, match="too fast"):
        reading.read(TONIGHT)
    assert asked == [0] * records.TRIES


def test_one_record_at_a_time_and_who_waits_is_told_when(
    phone: FlaskClient, kept: KeptClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(records, "TAKES_TURNS_S", 0.05)
    reading = Records(kept, wait_s=0.05)
    with reading:
        other: list[type] = []

        def read() -> None:
            try:
                with reading:
                    other.append(dict)
            except Busy:
                other.append(Busy)

        thread = threading.Thread(target=read)
        thread.start()
        thread.join(20.0)
        assert other == [Busy]
    monkeypatch.setattr(Records, "__enter__", lambda _: (_ for _ in ()).throw(Busy("later")))
    answer = phone.get(f"{GIGS}/{TONIGHT}")
    assert answer.status_code == 503
    assert int(answer.headers["Retry-After"]) > 0


def test_few_records_are_kept(kept: KeptClient) -> None:
    with Records(kept) as reading:
        for i in range(2, 8):
            uid = f"{i:016x}"
            kept.records[uid] = made_record(uid, None, "2026-11-20T19:30:00Z", 3)
            reading.read(uid)
        assert len(reading._kept) == records.KEPT


@pytest.mark.parametrize("uid", [TONIGHT, FIRST])
@pytest.mark.parametrize("name", sorted(FORMS))
def test_every_form_of_a_gig(phone: FlaskClient, uid: str, name: str) -> None:
    answer = phone.get(f"{GIGS}/{uid}/{name}")
    assert answer.status_code == 200
    assert answer.mimetype == FORMS[name].mimetype
    assert len(answer.data) > 30
    if name.endswith(".csv"):
        assert f'filename="gig-{uid}-{name}"' in answer.headers["Content-Disposition"]
        assert list(csv.reader(answer.get_data(as_text=True).splitlines()))
    if name.endswith(".png"):
        assert answer.data.startswith(b"\x89PNG")


def test_pictures_come_in_the_inks_that_are_wanted(phone: FlaskClient) -> None:
    looks = {look: phone.get(f"{GIGS}/{TONIGHT}/timeline.svg?look={look}").data
             for look in ("day", "night", "page")}  # fmt: skip
    assert len(set(looks.values())) == 3
    # The page that takes it in says itself which gig it is.
    named = {look: f">{HERON['name']}<".encode() in svg for look, svg in looks.items()}
    assert named == {"day": True, "night": True, "page": False}
    narrow = phone.get(f"{GIGS}/{TONIGHT}/timeline.svg?width=narrow").data
    assert narrow != looks["day"]
    for question in ("look=blue", "width=3"):
        answer = phone.get(f"{GIGS}/{TONIGHT}/timeline.svg?{question}")
        assert answer.status_code == 400
        assert "\n" not in answer.get_json()["error"]


@pytest.mark.parametrize("name", ["report.html", "timeline.svg", "curve.svg", "next"])
def test_times_are_told_as_the_reader_s_clock_has_them(
    phone: FlaskClient, kept: KeptClient, name: str
) -> None:
    """The gig began at 19:30 UTC; a wedge was pulled 25 minutes later, and rang on."""
    kept.records[TONIGHT] = made_record(TONIGHT, HERON, "2026-11-20T19:30:00Z", 40)
    told = {
        offset: phone.get(f"{GIGS}/{TONIGHT}/{name}?utc_offset_min={offset}").get_data(as_text=True)
        for offset in (-720, 0, 60, 840)
    }
    moment = {"next": "{:02d}:55", "timeline.svg": "{:02d}:30"}.get(name, "{:02d}:30 to")
    for offset, words in told.items():
        hour = (19 + offset // 60) % 24
        assert moment.format(hour) in words, offset
        assert moment.format((hour + 1) % 24) not in words or name == "timeline.svg", offset
        assert "UTC" not in words  # the reader knows which time it is


@pytest.mark.parametrize(
    "offset", ["-721", "841", "+60", " 60", "--60", "60.0", "", "noon", "6" * 99]
)
def test_an_offset_that_is_none_is_refused(
    phone: FlaskClient, kept: KeptClient, offset: str
) -> None:
    answer = phone.get(f"{GIGS}/{TONIGHT}/report.html", query_string={"utc_offset_min": offset})
    assert answer.status_code == 400
    assert "from -720 to 840" in answer.get_json()["error"]
    assert len(answer.get_json()["error"]) < 200
    assert kept.asked == []


def test_what_to_do_next_time_comes_as_data(phone: FlaskClient, kept: KeptClient) -> None:
    answer = phone.get(f"{GIGS}/{TONIGHT}/next?utc_offset_min=0")
    lines = next_lines(kept.records[TONIGHT], MEMORY, zone=UTC)
    assert len(lines) >= 2
    said = answer.get_json()["next"]
    assert [(one["title"], one["words"]) for one in said] == [(one.do, one.why) for one in lines]
    assert [one.get("known", False) for one in said] == [one.is_known for one in lines]
    html = phone.get(f"{GIGS}/{TONIGHT}/report.html?utc_offset_min=0").get_data(as_text=True)
    assert all(escape(words, quote=False) in html for one in lines for words in (one.do, one.why))


@pytest.mark.parametrize("name", ["next", "report.html"])
def test_the_memory_may_be_asked_without_the_gig_that_goes_on(
    phone: FlaskClient, kept: KeptClient, name: str
) -> None:
    assert phone.get(f"{GIGS}/{BEFORE}/{name}?but={TONIGHT}").status_code == 200
    assert phone.get(f"/api/v1/recollection?venue={HERON['uid']}&but={TONIGHT}").status_code == 200
    asked = [one for one in kept.asked if one["class"] == "recollection"]
    assert asked == [{"class": "recollection", "venue": HERON["uid"], "but": TONIGHT}] * 2
    for but in ("", "tonight", TONIGHT.upper(), "x" * 500):
        answer = phone.get(f"{GIGS}/{BEFORE}/{name}", query_string={"but": but})
        assert answer.status_code == 400
        assert answer.get_json()["error"].startswith("but must be a gig's 16 hexadecimal digits")
        assert len(answer.get_json()["error"]) < 200


def test_the_report_lets_in_its_own_style_and_nothing_else(
    phone: FlaskClient, kept: KeptClient
) -> None:
    bad = {"uid": HERON["uid"], "name": "<style>*{}</style><script>alert(1)</script>"}
    kept.records[TONIGHT]["gig"]["venue"] = bad
    answer = phone.get(f"{GIGS}/{TONIGHT}/report.html")
    html, policy = answer.get_data(as_text=True), answer.headers["Content-Security-Policy"]
    (style,) = re.findall(r"<style>(.*?)</style>", html, re.DOTALL)
    assert "<script" not in html
    # The policy is a list of directives, the style its SHA-256 (Content Security Policy Level 3).
    said = dict(one.strip().split(maxsplit=1) for one in policy.split(";"))
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert said.pop("style-src") == f"'sha256-{digest}'"
    assert said == dict.fromkeys(
        ("default-src", "base-uri", "form-action", "frame-ancestors"), "'none'"
    )
    assert any(c["class"] == "recollection" for c in kept.asked)


@pytest.mark.parametrize(
    "uid", ["nobody", "../../etc", "00000000000000B1", "0" * 17, "%00", "0000000000000b99"]
)
def test_what_is_no_gig_is_said_in_one_line(phone: FlaskClient, uid: str) -> None:
    for end in ("", "/record.json", "/report.html"):
        answer = phone.get(f"{GIGS}/{uid}{end}")
        assert answer.status_code == 404
        assert "\n" not in answer.get_json()["error"]


@pytest.mark.parametrize("limit", ["0", "101", "-1", "1_0", "١", "1e1", "", "x" * 500, "9" * 400])
def test_a_bad_limit_is_refused(phone: FlaskClient, kept: KeptClient, limit: str) -> None:
    for path in (GIGS, "/api/v1/rings"):
        answer = phone.get(path, query_string={"limit": "151" if limit == "101" else limit})
        assert answer.status_code == 400
        assert len(answer.get_json()["error"]) < 200
    assert kept.asked == []


def test_bringing_in_takes_pieces_up_to_their_bound(phone: FlaskClient, kept: KeptClient) -> None:
    uid = f"{77:016x}"
    text = json.dumps(made_record(uid, HERON, "2026-01-01T20:00:00Z", 400))
    size = 20_000
    for offset in range(0, len(text), size):
        piece = text[offset : offset + size]
        last = offset + size >= len(text)
        body = {"upload": "u1", "offset": offset, "text": piece, "last": last}
        answer = phone.post("/api/v1/import", json=body)
        assert answer.status_code == 200
    assert answer.get_json() == {"done": True, "gigs": 1, "rings": 400}
    assert uid in kept.records
    long = {"upload": "u2", "offset": 0, "text": "x" * 100_000, "last": True}
    assert phone.post("/api/v1/import", json=long).status_code == 413


def test_without_a_watcher_nothing_hangs(phone: FlaskClient, kept: KeptClient) -> None:
    kept.gone = True
    for path in (GIGS, f"{GIGS}/{TONIGHT}", "/api/v1/venues", "/api/v1/recollection"):
        answer = phone.get(path)
        assert (answer.status_code, "watcher" in answer.get_json()["error"]) == (503, True)


def test_a_report_stands_without_the_memory(
    phone: FlaskClient, kept: KeptClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def gone(_self: KeptClient, _command: dict[str, Any]) -> dict[str, Any]:
        raise LinkError("the watcher did not answer within 5 s")

    monkeypatch.setattr(KeptClient, "_recollection", gone)
    answer = phone.get(f"{GIGS}/{TONIGHT}/report.html")
    assert answer.status_code == 200
    assert NOT_REMEMBERED in answer.text, "and says so"
    said = phone.get(f"{GIGS}/{TONIGHT}/next").get_json()
    assert said["problem"] == NOT_REMEMBERED
    assert said["next"]
