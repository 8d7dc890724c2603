"""For machines that watch the box: ``/healthz`` and ``/metrics``."""

from __future__ import annotations

from flask import Flask, Response, jsonify

from monitor.link.client import LinkClient
from web.answers import JsonAnswer
from web.counts import Counts
from web.metrics import CONTENT_TYPE, page_families, text_of, watcher_families
from web.streams import Broadcast, Places, now


def add_metrics(
    app: Flask, client: LinkClient, counts: Counts, places: Places, broadcast: Broadcast
) -> None:
    """Add both."""

    @app.get("/healthz")
    def health() -> JsonAnswer:
        with client.condition:
            connected, problem = client.connected, client.problem
        if connected:
            return jsonify(watcher="ok"), 200
        return jsonify(watcher=problem), 503

    @app.get("/metrics")
    def metrics() -> Response:
        families = [
            *watcher_families(now(client)),
            *page_families(
                answers=counts.answers(),
                streams_open=places.taken_count,
                streams_most=places.n_places,
                streams_stuck=broadcast.stuck_count,
            ),
        ]
        return Response(text_of(families), content_type=CONTENT_TYPE)
