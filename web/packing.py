"""Answers packed for the way through the air (gzip), where the phone takes it."""

from __future__ import annotations

import gzip

from flask import Response, request

LEAST_BYTES = 1024
"""Below, the packet on the air is one in any case."""
LEVEL = 1
"""A full answer of 9.6 kB becomes 3.9 kB; level 6 takes twice the time for a twelfth less, and the
processor is shared with the listening (``python -m tests.bench.packing``)."""
KINDS = ("application/json", "text/html", "text/csv", "text/plain", "image/svg+xml")


def takes_gzip() -> bool:
    """Whether the one who asks takes gzip (RFC 9110, 12.5.3)."""
    return request.accept_encodings["gzip"] > 0


def packed(response: Response) -> Response:
    """Pack an answer that is worth it; a stream never, since it must not wait."""
    if response.is_streamed or response.mimetype not in KINDS or response.direct_passthrough:
        return response
    if "Content-Encoding" in response.headers or response.status_code == 206:
        return response
    response.vary.add("Accept-Encoding")
    body = response.get_data()
    if len(body) < LEAST_BYTES or request.method == "HEAD" or not takes_gzip():
        return response
    response.set_data(gzip.compress(body, LEVEL, mtime=0))
    response.headers["Content-Encoding"] = "gzip"
    return response
