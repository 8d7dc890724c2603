"""The stage plan's routes: what they answer, refuse, and do when many ask at once."""

from __future__ import annotations

import copy
import json
import re
import threading
from collections.abc import Iterator
from html import unescape as html_text
from typing import Any

import pytest
from flask.testing import FlaskClient

from monitor.link.commands import MAX_PLAN_BYTES
from monitor.placing.checklist import CHECKLIST
from monitor.placing.stage_file import parse_stage
from tests.web.evening import PLAN, EveningClient
from web.app import create_app
from web.plan_routes import Busy, Reckoners

POSTED = ["/api/v1/plan", "/api/v1/plan/reckon"]


@pytest.fixture
def evening() -> Iterator[EveningClient]:
    client = EveningClient()
    client.hold(client.snapshot())
    yield client
    client.close()


@pytest.fixture
def phone(evening: EveningClient) -> FlaskClient:
    return create_app(evening, max_streams=1).test_client()


def changed(**fields: Any) -> dict[str, Any]:
    plan = copy.deepcopy(PLAN)
    plan["microphone"][0].update(fields)
    return plan


def test_the_kept_plan_comes_reckoned_and_drawn(phone: FlaskClient) -> None:
    answer = phone.get("/api/v1/plan").get_json()
    assert answer["stage"] == PLAN
    assert answer["revision"] == 3
    assert "problem" not in answer
    assert answer["reckoning"]["sentence"]
    assert answer["svg"].startswith("<svg")
    assert "style" not in answer["svg"]


def test_a_plan_that_is_only_tried_is_not_kept(phone: FlaskClient, evening: EveningClient) -> None:
    before = phone.get("/api/v1/plan").get_json()["reckoning"]
    answer = phone.post("/api/v1/plan/reckon", json={"stage": changed(mouth=0.04)})
    assert answer.status_code == 200
    # At a fifth of the distance the voice is 14 dB stronger (inverse square law).
    nearer = answer.get_json()["reckoning"]
    assert nearer["gain"]["spare_db"] > before["gain"]["spare_db"] + 5.0
    assert evening.plan == PLAN
    assert [command["class"] for command in evening.asked] == ["plan_get"]


def test_a_plan_is_kept_as_it_was_checked(phone: FlaskClient, evening: EveningClient) -> None:
    sent = {**changed(mouth=0.04), "name": "Tin Chapel"}
    assert phone.post("/api/v1/plan", json={"stage": sent}).status_code == 200
    assert evening.plan == sent
    # What is left out comes back with its default, so that an older page cannot forget it.
    del sent["listener"]
    assert phone.post("/api/v1/plan", json={"stage": sent}).status_code == 200
    assert evening.plan["listener"]["x"] == pytest.approx(3.5)


@pytest.mark.parametrize("path", POSTED)
@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        ({"data": "stage=1"}, 415, "JSON"),
        ({"data": "{", "content_type": "application/json"}, 400, "JSON object"),
        ({"data": b"\xff", "content_type": "application/json"}, 400, "JSON object"),
        ({"json": []}, 400, "JSON object"),
        ({"json": {"stage": "here"}}, 400, '"stage"'),
        ({"json": {"stage": changed(pattern="heart")}}, 400, "heart"),
        ({"json": {"stage": changed(x="left")}}, 400, "left"),
        ({"json": {"stage": changed(y=float("nan"))}}, 400, "y"),
        ({"json": {"stage": changed(mouth=-1)}}, 400, "mouth"),
        ({"json": {"stage": changed(x=70)}}, 400, "lead vocal"),
        ({"json": {"stage": {}, "pad": "x" * MAX_PLAN_BYTES}}, 413, str(MAX_PLAN_BYTES)),
        ({"json": {"stage": PLAN}, "headers": {"Origin": "http://other.local"}}, 403, "own page"),
        ({"json": {"stage": PLAN}, "headers": {"Sec-Fetch-Site": "cross-site"}}, 403, "own page"),
        ({"json": {"stage": PLAN}, "headers": {"Host": "evil.example"}}, 421, "address"),
    ],
)
def test_a_bad_plan_is_refused_in_one_line_and_nothing_is_kept(
    phone: FlaskClient,
    evening: EveningClient,
    path: str,
    arguments: dict[str, Any],
    status: int,
    words: str,
) -> None:
    answer = phone.post(path, **arguments)
    assert answer.status_code == status
    message = answer.get_json()["error"]
    assert words in message
    assert "\n" not in message
    assert len(message) < 300
    assert evening.asked == []
    assert evening.plan == PLAN


