"""Small answers that several routes give."""

from __future__ import annotations

from typing import Any

from flask import Response, jsonify

from monitor.link_client import LinkClient


def line(message: str, status: int) -> tuple[Response, int]:
    """One clear line for a person, and a status for the browser."""
    return jsonify(error=message), status


def newest_snapshot(client: LinkClient) -> dict[str, Any]:
    """The newest snapshot, empty before the first."""
    with client.condition:
        return {} if client.latest is None else client.latest.snapshot
