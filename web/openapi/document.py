"""The OpenAPI document of the interface, written by hand; the tests hold it against the code."""

from __future__ import annotations

import functools
from typing import Any

from flask import Flask, Response, jsonify

from web.answers import API
from web.openapi import advice, commands, gigs, live, plans
from web.openapi.paths import paths
from web.openapi.values import ANYTHING

ABOUT = """What a Howl Lantern tells and takes, on its own network.

Anybody may look. Whoever changes something shows a key, which pairing leaves with the phone: as
the cookie `lantern_key`, or as `Authorization: Bearer KEY`.

What is not known is left out, never null. Units are in the names. Times are ages or durations in
seconds, or ISO dates in UTC. A reader ignores keys that it does not know: new ones come with any
release. What changes the meaning of a key, or takes one away that is always there, gets another
number than 1 in the address."""


@functools.cache
def document() -> dict[str, Any]:
    """The whole document."""
    return {
        "openapi": "3.1.0",
        "info": {"title": "Howl Lantern", "version": "1", "description": ABOUT},
        "servers": [{"url": "/"}],
        "paths": paths(),
        "components": {
            "schemas": {
                **live.SCHEMAS,
                **advice.SCHEMAS,
                **gigs.SCHEMAS,
                **plans.SCHEMAS,
                **commands.SCHEMAS,
                "Document": ANYTHING,
            },
            "securitySchemes": {
                "cookie": {"type": "apiKey", "in": "cookie", "name": "lantern_key"},
                "bearer": {"type": "http", "scheme": "bearer"},
            },
        },
    }


def add_openapi(app: Flask) -> None:
    """Add the document's own route."""

    @app.get(f"{API}/openapi.json")
    def openapi() -> Response:
        return jsonify(document())
