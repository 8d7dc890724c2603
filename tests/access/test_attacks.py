"""The page as somebody in the audience attacks it, on the same Wi-Fi.

Behind the application stands the watcher's own clerk, in this process: what is refused here is
refused by the code that runs on a box.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable
from typing import Any

import pytest
from flask import Flask
from werkzeug.test import TestResponse

from tests.access.house import CODE, MUSICIAN, STRANGER, House
from tests.web.states import STATES
from web.doors import COOKIE, KNOCKS_COUNT


def error(answer: TestResponse) -> str:
    said = answer.get_json()["error"]
    assert isinstance(said, str)
    assert said
    assert "\n" not in said
    return said


# --- the door ----------------------------------------------------------------------------------


def test_whoever_types_the_code_may_change_things(house: House) -> None:
    musician = house.at(MUSICIAN)
    refused = musician.post("/way", {"way": "set"})
    assert (refused.status_code, refused.get_json()["pair"]) == (401, True)
    asked = musician.post("/pair/ask")
    assert asked.get_json() == {"done": True, "showing": True, "where": "panel", "lasts_s": 90.0}
    assert musician.post("/pair", {"code": CODE, "name": "ada"}).status_code == 200
    house.link.see()
    assert musician.way() == 200
    assert house.link.changes == [{"class": "way", "way": "set"}]
    who = musician.get("/api/v1/pair").get_json()
    assert (who["control"], who["paired"]) == ("code", True)
    assert [phone["name"] for phone in who["phones"]] == ["ada"]
    # A program may show the same key in a header.
    program = house.at("192.168.4.9")
    assert program.way(headers={"Authorization": f"Bearer {musician.key()}"}) == 200


UNGATED = {"/api/v1/plan/reckon", "/api/v1/sound", "/api/v1/pair", "/api/v1/pair/ask"}
"""They change nothing that lasts (a plan is reckoned, a lease of the practice stage's sound goes
on), or are the door itself."""


def changing_paths(app: Flask) -> list[str]:
    looks = {"GET", "HEAD", "OPTIONS"}
    return sorted(
        re.sub(r"<[^>]*>", "x", rule.rule)
        for rule in app.url_map.iter_rules()
        if (rule.methods or set()) - looks and rule.rule not in UNGATED
    )


@pytest.mark.parametrize(("control", "status"), [("code", 401), ("off", 403)])
def test_every_route_that_changes_something_is_behind_the_door(
    build: Callable[..., House], control: str, status: int
) -> None:
    house = build(control)
    paths = changing_paths(house.app)
    assert {"/api/v1/way", "/api/v1/gig", "/api/v1/import", "/api/v1/unpair"} <= set(paths)
    for path in paths:
        stranger = house.at(STRANGER)
        answer = stranger.client.post(path, json={})
        assert (path, answer.status_code) == (path, status)
        assert error(answer)
    assert house.link.changes == []


def test_control_that_is_off_is_off_for_paired_phones_too(build: Callable[..., House]) -> None:
    key = build("code").paired().key()
    house = build("off")
    assert house.at(MUSICIAN).way(headers={"Authorization": f"Bearer {key}"}) == 403
    assert house.at(MUSICIAN).post("/pair/ask").status_code == 403
    assert house.link.changes == []


def test_open_control_still_keeps_other_sites_out(build: Callable[..., House]) -> None:
    house = build("open")
    anybody = house.at(STRANGER)
    assert anybody.way() == 200
    assert anybody.way(headers={"Origin": "http://evil.example"}) == 403
    assert anybody.post("/pair/ask").status_code == 409
    assert anybody.post("/unpair", {"phone": "all"}).status_code == 403


def test_a_watcher_that_says_nothing_of_control_lets_nobody_in(house: House) -> None:
    snapshot = {key: value for key, value in STATES["quiet"].items() if key != "access"}
    for access in ({}, {"access": None}, {"access": {"control": "OPEN"}}, {"access": []}):
        house.link.hold({**snapshot, **access})
        assert house.at(STRANGER).way() == 401
    house.link.hold(None)
    assert house.at(STRANGER).way() == 503
    assert house.link.changes == []


def test_anybody_may_look(house: House) -> None:
    for path in ("/", "/api/v1/now", "/api/v1/pair", "/healthz"):
        assert house.at(STRANGER).get(path).status_code == 200


# --- guessing ----------------------------------------------------------------------------------


def test_guessing_is_locked_out_and_told_how_long(house: House) -> None:
    stranger = house.at(STRANGER)
    stranger.post("/pair/ask")
    answers = [stranger.post("/pair", {"code": f"{n:06d}", "name": "x"}) for n in range(1000)]
    assert [answer.status_code for answer in answers[:3]] == [403, 403, 403]
    assert {answer.status_code for answer in answers[3:]} == {429}
    assert all(int(answer.headers["Retry-After"]) >= 1 for answer in answers[3:])
    assert "wait" in error(answers[3])
    asked = sum(each["class"] == "pair" for each in house.link.asked)
    assert asked < 30, "a flood stops at the page"
    # The same address as IPv6 writes it (RFC 4291, 2.5.5.2) has no tries of its own.
    again = house.at(f"::ffff:{STRANGER}").post("/pair", {"code": "111111", "name": "x"})
    assert again.status_code == 429


def test_a_crowd_s_guesses_are_few(house: House) -> None:
    wrong = 0
    for n in range(60):
        stranger = house.at(f"192.168.4.{100 + n}")
        stranger.post("/pair/ask")
        wrong += stranger.post("/pair", {"code": "111111", "name": "x"}).status_code == 403
    assert wrong == 10


def test_a_locked_out_crowd_locks_out_nobody_who_is_paired(house: House) -> None:
    musician = house.paired()
    for n in range(60):
        stranger = house.at(f"192.168.4.{100 + n}")
        stranger.post("/pair/ask")
        for _ in range(20):
            stranger.post("/pair", {"code": "111111", "name": "x"})
    assert house.at("192.168.4.8").post("/pair/ask").status_code == 429
    assert musician.way() == 200
    # Not even when the strangers come from the musician's own address.
    house.at(MUSICIAN).post("/pair", {"code": "111111", "name": "x"})
    for _ in range(50):
        house.at(MUSICIAN).way(headers={"Authorization": f"Bearer {'0' * 64}"})
    assert musician.way() == 200


def test_keys_cannot_be_guessed_in_numbers_either(house: House) -> None:
    stranger = house.at(STRANGER)
    statuses = [stranger.way(headers={"Authorization": f"Bearer {n:064x}"}) for n in range(100)]
    assert statuses[:KNOCKS_COUNT] == [401] * KNOCKS_COUNT
    assert set(statuses[KNOCKS_COUNT + 5 :]) == {429}
    assert house.link.checks < KNOCKS_COUNT + 10


def test_the_right_code_is_no_use_to_an_address_that_waits(house: House) -> None:
    stranger = house.at(STRANGER)
    for _ in range(4):
        stranger.pair("111111")
    assert stranger.post("/pair", {"code": CODE, "name": "x"}).status_code == 429
    assert house.at(MUSICIAN).post("/pair", {"code": CODE, "name": "ada"}).status_code == 200


@pytest.mark.parametrize(
    "code",
    [42817, "42817", "0428170", "042817 ", " 042817", "042817\n", "٠٤٢٨١٧", ["042817"],
     {"0": "042817"}, True, None, 0.42817, "", "0x2817", "042817\u0000"],
)  # fmt: skip
def test_a_code_is_six_digits_and_nothing_else(house: House, code: object) -> None:
    stranger = house.at(STRANGER)
    stranger.post("/pair/ask")
    answer = stranger.post("/pair", {"code": code, "name": "x"})
    assert answer.status_code == 400
    assert "six digits" in error(answer)
    assert str(code) not in error(answer) or not code, "a slip is nearly the code"
    assert "Set-Cookie" not in answer.headers


@pytest.mark.parametrize(
    "body",
    ["[]", '"042817"', "null", "042817", '{"code":"042817"', "[" * 500, "\x00"],
)
def test_a_body_is_an_object_and_nothing_else(house: House, body: str) -> None:
    house.at(STRANGER).post("/pair/ask")
    for path in ("/pair", "/pair/ask", "/unpair"):
        person = house.paired() if path == "/unpair" else house.at(STRANGER)
        answer = person.client.post(f"/api/v1{path}", data=body, content_type="application/json")
        assert answer.status_code == 400
        assert error(answer)


def test_of_two_codes_in_one_body_one_counts(house: House) -> None:
    stranger = house.at(STRANGER)
    stranger.post("/pair/ask")
    body = '{"code":"111111","code":"222222","name":"x"}'
    stranger.client.post(
        "/api/v1/pair",
        data=body,
        content_type="application/json",
        environ_overrides={"REMOTE_ADDR": STRANGER},
    )
    tried = [each["code"] for each in house.link.asked if each["class"] == "pair"]
    assert tried == ["222222"]


def test_an_asker_cannot_say_who_it_is(house: House) -> None:
    stranger = house.at(STRANGER)
    lies = {"X-Forwarded-For": MUSICIAN, "Forwarded": f"for={MUSICIAN}", "X-Real-IP": MUSICIAN}
    stranger.post("/pair/ask", {"from": MUSICIAN}, headers=lies)
    stranger.post("/pair", {"code": "111111", "name": "x", "from": MUSICIAN}, headers=lies)
    assert {each["from"] for each in house.link.asked} == {STRANGER}


@pytest.mark.parametrize("name", ["", "x" * 41, "a\r\nSet-Cookie: a=b", "a\tb", "\u202egp", 3, {}])
def test_a_name_is_short_and_can_be_printed(house: House, name: object) -> None:
    stranger = house.at(STRANGER)
    stranger.post("/pair/ask")
    answer = stranger.post("/pair", {"code": CODE, "name": name})
    assert answer.status_code == 400
    assert "name must be" in error(answer)
    assert "Set-Cookie" not in answer.headers


# --- reading the code ---------------------------------------------------------------------------


def test_the_code_is_in_no_answer(house: House) -> None:
    musician = house.at(MUSICIAN)
    said = musician.post("/pair/ask").get_data(as_text=True)
    house.link.see()
    for rule in house.app.url_map.iter_rules():
        if "GET" in (rule.methods or ()) and "<" not in rule.rule and "stream" not in rule.rule:
            with house.at(STRANGER).get(rule.rule) as answer:
                said += answer.get_data().decode("utf-8", "replace") + str(answer.headers)
    with house.at(STRANGER).get("/api/v1/stream") as stream:
        said += "".join(
            part if isinstance(part, str) else part.decode()
            for part in itertools.islice(stream.iter_encoded(), 2)
        )
    assert '"showing":true' in said.replace(" ", "")
    assert CODE not in said


def test_the_key_is_in_the_cookie_and_nowhere_else(house: House) -> None:
    musician = house.at(MUSICIAN)
    answer = musician.pair()
    assert musician.key()
    assert musician.key() not in answer.get_data(as_text=True)
    cookie = answer.headers["Set-Cookie"]
    assert {part.strip() for part in cookie.split(";")} >= {
        "HttpOnly",
        "SameSite=Strict",
        "Path=/",
        # The longest that browsers keep one (draft-ietf-httpbis-rfc6265bis, 5.5): without it the
        # phone is a stranger again once its browser is closed.
        f"Max-Age={400 * 24 * 3600}",
    }
    assert "Domain" not in cookie
    house.link.see()
    who = musician.get("/api/v1/pair")
    assert musician.key() not in who.get_data(as_text=True)
    # Every look begins the days anew.
    assert who.headers["Set-Cookie"].partition("Expires")[0] == cookie.partition("Expires")[0]
    assert house.at(STRANGER).get("/api/v1/pair").get_json() == {"control": "code", "paired": False}


# --- the panel ----------------------------------------------------------------------------------


def test_a_flood_of_asking_shows_one_code(house: House) -> None:
    for n in range(200):
        house.at(f"192.168.4.{n % 8}").post("/pair/ask")
    asked = [each for each in house.link.asked if each["class"] == "pair_ask"]
    assert len(asked) <= 8 * (KNOCKS_COUNT + 2)
    assert house.link.clerk.code() == CODE


def test_the_panel_is_not_taken_from_a_ring(house: House) -> None:
    house.link.clerk.hindrance = "something rings"
    answer = house.at(MUSICIAN).post("/pair/ask")
    assert (answer.status_code, error(answer)) == (409, "something rings")
    assert house.link.clerk.code() == ""


# --- other sites, other names, frames -----------------------------------------------------------


FOREIGN: list[dict[str, Any]] = [
    {"headers": {"Origin": "http://evil.example"}},
    {"headers": {"Origin": "null"}},
    {"headers": {"Origin": "http://localhost:9999"}},
    {"headers": {"Origin": "http://localhost.evil.example"}},
    {"headers": {"Sec-Fetch-Site": "cross-site"}},
    {"headers": {"Sec-Fetch-Site": "same-site"}},
    {"json": None, "data": '{"way":"set"}', "content_type": "text/plain"},
    {"json": None, "data": {"way": "set"}},
    {"json": None, "data": {"way": "set"}, "content_type": "multipart/form-data"},
]


@pytest.mark.parametrize("trick", FOREIGN)
@pytest.mark.parametrize("path", ["/way", "/unpair", "/pair", "/pair/ask"])
def test_another_site_cannot_use_a_paired_phone(
    house: House, trick: dict[str, Any], path: str
) -> None:
    musician = house.paired()
    before = len(house.link.asked)
    answer = musician.post(path, {"way": "set", "phone": "all", "code": CODE, "name": "x"}, **trick)
    assert answer.status_code in (403, 415)
    assert error(answer)
    assert len(house.link.asked) == before


def test_a_foreign_name_pointed_at_the_box_gets_nothing(house: House) -> None:
    musician = house.paired()
    headers = {"Host": "evil.example", "Origin": "http://evil.example"}
    key = {"Authorization": f"Bearer {musician.key()}"}
    before = len(house.link.asked)
    assert musician.way(headers={**headers, **key}) == 421
    assert musician.post("/pair/ask", headers=headers).status_code == 421
    assert musician.client.get("/api/v1/pair", headers={**headers, **key}).status_code == 421
    assert len(house.link.asked) == before


@pytest.mark.parametrize("path", ["/", "/api/v1/pair", "/api/v1/now", "/nothing"])
def test_no_page_can_frame_the_lantern(house: House, path: str) -> None:
    answer = house.at(STRANGER).get(path)
    policy = answer.headers["Content-Security-Policy"]
    assert "frame-ancestors 'none'" in policy
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert answer.headers["X-Frame-Options"] == "DENY"
    assert answer.headers["Cache-Control"] in ("no-store", "no-cache")
    assert "Access-Control-Allow-Origin" not in answer.headers


@pytest.mark.parametrize("method", ["GET", "HEAD", "PUT", "PATCH", "DELETE"])
def test_only_a_post_changes_anything(house: House, method: str) -> None:
    musician = house.paired()
    before = len(house.link.asked)
    for path in changing_paths(house.app):
        if path in ("/api/v1/plan",) and method in ("GET", "HEAD"):
            continue
        answer = musician.client.open(
            path, method=method, json={}, headers={"X-HTTP-Method-Override": "POST"}
        )
        assert (path, answer.status_code) == (path, 405)
    assert len(house.link.asked) == before


# --- keys -----------------------------------------------------------------------------------------


def test_a_cookie_from_before_is_not_made_good_by_pairing(house: House) -> None:
    planted = "ab" * 32
    victim = house.at(MUSICIAN)
    victim.client.set_cookie(COOKIE, planted)
    assert victim.pair().status_code == 200
    house.link.see()
    assert victim.key() != planted
    assert victim.way() == 200
    attacker = house.at(STRANGER)
    attacker.client.set_cookie(COOKIE, planted)
    assert attacker.way() == 401


def test_an_unpaired_phone_is_out_at_once(house: House) -> None:
    lost, musician = house.paired("192.168.4.20"), house.paired()
    assert lost.way() == 200
    phones = musician.get("/api/v1/pair").get_json()["phones"]
    own = musician.get("/api/v1/pair").get_json()["phone"]
    (other,) = [phone["phone"] for phone in phones if phone["phone"] != own]
    assert musician.post("/unpair", {"phone": other}).status_code == 200
    # Before the next snapshot has come, and after.
    assert lost.way() == 401
    house.link.see()
    assert lost.way() == 401
    assert musician.way() == 200
    assert musician.key(), "only who is unpaired loses the cookie"


def test_a_key_that_was_good_while_it_was_asked_about_does_not_stay_so(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Everybody is unpaired before the watcher's word on a key has come back to the page."""
    musician, others = house.paired(), [house.at(STRANGER)]
    request = house.link.request

    def late(command: Any, timeout_s: float = 2.0) -> dict[str, Any]:
        answer = request(command, timeout_s)
        if command["class"] == "key_check" and others:
            request({"class": "unpair", "phone": "all"})
            house.link.see()
            # By somebody else's key the page learns that what it knew is old.
            assert others.pop().way(headers={"Authorization": f"Bearer {'0' * 64}"}) == 401
        return answer

    monkeypatch.setattr(house.link, "request", late)
    musician.way()
    assert not others
    assert musician.way() == 401


