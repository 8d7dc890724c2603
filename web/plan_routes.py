"""The stage plan's routes: reckoning it here, and keeping it with the watcher.

Reckoning needs no device and no memory of its own, so this process does it; what is saved is
the watcher's.  A phone asks many times a second while a finger drags, so few reckon at a time.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from typing import Any

from flask import Flask, jsonify, render_template, request

from monitor.link.client import LinkClient
from monitor.link.commands import MAX_PLAN_BYTES
from monitor.link.messages import LinkError
from monitor.placing.checklist import CHECKLIST
from monitor.placing.drawing import draw_svg
from monitor.placing.reckon import reckon
from monitor.placing.stage import Stage, StageError
from monitor.placing.stage_file import EXAMPLE, parse_stage, read_stage, stage_fields
from web.answers import API, ON_DISK_S, JsonAnswer, asked, json_body, line, put_off, refused_with
from web.gate import changing
from web.guard import refusal

AT_ONCE = 2
"""The interpreter reckons one at a time however many threads there are: one that waits keeps it
busy, more would only hold up the page's other answers."""
TAKES_TURNS_S = 0.25
"""How long a request waits for its turn; whoever drags has asked anew by then."""


class Busy(Exception):
    """Enough plans are being reckoned."""


class Reckoners:
    """Lets a few threads reckon at once and turns the rest away."""

    def __init__(self, places: int = AT_ONCE, *, wait_s: float = TAKES_TURNS_S) -> None:
        self._places = threading.BoundedSemaphore(places)
        self._wait_s = wait_s

    def reckoned(self, stage: Stage) -> dict[str, Any]:
        """The plan's ``reckoning`` and its drawing, ``svg``.

        Raises
        ------
        Busy
            If no place came free in time.
        """
        if not self._places.acquire(timeout=self._wait_s):
            raise Busy
        try:
            reckoning = reckon(stage)
            return {"reckoning": reckoning.fields(), "svg": draw_svg(stage, reckoning)}
        finally:
            self._places.release()


def kept_plan(client: LinkClient) -> tuple[Stage, dict[str, Any]]:
    """The watcher's plan and what to say of it: ``revision``, and ``problem`` if it is no use.

    Raises
    ------
    LinkError
        If the watcher cannot be asked.
    """
    answer = client.request({"class": "plan_get"}, ON_DISK_S)  # it waits for what is being kept
    said = {"revision": answer.get("revision", 0)}
    document = answer.get("stage")
    if answer.get("class") == "error":  # a watcher from before there were plans
        return read_stage(EXAMPLE), {"revision": 0, "problem": str(answer.get("message", ""))}
    if not isinstance(document, Mapping):
        return read_stage(EXAMPLE), said
    try:
        return parse_stage(document), said
    except StageError as error:
        return read_stage(EXAMPLE), {**said, "problem": f"the saved plan cannot be read: {error}"}


def add_plan_routes(app: Flask, client: LinkClient) -> None:
    """Add ``/api/v1/plan``, ``/api/v1/plan/reckon`` and ``/paper``."""
    reckoners = Reckoners()

    @app.errorhandler(Busy)
    def busy(_: Busy) -> JsonAnswer:
        return put_off("other plans are being reckoned; try again in a moment", 1)

    @app.errorhandler(StageError)
    def unusable(error: StageError) -> JsonAnswer:
        return line(str(error), 400)

    @app.get(f"{API}/plan")
    def plan() -> JsonAnswer:
        try:
            stage, said = kept_plan(client)
        except LinkError as error:
            return refused_with(error)
        return jsonify(stage=stage_fields(stage), **said, **reckoners.reckoned(stage)), 200

    @app.post(f"{API}/plan/reckon")
    def plan_reckon() -> JsonAnswer:
        # Open to all: nothing is changed by it, and few reckon at a time.
        refused = refusal(request, longest_bytes=MAX_PLAN_BYTES)
        if refused is not None:
            return line(*refused)
        stage = _stage_in(json_body())
        if not isinstance(stage, Stage):
            return stage
        return jsonify(reckoners.reckoned(stage)), 200

    @changing(app, "/plan", longest_bytes=MAX_PLAN_BYTES)
    def plan_save(body: dict[str, Any]) -> JsonAnswer:
        stage = _stage_in(body)
        if not isinstance(stage, Stage):
            return stage
        plan = {"class": "plan", "stage": stage_fields(stage)}
        return asked(client, plan, timeout_s=ON_DISK_S)

    @app.get("/paper")
    def paper() -> str | JsonAnswer:
        try:
            stage, _ = kept_plan(client)
        except LinkError as error:
            return refused_with(error)
        return render_template(
            "paper.html", stage=stage, checklist=CHECKLIST, **reckoners.reckoned(stage)
        )


def _stage_in(body: Any) -> Stage | JsonAnswer:
    """The stage in a request's body, or the answer that refuses it.

    Raises
    ------
    StageError
        If the body has a stage that is none.
    """
    if not isinstance(body, dict) or not isinstance(body.get("stage"), dict):
        return line('a JSON object with a "stage" is expected', 400)
    return parse_stage(body["stage"])
