"""Pairing's routes: asking for a code, giving it, seeing who is paired, and unpairing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Flask, Response, jsonify, request

from monitor.link.client import LinkClient
from monitor.link.messages import LinkError
from web.answers import API, ON_DISK_S, JsonAnswer, json_body, line, not_yet, refused_with
from web.doors import (
    CONTROL_IS_OFF,
    COOKIE,
    COOKIE_LASTS_S,
    Doors,
    asker,
    shown_key,
    wait,
)
from web.gate import changing
from web.guard import MAX_BODY_BYTES, refusal


def add_doors(app: Flask, client: LinkClient) -> None:
    """Put the doors into an application, and add the routes of pairing."""
    doors = Doors(client)
    app.extensions["doors"] = doors

    @app.get(f"{API}/pair")
    def who() -> JsonAnswer:
        phone, problem = doors.phone_of(request)
        if problem is not None:
            return problem
        control = doors.control()
        fields: dict[str, Any] = {"control": control} if control else {}
        if phone is None:
            return jsonify(**fields, paired=False), 200
        try:
            phones = client.request({"class": "phones"}).get("phones", [])
        except LinkError as error:
            return refused_with(error)
        answer = jsonify(**fields, paired=True, phone=phone, phones=phones)
        _leave_key(answer, shown_key(request) or "")
        return answer, 200

    @app.post(f"{API}/pair/ask")
    def ask() -> JsonAnswer:
        refused = _may_ask(doors)
        if refused is not None:
            return refused
        if not isinstance(json_body(), dict):
            return line("a JSON object is expected, {}", 400)
        return _passed_on(client, {"class": "pair_ask", "from": asker(request)})

    @app.post(f"{API}/pair")
    def pair() -> JsonAnswer:
        refused = _may_ask(doors)
        if refused is not None:
            return refused
        body: Any = json_body()
        if not isinstance(body, dict):
            return line('a JSON object with "code" and "name" is expected', 400)
        return _passed_on(
            client,
            {
                "class": "pair",
                "code": body.get("code"),
                "name": body.get("name", "phone"),
                "from": asker(request),
            },
        )

    @changing(app, "/unpair", longest_bytes=MAX_BODY_BYTES)
    def unpair(body: dict[str, Any]) -> JsonAnswer:
        phone, problem = doors.phone_of(request)
        if phone is None:  # also with open control: only who is paired may turn others away
            return problem or line("only a paired phone can unpair one", 403)
        answer = _passed_on(client, {"class": "unpair", "phone": body.get("phone")})
        doors.forget()
        if answer[1] == 200 and body.get("phone") in (phone, "all"):
            answer[0].delete_cookie(COOKIE, path="/", httponly=True, samesite="Strict")
        return answer


def _may_ask(doors: Doors) -> JsonAnswer | None:
    """Why somebody who is not paired may not even ask, None if they may."""
    foreign = refusal(request)
    if foreign is not None:
        return line(*foreign)
    control = doors.control()
    if not control:
        return not_yet()
    if control == "off":
        return line(CONTROL_IS_OFF, 403)
    if control == "open":
        return line("no code is needed here: everybody may change things", 409)
    return doors.tired(request)


STATUS = {"wrong": 403, "closed": 409, "busy": 409, "unpaired": 404}
"""By what the watcher calls its refusal; another is a request that nobody could follow, 400."""


WORDS = {
    "box": "A code was printed at the lantern. Type its six digits here.",
    "settings": "Type the six digits that were set for this lantern.",
}
"""Where to find a code that is not on the panel."""


def _passed_on(client: LinkClient, command: Mapping[str, Any]) -> JsonAnswer:
    """Ask the watcher; a key in its answer goes into the cookie and nowhere else."""
    try:
        answer = client.request(command, ON_DISK_S)
    except LinkError as error:
        return refused_with(error)
    if answer.get("class") == "error":
        message = str(answer.get("message", "refused"))
        if "wait_s" in answer:
            return wait(float(answer["wait_s"]), message)
        return line(message, STATUS.get(str(answer.get("why")), 400))
    known = ("phone", "showing", "lasts_s", "where", "problem")
    fields = {key: answer[key] for key in known if key in answer}
    if answer.get("where") in WORDS:
        fields["words"] = WORDS[answer["where"]]
    response = jsonify(done=True, **fields)
    if answer.get("class") == "paired":
        _leave_key(response, str(answer["key"]))
    return response, 200


def _leave_key(response: Response, key: str) -> None:
    """Leave the key with the phone, where no script and no other site can reach it.

    Not ``Secure``: the box speaks plain HTTP, and browsers would not keep it.
    """
    response.set_cookie(
        COOKIE, key, max_age=COOKIE_LASTS_S, path="/", httponly=True, samesite="Strict"
    )
