"""What may be sent to the watcher: every command and every value in it is checked here.

Commands are untrusted.  What comes out has only known keys, and values that can be used as they
are; standard library only.
"""

from __future__ import annotations

import json
import re

from monitor.link.checks import number, one_of, text, uid, whole
from monitor.link.gig_commands import GIG_COMMANDS, MAX_IMPORT_BYTES
from monitor.link.messages import LinkError, Message

MAX_COMMAND_BYTES = 4 * 1024
"""A line that carries any command but a plan."""
MAX_PLAN_BYTES = 32 * 1024
"""A stage plan: 64 microphones and as many loudspeakers fit, at about 200 bytes each, and the
answer with it still fits in a line of the link."""
MAX_PLAN_LINE_BYTES = MAX_PLAN_BYTES + 512
"""A plan, its class and a request of 64 characters."""
LONGEST_COMMAND_BYTES = max(MAX_PLAN_LINE_BYTES, MAX_IMPORT_BYTES)
"""The longest line of all."""
MAX_HISTORY = 150
"""Rings in one history answer: about 300 bytes each, so that the answer fits in a line."""


def _way(message: Message) -> Message:
    if message.get("way") not in ("soundcheck", "set"):
        raise LinkError(f"way must be 'soundcheck' or 'set', not {message.get('way')!r:.60}")
    return {"way": message["way"]}


def _address(message: Message) -> Message:
    url = text(message, "url", 200)
    if not (url.startswith(("http://", "https://")) and url.isascii()):
        raise LinkError("url must begin with http:// or https:// and be plain ASCII")
    return {"url": url}


def _history(message: Message) -> Message:
    if "limit" not in message:
        return {"limit": 50}
    return {"limit": whole(message, "limit", 1, MAX_HISTORY)}


def _filter_place(message: Message) -> Message:
    """Where a filter that can be put anywhere was put, and how wide; empty if not said."""
    place: Message = {}
    if "centre_hz" in message:
        place["centre_hz"] = float(number(message, "centre_hz", 10, 40000))
    if "q" in message:
        place["q"] = float(number(message, "q", 0.1, 100))
    return place


def _stage(message: Message) -> Message:
    wanted = message.keys() & {"fader_db", "gain_db", "slider", "room", "placement"}
    if len(wanted) != 1:
        raise LinkError(
            "a stage command needs fader_db, or gain_db, or slider and cut_db, or room, or "
            "placement, "
            f"not {' and '.join(sorted(wanted)) or 'nothing of these'}"
        )
    if "fader_db" in message:
        return {"fader_db": float(number(message, "fader_db", -120, 60))}
    if "gain_db" in message:
        return {"gain_db": float(number(message, "gain_db", -60, 60))}
    if "slider" in message:
        return {
            "slider": whole(message, "slider", 0, 63),
            "cut_db": float(number(message, "cut_db", -60, 60)),
            **_filter_place(message),
        }
    (key,) = wanted
    return {key: text(message, key, 80)}


def _pull(message: Message) -> Message:
    """The person says how a slider of their own equaliser stands."""
    return {
        "slider": whole(message, "slider", 0, 63),
        "cut_db": float(number(message, "cut_db", -60, 0)),
        **_filter_place(message),
    }


RING_OUT_DO = (
    "open", "begin", "pulled", "turned_down", "skip", "undo", "pause", "go_on", "stop",
    "fader", "close",
)  # fmt: skip
"""What a person can do in a ring-out; "open" begins a new one, with its cautions, and
"close" puts away one that has ended."""


def _ring_out(message: Message) -> Message:
    do = message.get("do")
    if do not in RING_OUT_DO:
        raise LinkError(f"do must be one of {', '.join(RING_OUT_DO)}, not {do!r:.60}")
    # Of the one that is on; with a ring-out given, only if it is that one.
    meant = {"ring_out": uid(message, "ring_out")} if "ring_out" in message else {}
    if do == "fader":
        return {"do": do, "fader_db": float(number(message, "fader_db", -120, 60)), **meant}
    return {"do": do, **meant}


SOUNDCHECK_STEPS = ("place", "level", "low_cut", "ring_out")
"""What is done before it rings, in this order."""
SOUNDCHECK_SOURCES = ("line", "box")
"""What can be measured: the desk's line, or the box's own microphone."""
SOUNDCHECK_DO = (
    "begin", "measure", "measure_stop", "take_level", "take_low_cut", "skip", "again", "tick",
    "untick", "plan_done", "clear",
)  # fmt: skip
"""What a person can do in a soundcheck; "skip" leaves a step out, "again" takes it up once more,
"clear" forgets all but the plan."""

_ITEM = re.compile(r"[a-z0-9][a-z0-9_-]{0,39}")


