"""``howl-lantern pair``: a code for a phone, asked for at the box itself; and who is paired."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from monitor.commands.asking import asked, is_nobody_there, problem_of
from monitor.errors import LanternError
from monitor.link.client import LinkClient
from monitor.report.words import length_words

ANSWER_S = 2.0


def run(socket_path: Path, *, list_phones: bool = False, unpair: str | None = None) -> int:
    """Ask the watcher and print what it says; return the exit code.

    Parameters
    ----------
    socket_path : Path
        Where the watcher is.
    list_phones : bool
        List the paired phones instead of asking for a code.
    unpair : str, optional
        Instead unpair this phone, or "all".

    Raises
    ------
    LanternError
        If no watcher answers or it refuses.
    """
    with LinkClient(socket_path) as client:
        if problem := problem_of(client):
            to_do = "or use sudo"
            if is_nobody_there(client):
                to_do = "on a box: sudo systemctl start howl-lantern; else: howl-lantern watch"
            raise LanternError(f"{problem}; {to_do}")
        if unpair is not None:
            answer = asked(client, {"class": "unpair", "phone": unpair}, timeout_s=ANSWER_S)
            print(f"unpaired{_problem(answer)}")
        elif list_phones:
            _print_phones(asked(client, {"class": "phones"}, timeout_s=ANSWER_S)["phones"])
        else:
            answer = asked(client, {"class": "pair_here"}, timeout_s=ANSWER_S)
            code, minutes = answer["code"], answer["lasts_s"] / 60.0
            print(f"{code[:3]} {code[3:]}")
            print(f"Type it on the page of the phone; it counts for {minutes:.0f} minutes.")
    return 0


def _problem(answer: Mapping[str, Any]) -> str:
    return f", but {answer['problem']}" if "problem" in answer else ""


def _print_phones(phones: list[dict[str, Any]]) -> None:
    for phone in phones:
        ago_s = phone.get("paired_ago_s")
        ago = "" if ago_s is None else f"  paired {length_words(ago_s)} ago"
        print(f"{phone['phone']}  {phone['name']}{ago}")
    if not phones:
        print("no phone is paired")