def test_a_phone_unpaired_at_the_box_is_out_with_the_next_snapshot(house: House) -> None:
    musician = house.paired()
    assert musician.way() == 200
    house.link.request({"class": "unpair", "phone": "all"})
    house.link.see()
    assert musician.way() == 401


@pytest.mark.parametrize("by_name", [True, False])
def test_unpairing_oneself_takes_the_cookie_too(house: House, by_name: bool) -> None:
    musician = house.paired()
    own = musician.get("/api/v1/pair").get_json()["phone"]
    assert musician.post("/unpair", {"phone": own if by_name else "all"}).status_code == 200
    assert musician.key() == ""
    house.link.see()
    assert musician.way() == 401


def test_what_is_known_of_a_key_is_forgotten_with_another_watcher(house: House) -> None:
    musician = house.paired()
    house.link.hello = {"class": "hello"}
    assert musician.way() == 200
    checks = house.link.checks
    assert musician.way() == 200
    assert house.link.checks == checks, "a tap on a paired phone asks nobody"
    house.link.hello = {"class": "hello"}
    assert musician.way() == 200
    assert house.link.checks == checks + 1


def test_a_phone_stays_paired_over_a_restart_of_page_and_watcher(
    build: Callable[..., House],
) -> None:
    key = build().paired().key()
    again = build()
    assert again.at(MUSICIAN).way(headers={"Authorization": f"Bearer {key}"}) == 200


@pytest.mark.parametrize(
    "key", ["", "x", "0" * 63, "0" * 65, "G" * 64, "A" * 64, "0" * 64 + "\u00e9", "../" * 21 + "a"]
)
def test_what_cannot_be_a_key_asks_nobody(house: House, key: str) -> None:
    house.paired()
    checks = house.link.checks
    stranger = house.at(STRANGER)
    stranger.client.set_cookie(COOKIE, key)
    assert stranger.way() == 401
    assert house.link.checks == checks


def test_a_watcher_that_is_starting_is_no_reason_to_pair_anew(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    musician = house.paired()
    starting = {"class": "error", "message": "the watcher is still starting; ask again"}
    monkeypatch.setattr(house.link, "request", lambda *_: starting)
    house.link.hello = {"class": "hello"}
    answer = musician.post("/way", {"way": "set"})
    assert (answer.status_code, error(answer)) == (503, starting["message"])