def _soundcheck(message: Message) -> Message:
    do = one_of(message, "do", SOUNDCHECK_DO)
    if do in ("skip", "again"):
        return {"do": do, "step": one_of(message, "step", SOUNDCHECK_STEPS)}
    if do == "measure":
        source = one_of(message, "source", SOUNDCHECK_SOURCES) if "source" in message else "line"
        return {"do": do, "source": source}
    if do in ("tick", "untick"):
        item = message.get("item")
        if not isinstance(item, str) or not _ITEM.fullmatch(item):
            raise LinkError(
                "item must be 1 to 40 small letters, digits, - or _, the name of an item of the "
                f"checklist, not {item!r:.60}"
            )
        return {"do": do, "item": item}
    return {"do": do}


def _compact(stage: Message) -> bytes:
    return json.dumps(stage, allow_nan=False, ensure_ascii=False, separators=(",", ":")).encode()


def _plan(message: Message) -> Message:
    """A stage plan to keep; whether it can stand is checked where it is kept."""
    stage = message.get("stage")
    if not isinstance(stage, dict):
        raise LinkError(f"stage must be an object, the stage plan, not {stage!r:.60}")
    try:
        long = len(_compact(stage))
    except (TypeError, ValueError, RecursionError) as error:
        raise LinkError(f"the stage plan cannot be written as JSON: {error}") from error
    if long > MAX_PLAN_BYTES:
        raise LinkError(
            f"the stage plan has {long} bytes, at most {MAX_PLAN_BYTES} are kept; leave out things"
        )
    return {"stage": stage}


_CODE = re.compile(r"[0-9]{6}")
_DIGEST = re.compile(r"[0-9a-f]{64}")
_PHONE = re.compile(r"[0-9a-f]{8}")


def _pair_ask(message: Message) -> Message:
    """Somebody at ``from``, an address, wants the panel to show a code."""
    return {"from": text(message, "from", 64)}


def _pair(message: Message) -> Message:
    code = message.get("code")
    if not isinstance(code, str) or not _CODE.fullmatch(code):
        # The value is not repeated: a code with a slip in it is nearly the code.
        raise LinkError("code must be the six digits of the panel, in quotes")
    return {"code": code, "name": text(message, "name", 40), **_pair_ask(message)}


def _key_check(message: Message) -> Message:
    digest = message.get("key_digest")
    if not isinstance(digest, str) or not _DIGEST.fullmatch(digest):
        raise LinkError("key_digest must be a SHA-256 digest, 64 small hexadecimal digits")
    return {"key_digest": digest}


def _unpair(message: Message) -> Message:
    phone = message.get("phone")
    if not isinstance(phone, str) or not (phone == "all" or _PHONE.fullmatch(phone)):
        raise LinkError(f"phone must be 'all' or a phone's eight digits, not {phone!r:.60}")
    return {"phone": phone}


def _nothing(_message: Message) -> Message:
    return {}


_COMMANDS = {
    "way": _way,
    "address": _address,
    "history": _history,
    "stage": _stage,
    "pull": _pull,
    "ring_out": _ring_out,
    "soundcheck": _soundcheck,
    "plan": _plan,
    "plan_get": _nothing,
    **GIG_COMMANDS,
    "pair_ask": _pair_ask,
    "pair": _pair,
    "pair_here": _nothing,
    "key_check": _key_check,
    "phones": _nothing,
    "unpair": _unpair,
}
_LONGER_BYTES = {"plan": MAX_PLAN_LINE_BYTES, "import": MAX_IMPORT_BYTES}
CHANGE_NOTHING = (
    "history", "plan_get", "gigs", "venues", "record", "recollection", "key_check", "phones",
)  # fmt: skip
"""Commands that only look: asked again they do no harm."""
OWNERS_ONLY = ("pair_here",)
"""What is answered to the watcher's own user and to root alone, whoever may open the socket."""


def check_command(message: Message) -> Message:
    """Return a command with only its known keys, every value checked.

    The result has ``class``, the command's own keys, and ``request`` if one was given.

    Raises
    ------
    LinkError
        If the command is unknown or a value is not acceptable; one clear line.
    """
    name = message.get("class")
    check = _COMMANDS.get(name) if isinstance(name, str) else None
    if check is None:
        raise LinkError(f"unknown command {name!r:.60}; known: {', '.join(sorted(_COMMANDS))}")
    command = {"class": name, **check(message)}
    if "request" in message:
        command["request"] = text(message, "request", 64)
    return command


def check_length(message: Message, line: bytes) -> None:
    """Raise LinkError if a command's line is longer than a command of its class may be."""
    name = message.get("class")
    longest = _LONGER_BYTES.get(str(name), MAX_COMMAND_BYTES)
    if len(line) > longest:
        raise LinkError(
            f"a command {name!r:.60} of {len(line)} bytes; at most {longest} are taken: send less"
        )
