"""Asking the running watcher for something, from a command of the terminal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from monitor.errors import LanternError
from monitor.link.client import LinkClient
from monitor.link.messages import LinkError

CONNECT_S = 3.0


def is_nobody_there(client: LinkClient) -> bool:
    """Return whether the client has found that no watcher runs at its socket."""
    return client.problem.startswith("no watcher is running")


def problem_of(client: LinkClient) -> str:
    """Wait until the client is connected; return "", or what is in the way."""
    with client.condition:
        client.condition.wait_for(lambda: client.connected or is_nobody_there(client), CONNECT_S)
        return "" if client.connected else client.problem


def asked(client: LinkClient, command: Mapping[str, Any], *, timeout_s: float) -> Mapping[str, Any]:
    """Return the watcher's answer to a command.

    Raises
    ------
    LanternError
        If it does not answer within ``timeout_s`` seconds, or refuses.
    """
    try:
        answer = client.request(command, timeout_s=timeout_s)
    except LinkError as error:
        raise LanternError(str(error)) from error
    if answer.get("class") == "error":
        raise LanternError(str(answer.get("message", "the watcher refused")))
    return answer
