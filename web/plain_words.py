"""What a browser shows by itself is read by a person: a refusal as a page with a way back."""

from __future__ import annotations

from flask import Response, render_template, request


def in_plain_words(response: Response) -> Response:
    """Make a refusal in JSON a page, where a browser opens the address; scripts keep the JSON.

    Browsers would rather have ``text/html`` than anything else; scripts take what comes.
    """
    if response.status_code < 400 or response.mimetype != "application/json":
        return response
    response.vary.add("Accept")
    wanted = request.accept_mimetypes
    if wanted.quality("text/html") <= wanted.quality("application/json"):
        return response
    said = response.get_json().get("error")
    if said is not None:
        response.set_data(render_template("refused.html", said=said, status=response.status_code))
        response.mimetype = "text/html"
    return response
