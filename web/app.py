"""The page's server: looks at the watcher through its socket, and nothing else."""

from __future__ import annotations

from flask import Flask, Response, request
from flask.json.provider import DefaultJSONProvider
from werkzeug.exceptions import HTTPException

from monitor.link.client import LinkClient
from web.answers import line
from web.command_routes import add_command_routes
from web.counts import Counts
from web.door_routes import add_doors
from web.gig_routes import add_gig_routes
from web.guard import MOST_BODY_BYTES, add_headers, is_own_host
from web.live_routes import add_live_routes
from web.metrics_routes import add_metrics
from web.openapi.document import add_openapi
from web.packing import packed
from web.plain_words import in_plain_words
from web.plan_routes import add_plan_routes
from web.sound_routes import add_sound_routes
from web.static_files import add_static_files
from web.streams import Broadcast, Places

MAX_STREAMS = 60


def create_app(client: LinkClient, *, max_streams: int = MAX_STREAMS) -> Flask:
    """Make the application.

    Parameters
    ----------
    client : LinkClient
        The connection to the watcher; may be unconnected, the page then says so.
    max_streams : int >= 0
        How many event streams may be open at once; further pages are told to poll.
    """
    app = Flask(__name__, static_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = MOST_BODY_BYTES
    if isinstance(app.json, DefaultJSONProvider):
        app.json.sort_keys = False  # what is first in an answer is meant to be
        app.json.compact = True
    counts = Counts()
    places = Places(max_streams)
    broadcast = Broadcast(client)

    @app.before_request
    def meant_for_us() -> tuple[Response, int] | None:
        if is_own_host(request.host):
            return None
        return line("ask for this box by its IP address or its .local name", 421)

    @app.errorhandler(HTTPException)
    def failed(error: HTTPException) -> tuple[Response, int]:
        return line(error.name.lower(), error.code or 500)

    # The last that is added runs first: words, headers, packing, counting what was sent.
    app.after_request(counts.note)
    app.after_request(packed)
    app.after_request(add_headers)
    app.after_request(in_plain_words)
    add_static_files(app)
    add_live_routes(app, client, places, broadcast)
    add_command_routes(app, client)
    add_doors(app, client)
    add_sound_routes(app, client)
    add_plan_routes(app, client)
    add_gig_routes(app, client)
    add_metrics(app, client, counts, places, broadcast)
    add_openapi(app)
    return app
