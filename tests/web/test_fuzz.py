"""The interface against its own description, a few hundred cases; ``tests.bench.fuzz`` has more.

The cases and the judging are schemathesis's.
"""

from __future__ import annotations

from typing import Any

import schemathesis
from flask import Flask, jsonify

from monitor.link.messages import LinkError
from tests.bench.fuzz import fuzz
from tests.web.kept import TONIGHT, KeptClient
from web.app import create_app

CASES = 300


class SturdyClient(KeptClient):
    """Says what it cannot do, as the watcher does, where the simple one would stumble."""

    def request(self, command: Any, timeout_s: float = 2.0) -> dict[str, Any]:
        try:
            return super().request(command, timeout_s)
        except LinkError:
            raise
        except (KeyError, ValueError) as error:
            return {"class": "error", "message": f"that cannot be: {error!r}"}

    def _history(self, _command: dict[str, Any]) -> dict[str, Any]:
        return {"class": "history", "rings": []}


def sturdy_app() -> tuple[SturdyClient, Flask]:
    client = SturdyClient("demo")
    client.hold(client.snapshot())
    return client, create_app(client)


def test_no_case_finds_a_fault() -> None:
    client, app = sturdy_app()
    try:
        schema = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", app)
        tally = fuzz(schema, CASES, uid=TONIGHT)
    finally:
        client.close()
    assert tally.wrong == []
    assert tally.case_count >= 0.7 * CASES  # some operations have but one case
    statuses = {status for _, status in tally.statuses}
    assert {200, 400, 404, 413} <= statuses


def test_a_fault_is_found() -> None:
    client, app = sturdy_app()

    def broken() -> tuple[Any, int]:
        return jsonify(error="oh"), 500

    def odd() -> Any:
        return jsonify(venues="none")

    app.view_functions["gigs"] = broken
    app.view_functions["venues"] = odd
    try:
        schema = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", app)
        wrong = fuzz(schema, 40, uid=TONIGHT).wrong
    finally:
        client.close()
    assert any(line.startswith("GET /api/v1/gigs: 500") for line in wrong)
    assert any(line.startswith("GET /api/v1/venues: ") for line in wrong)
