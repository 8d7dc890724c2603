"""Small answers that several routes give."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from flask import Response, jsonify, request

from monitor.link.client import LinkClient
from monitor.link.messages import LinkError, UnreachableError

API = "/api/v1"
"""Where everything but the page itself is asked; what changes meaning gets another number."""

ANSWER_S = 2.0
"""The watcher's thread answers at once."""
ON_DISK_S = 8.0
"""What is answered when it is on the disk, or has been reckoned from all of it: a slow card takes
seconds.  The page's own requests wait ten."""
DEEPEST_BODY = 16
"""A stage plan, the deepest of all, has four levels."""

JsonAnswer = tuple[Response, int]


def line(message: str, status: int) -> JsonAnswer:
    """One clear line for a person, and a status for the browser."""
    return jsonify(error=message), status


def put_off(message: str, after_s: int, *, status: int = 503) -> JsonAnswer:
    """The same for what may be asked again in so many seconds (``Retry-After``)."""
    answer = jsonify(error=message)
    answer.headers["Retry-After"] = str(after_s)
    return answer, status


def not_yet() -> JsonAnswer:
    """What to say before the watcher's first word.  The box is on, or nobody would answer."""
    return line("the box has not begun to listen yet; ask again in a moment", 503)


def json_body() -> Any:
    """The JSON that was sent; None for what is none, or is nested deeper than anything here.

    Whatever is deeper would overflow somebody's stack, here or at the watcher.
    """
    try:
        body = request.get_json(silent=True)
    except RecursionError:
        return None
    level = [body]
    for _ in range(DEEPEST_BODY):
        level = [inner for one in level for inner in _within(one)]
        if not level:
            return body
    return None


def _within(value: Any) -> Iterable[Any]:
    if isinstance(value, dict):
        return value.values()
    return value if isinstance(value, list) else ()


def newest_snapshot(client: LinkClient) -> dict[str, Any]:
    """The newest snapshot, empty before the first."""
    with client.condition:
        return {} if client.latest is None else client.latest.snapshot


def refused_with(error: LinkError) -> JsonAnswer:
    """What to say when the watcher was not asked, or could not be."""
    return line(str(error), 503 if isinstance(error, UnreachableError) else 400)


def asked(
    client: LinkClient, command: Mapping[str, Any], *, timeout_s: float = ANSWER_S
) -> JsonAnswer:
    """Ask the watcher for a command, and pass its word on.

    What was done may come with more, such as a plan's ``revision``; ``problem`` says what went
    wrong although it was done.
    """
    return told(client, command, timeout_s=timeout_s, done=True)


def told(
    client: LinkClient,
    command: Mapping[str, Any],
    *,
    timeout_s: float = ANSWER_S,
    **besides: object,
) -> JsonAnswer:
    """Ask the watcher, and pass on what it answers, without what belongs to the link."""
    try:
        answer = client.request(command, timeout_s)
    except LinkError as error:
        return refused_with(error)
    if answer.get("class") == "error":
        return line(str(answer.get("message", "refused")), 400)
    known = {key: value for key, value in answer.items() if key not in ("class", "request")}
    return jsonify(**besides, **known), 200


def whole_number(
    name: str, default: int, lowest: int, highest: int
) -> tuple[int, JsonAnswer | None]:
    """A whole number from the question after the address, or the answer that refuses it."""
    text = request.args.get(name)
    if text is None:
        return default, None
    digits = text.removeprefix("-") if lowest < 0 else text
    # Plain digits alone: int() would take "1_0", blanks, and digits of other scripts.
    plain = digits.isascii() and digits.isdigit() and len(digits) < 10
    if plain and lowest <= int(text) <= highest:
        return int(text), None
    said = f"{name} must be a whole number from {lowest} to {highest}, not {text[:20]!r}"
    return default, line(said, 400)
