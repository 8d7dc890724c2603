"""``howl-lantern pair``: a code for a phone, asked for at the box itself; and who is paired."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from monitor.errors import LanternError
from monitor.link.client import LinkClient
from monitor.link.messages import LinkError, Message
from monitor.report.words import length_words

CONNECT_S = 3.0


def run(socket_path: Path, *, list_phones: bool = False, unpair: str | None = None) -> int:
    """Ask the watcher and print what it says; return the exit code.

    Raises
    ------
    LanternError
        If no watcher answers or it refuses.
    """
    with LinkClient(socket_path) as client:
        with client.condition:
            client.condition.wait_for(lambda: client.connected, CONNECT_S)
            if not client.connected:
                raise LanternError(f"{client.problem}; start howl-lantern watch, or use sudo")
        if unpair is not None:
            answer = _asked(client, {"class": "unpair", "phone": unpair})
            print(f"unpaired{_problem(answer)}")
        elif list_phones:
            _print_phones(_asked(client, {"class": "phones"})["phones"])
        else:
            answer = _asked(client, {"class": "pair_here"})
            code, minutes = answer["code"], answer["lasts_s"] / 60.0
            print(f"{code[:3]} {code[3:]}")
            print(f"Type it on the page of the phone; it counts for {minutes:.0f} minutes.")
    return 0


def _asked(client: LinkClient, command: Mapping[str, Any]) -> Message:
    try:
        answer = client.request(command)
    except LinkError as error:
        raise LanternError(str(error)) from error
    if answer.get("class") == "error":
        raise LanternError(str(answer.get("message", "the watcher refused")))
    return answer


def _problem(answer: Mapping[str, Any]) -> str:
    return f", but {answer['problem']}" if "problem" in answer else ""


def _print_phones(phones: list[dict[str, Any]]) -> None:
    for phone in phones:
        ago_s = phone.get("paired_ago_s")
        ago = "" if ago_s is None else f"  paired {length_words(ago_s)} ago"
        print(f"{phone['phone']}  {phone['name']}{ago}")
    if not phones:
        print("no phone is paired")
