"""What every request must pass and every answer carries."""

from __future__ import annotations

import ipaddress
import socket
from urllib.parse import urlsplit

from flask import Request, Response

MAX_BODY_BYTES = 1024
MAX_WORDS_BYTES = 4 * 1024
"""A note of the watcher's longest, 500 characters of up to four bytes, with room to spare."""
MOST_BODY_BYTES = 96 * 1024
"""No route takes more: a piece of a record from another box, 24 000 characters of up to four
bytes each; the watcher counts them again."""

HEADERS = {
    # Nothing inline and nothing from elsewhere: the page needs no more, an attacker would.
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
        "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


def is_own_host(host: str) -> bool:
    """Whether a ``Host`` header can mean this box: an IP address, or a name of a local network.

    A page elsewhere can point its own name at this box's address (DNS rebinding) and would then
    count as the box's own page; its name is still in the header.
    """
    try:
        name = (urlsplit(f"//{host}").hostname or "").rstrip(".")
    except ValueError:  # brackets that do not close, or nothing like an address in them
        return False
    try:
        ipaddress.ip_address(name)
    except ValueError:
        own = {"localhost", socket.gethostname().lower()}
        return name in own or name.endswith((".local", ".lan", ".home.arpa"))
    return True


def add_headers(response: Response) -> Response:
    """Put the protecting headers on an answer; one that has a stricter policy keeps it."""
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)
    response.headers.setdefault("Cache-Control", "no-store")
    return response


def is_foreign(request: Request) -> bool:
    """Whether the browser says that another site asks."""
    return request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none")


def refusal(request: Request, *, longest_bytes: int = MAX_BODY_BYTES) -> tuple[str, int] | None:
    """Why a request that changes something is refused, with its status; None if it is not.

    A page of another site may send requests to this box through the phone's browser; browsers
    say where a request comes from in ``Origin`` and ``Sec-Fetch-Site``, and cannot send JSON
    across sites without asking first.
    """
    # Without a length the server reads nothing, so that there is nothing to be too long.
    if (request.content_length or 0) > longest_bytes:
        return f"send at most {longest_bytes} bytes", 413
    if request.mimetype != "application/json":
        return "send JSON (Content-Type: application/json)", 415
    if _is_of_another_origin(request) or is_foreign(request):
        return "only this box's own page may change anything", 403
    return None


def _is_of_another_origin(request: Request) -> bool:
    origin = request.headers.get("Origin")
    try:
        return origin is not None and urlsplit(origin).netloc != request.host
    except ValueError:  # brackets that do not close, or nothing like an address in them
        return True
