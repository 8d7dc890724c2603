"""What is asked again and again while the band plays: now, the stream, levels and last rings."""

from __future__ import annotations

from typing import Any

from flask import Flask, Response, jsonify, request

from monitor.link.client import LinkClient
from monitor.link.commands import MAX_HISTORY
from monitor.link.messages import LinkError
from web.answers import API, JsonAnswer, line, not_yet, put_off, refused_with, whole_number
from web.streams import Broadcast, Places, now

LEVEL_KEYS = ("bands", "third_octave_dbfs", "level_dbfs", "peak_dbfs", "clipping", "audio_age_s")
WAITING = "lantern.waiting_bytes"
"""In the environment of a request, from ``web/server.py``: what waits for the phone."""


def add_live_routes(app: Flask, client: LinkClient, places: Places, broadcast: Broadcast) -> None:
    """Add ``now``, ``stream``, ``levels`` and ``rings``; all of them only look."""

    @app.get(f"{API}/now")
    def now_() -> Response:
        return jsonify(now(client))

    @app.get(f"{API}/stream")
    def stream() -> Response | JsonAnswer:
        address = request.remote_addr or ""
        if not places.take(address):
            return put_off(f"too many pages are open; ask {API}/now instead", 10)
        waiting = request.environ.get(WAITING, lambda: 0)
        response = Response(broadcast.stream(waiting), mimetype="text/event-stream")
        # Also when the phone went before the first word.
        response.call_on_close(lambda: places.give_back(address))
        response.headers["X-Accel-Buffering"] = "no"
        return response

    @app.get(f"{API}/levels")
    def levels() -> JsonAnswer:
        answer = now(client)
        snapshot: dict[str, Any] = answer.pop("snapshot", {})
        if not snapshot:
            return not_yet()
        found = {key: snapshot[key] for key in LEVEL_KEYS if key in snapshot}
        return jsonify(**answer, **found), 200

    @app.get(f"{API}/rings")
    def rings() -> JsonAnswer:
        limit, problem = whole_number("limit", 50, 1, MAX_HISTORY)
        if problem is not None:
            return problem
        try:
            answer = client.request({"class": "history", "limit": limit})
        except LinkError as error:
            return refused_with(error)
        if answer.get("class") != "history":
            return line(str(answer.get("message", "the rings cannot be had now")), 503)
        return jsonify({key: answer[key] for key in ("rings", "problem") if key in answer}), 200
