"""The commands: what a phone may have the watcher do, behind the gate."""

from __future__ import annotations

from typing import Any

from flask import Flask

from monitor.link.client import LinkClient
from web.answers import ANSWER_S, ON_DISK_S, JsonAnswer, asked, line, newest_snapshot, not_yet
from web.gate import changing
from web.guard import MAX_BODY_BYTES, MAX_WORDS_BYTES

COMMANDS = {
    "/way": "way",
    "/stage": "stage",
    "/ring-out": "ring_out",
    "/pull": "pull",
    "/soundcheck": "soundcheck",
    "/gig": "gig",
    "/clock": "clock",
}
"""By path, the class of the command on the link, which checks what is in it."""


def add_command_routes(app: Flask, client: LinkClient) -> None:
    """Add a route for each command; none of them reaches the sound."""
    for path, name in COMMANDS.items():
        _add(app, client, path, name)


LONGER_BYTES = {"gig": MAX_WORDS_BYTES}
KEEP_NOTHING = ("way", "stage")
"""What they do is in no file: they are answered at once."""


def _add(app: Flask, client: LinkClient, path: str, name: str) -> None:
    @changing(app, path, longest_bytes=LONGER_BYTES.get(name, MAX_BODY_BYTES))
    def command(body: dict[str, Any]) -> JsonAnswer:
        snapshot = newest_snapshot(client)
        if not snapshot:
            return not_yet()
        if name == "stage" and "stage" not in snapshot:
            return line("only a practice stage has a fader to move; run howl-lantern demo", 403)
        timeout_s = ANSWER_S if name in KEEP_NOTHING else ON_DISK_S
        return asked(client, {**body, "class": name}, timeout_s=timeout_s)
