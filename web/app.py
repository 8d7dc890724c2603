"""The page's server: looks at the watcher through its socket, and nothing else."""

from __future__ import annotations

import re
from typing import Any

from flask import Flask, Response, jsonify, render_template, request
from werkzeug.exceptions import HTTPException

from monitor.link_client import LinkClient
from monitor.placing.checklist import CHECKLIST
from web.answers import API, JsonAnswer, asked, line, newest_snapshot
from web.guard import MAX_PLAN_BYTES, add_headers, is_own_host, refusal
from web.plan_routes import add_plan_routes
from web.sound_routes import add_sound_routes
from web.streams import Places, now, stream


def create_app(client: LinkClient, *, max_streams: int = 16) -> Flask:
    """Make the application.

    Parameters
    ----------
    client : LinkClient
        The connection to the watcher; may be unconnected, the page then says so.
    max_streams : int >= 0
        How many event streams may be open at once; further pages are told to poll.
    """
    app = Flask(__name__)
    app.config["MAX_CONTENT_LENGTH"] = MAX_PLAN_BYTES
    places = Places(max_streams)
    app.after_request(add_headers)
    add_sound_routes(app, client)
    add_plan_routes(app, client)

    @app.before_request
    def meant_for_us() -> tuple[Response, int] | None:
        if is_own_host(request.host):
            return None
        return line("ask for this box by its IP address or its .local name", 421)

    @app.errorhandler(HTTPException)
    def failed(error: HTTPException) -> tuple[Response, int]:
        return line(error.name.lower(), error.code or 500)

    @app.get("/")
    def page() -> str:
        html = render_template("page.html", checklist=CHECKLIST)
        return re.sub(r"\n\s+", "\n", html)  # the indentation is for us, not for the phone

    @app.get(f"{API}/now")
    def now_() -> Response:
        return jsonify(now(client))

    @app.get(f"{API}/stream")
    def stream_() -> Response | tuple[Response, int, dict[str, str]]:
        if not places.take():
            answer = jsonify(error="too many pages are open; ask /api/v1/now instead")
            return answer, 503, {"Retry-After": "10"}
        response = Response(stream(client), mimetype="text/event-stream")
        response.call_on_close(places.give_back)  # also when the phone went before the first word
        response.headers["X-Accel-Buffering"] = "no"
        return response

    @app.get("/healthz")
    def health() -> tuple[Response, int]:
        with client.condition:
            connected, problem = client.connected, client.problem
        if connected:
            return jsonify(watcher="ok"), 200
        return jsonify(watcher=problem), 503

    @app.post(f"{API}/stage")
    def stage() -> JsonAnswer:
        return _command("stage", practice_only=True)

    @app.post(f"{API}/way")
    def way() -> JsonAnswer:
        return _command("way")

    @app.post(f"{API}/ring-out")
    def ring_out() -> JsonAnswer:
        return _command("ring_out")

    @app.post(f"{API}/pull")
    def pull() -> JsonAnswer:
        return _command("pull")

    @app.post(f"{API}/soundcheck")
    def soundcheck() -> JsonAnswer:
        return _command("soundcheck")

    def _command(name: str, *, practice_only: bool = False) -> JsonAnswer:
        """Pass a command on.

        Everything but the practice stage is asked for on a real box too: nothing of it reaches
        the sound.
        """
        refused = refusal(request)
        if refused is not None:
            return line(*refused)
        body: Any = request.get_json(silent=True)
        if not isinstance(body, dict):
            return line("a JSON object is expected", 400)
        snapshot = newest_snapshot(client)
        if not snapshot:
            return line("the box does not answer; is it switched on?", 503)
        if practice_only and "stage" not in snapshot:
            return line("only a practice stage has a fader to move; run howl-lantern demo", 403)
        return asked(client, {**body, "class": name})

    return app
