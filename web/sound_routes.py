"""Where the practice stage is listened to: the only sound that this program ever lets out."""

from __future__ import annotations

import re
from typing import Any

from flask import Flask, Response, jsonify, request

from monitor.link.client import LinkClient
from monitor.link.messages import sound_path
from web.answers import API, json_body, line, newest_snapshot
from web.guard import is_foreign, refusal
from web.sound import Listeners, SoundError, knock, sound

LISTENER = re.compile(r"[0-9A-Za-z]{8,32}")


def add_sound_routes(app: Flask, client: LinkClient) -> None:
    """Add ``/api/v1/sound``; it is refused wherever there is no practice stage."""
    listeners = Listeners()

    @app.get(f"{API}/sound")
    def sound_() -> Response | tuple[Response, int]:
        """The practice stage's own sound; there is no other that could be heard."""
        name = request.args.get("listener", "")
        if is_foreign(request):
            return line("only this box's own page may listen", 403)
        if not LISTENER.fullmatch(name):
            return line("listener must be 8 to 32 letters or digits", 400)
        snapshot = newest_snapshot(client)
        if "stage" not in snapshot:
            return line("only the practice stage can be heard; a box plays no sound", 403)
        rate_hz = int(snapshot["microphone"].get("sample_rate_hz", 48000))
        try:
            door = knock(sound_path(client.socket_path))
            try:
                lease = listeners.enter(name, 2 * rate_hz)
            except SoundError:
                door.close()
                raise
        except SoundError as error:
            return line(str(error), 503)
        response = Response(sound(door, lease), mimetype="application/octet-stream")

        def gone() -> None:  # also when the phone went before the first sample
            door.close()
            listeners.leave(name, lease)

        response.call_on_close(gone)
        response.headers["X-Sample-Rate"] = str(rate_hz)
        response.headers["X-Accel-Buffering"] = "no"
        return response

    @app.post(f"{API}/sound")
    def still_listening() -> tuple[Response, int]:
        # Open to all: it keeps a sound going that its listener began, and changes nothing.
        refused = refusal(request)
        if refused is not None:
            return line(*refused)
        body: Any = json_body()
        name = body.get("listener") if isinstance(body, dict) else None
        arrived = body.get("arrived_bytes") if isinstance(body, dict) else None
        if not isinstance(name, str) or isinstance(arrived, bool) or not isinstance(arrived, int):
            return line("listener and arrived_bytes (a whole number) are expected", 400)
        if not listeners.report(name, arrived):
            return line("that listener is not known; begin again", 404)
        return jsonify(done=True), 200
