"""The one gate for every route that changes something: who may, and what is sent."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from flask import Flask, request
from flask.typing import ResponseReturnValue

from web.answers import API, json_body, line
from web.doors import may_change

View = Callable[[dict[str, Any]], ResponseReturnValue]


def changing(app: Flask, path: str, *, longest_bytes: int) -> Callable[[View], View]:
    """Make a function the answer to POST at a path of the interface, behind the gate.

    The function is called with the JSON object that was sent, and only when the doors let it in.

    Parameters
    ----------
    app
        Where the route is added; its doors know who may.
    path : str
        What follows ``/api/v1``.
    longest_bytes : int
        The longest body that is taken.
    """

    def add(view: View) -> View:
        def gated() -> ResponseReturnValue:
            refused = may_change(request, longest_bytes=longest_bytes)
            if refused is not None:
                return refused
            body: Any = json_body()
            if not isinstance(body, dict):
                return line("a JSON object is expected", 400)
            return view(body)

        app.add_url_rule(API + path, f"change{path}", gated, methods=["POST"])
        return view

    return add