def test_the_largest_plan_fits_through_the_gate(phone: FlaskClient) -> None:
    plan = copy.deepcopy(PLAN)
    one = plan["microphone"][0]
    plan["microphone"] = [
        {**one, "name": f"voice number {i} of the choir", "x": 0.4 + 0.1 * i} for i in range(64)
    ]
    assert len(json.dumps({"stage": plan})) < MAX_PLAN_BYTES
    assert phone.post("/api/v1/plan/reckon", json={"stage": plan}).status_code == 200


def test_the_sheet_of_paper_has_plan_changes_and_list(
    phone: FlaskClient, evening: EveningClient
) -> None:
    evening.plan["microphone"][0]["name"] = "<b>Ann & Bo</b>"
    with phone.get("/paper") as answer:
        html = answer.get_data(as_text=True)
        assert answer.status_code == 200
        assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
    assert html.count("<svg") == 1
    assert "&lt;b&gt;Ann &amp; Bo" in html
    assert "<b>Ann" not in html
    assert not re.search(r"<script|style=|<style", html)
    for item in CHECKLIST:
        assert item.title in html_text(html)
    evening.gone = True
    assert phone.get("/paper").status_code == 503


def test_without_a_watcher_a_plan_is_reckoned_but_neither_read_nor_kept(
    phone: FlaskClient, evening: EveningClient
) -> None:
    evening.gone = True
    assert phone.post("/api/v1/plan/reckon", json={"stage": PLAN}).status_code == 200
    answer = phone.get("/api/v1/plan")
    assert (answer.status_code, "watcher" in answer.get_json()["error"]) == (503, True)
    evening.hold(None)
    answer = phone.post("/api/v1/plan", json={"stage": PLAN})
    assert (answer.status_code, "not begun to listen" in answer.get_json()["error"]) == (503, True)


def test_before_a_plan_there_is_an_example_and_a_broken_one_is_said(
    phone: FlaskClient, evening: EveningClient
) -> None:
    evening.plan, evening.revision = None, 0
    answer = phone.get("/api/v1/plan").get_json()
    parse_stage(answer["stage"])
    assert answer["revision"] == 0
    assert "problem" not in answer
    evening.plan = {"room": {"width": -3}}
    answer = phone.get("/api/v1/plan").get_json()
    assert "-3" in answer["problem"]
    parse_stage(answer["stage"])
    evening.refuse = "unknown command 'plan_get'"
    answer = phone.get("/api/v1/plan").get_json()
    assert answer["problem"] == evening.refuse


def test_what_the_watcher_refuses_to_keep_is_passed_on(
    phone: FlaskClient, evening: EveningClient
) -> None:
    evening.refuse = "the plan could not be written: the card is full"
    answer = phone.post("/api/v1/plan", json={"stage": PLAN})
    assert (answer.status_code, answer.get_json()["error"]) == (400, evening.refuse)


def test_a_burst_is_turned_away_and_the_next_is_served(
    phone: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    free, inside = threading.Event(), threading.Semaphore(0)

    def slow(stage: object) -> object:
        inside.release()
        free.wait(20.0)
        raise RuntimeError("a reckoning that fails gives its place back")

    monkeypatch.setattr("web.plan_routes.reckon", slow)
    reckoners = Reckoners(2, wait_s=0.02)
    stage = parse_stage(PLAN)

    def reckon_once() -> None:
        with pytest.raises(RuntimeError, match="gives its place back"):
            reckoners.reckoned(stage)

    threads = [threading.Thread(target=reckon_once) for _ in range(2)]
    for thread in threads:
        thread.start()
        assert inside.acquire(timeout=20.0)
    with pytest.raises(Busy, match="^$"):
        reckoners.reckoned(stage)
    free.set()
    for thread in threads:
        thread.join(20.0)
    monkeypatch.undo()
    assert reckoners.reckoned(stage)["svg"]
    monkeypatch.setattr(Reckoners, "reckoned", lambda *_: (_ for _ in ()).throw(Busy()))
    answer = phone.post("/api/v1/plan/reckon", json={"stage": PLAN})
    assert answer.status_code == 503
    assert int(answer.headers["Retry-After"]) > 0
    assert "try again" in answer.get_json()["error"]
