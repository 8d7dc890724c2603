"""The doors: who may look and who may change, asked once for every request that changes something.

Anybody in the network may look.  Whoever changes something shows a key, the cookie that pairing
left with the phone or ``Authorization: Bearer``; whether it is good, the watcher says.  What it
said is remembered until phones are paired or unpaired: then the snapshot's revision is another.
"""

from __future__ import annotations

import hashlib
import ipaddress
import re
import threading
import time
from collections import OrderedDict
from dataclasses import dataclass
from typing import Any

from flask import Request, current_app, jsonify

from monitor.link.client import LinkClient
from monitor.link.messages import LinkError, Message
from web.answers import JsonAnswer, line, newest_snapshot, not_yet, put_off, refused_with
from web.crowd import Pace
from web.guard import refusal

COOKIE = "lantern_key"
COOKIE_LASTS_S = 400 * 24 * 3600
"""The longest that browsers keep a cookie (draft-ietf-httpbis-rfc6265bis, 5.5: 400 days); every
look at who is paired begins it anew."""
_KEY = re.compile(r"[0-9a-f]{64}")

KNOCKS_COUNT = 8
KNOCKS_PER_S = 0.5
"""What one address may ask the watcher without being known to it: eight at once, then one in two
seconds.  A person types a code in five; a flood stops here and not at the watcher."""
CONTROL_IS_OFF = "control from the page is switched off in the box's settings ([access])"
MOST_KEYS = 64
"""Remembered keys: the watcher keeps 16."""


class Doors:
    """Knows which keys are good; one for each application.

    Parameters
    ----------
    client : LinkClient
        The connection to the watcher, who is asked about keys.
    """

    def __init__(self, client: LinkClient) -> None:
        self._client = client
        self._lock = threading.Lock()
        self._good: OrderedDict[str, str] = OrderedDict()
        self._good_for: _Revision | None = None
        self._knocks = Pace(KNOCKS_PER_S, KNOCKS_COUNT)

    def control(self) -> str:
        """Who may change something: "code", "open", "off", or "" while no watcher says.

        A watcher that says nothing of it is one from before: whatever it means, it is not "open".
        """
        snapshot = newest_snapshot(self._client)
        if not snapshot:
            return ""
        access = snapshot.get("access")
        control = access.get("control") if isinstance(access, dict) else None
        return control if control in ("open", "off") else "code"

    def forget(self) -> None:
        """Ask the watcher anew about every key."""
        with self._lock:
            self._good.clear()

    def tired(self, request: Request) -> JsonAnswer | None:
        """Count a question for the watcher by somebody unknown; refuse it where they are many."""
        if self._knocks.take(asker(request), time.monotonic()):
            return None
        return wait(1.0 / KNOCKS_PER_S)

    def phone_of(self, request: Request) -> tuple[str | None, JsonAnswer | None]:
        """The phone whose key a request shows, None without a good one; or why nobody can say."""
        key = shown_key(request)
        if key is None:
            return None, None
        digest = hashlib.sha256(bytes.fromhex(key)).hexdigest()
        revision = self._revision()
        with self._lock:
            if self._good_for is None or not revision.is_same(self._good_for):
                self._good.clear()
                self._good_for = revision
            revision = self._good_for
            phone = self._good.get(digest)
        if phone is not None:
            return phone, None
        if (tired := self.tired(request)) is not None:
            return None, tired
        try:
            answer = self._client.request({"class": "key_check", "key_digest": digest})
        except LinkError as error:
            return None, refused_with(error)
        phone = answer.get("phone")
        if answer.get("class") != "key" or not isinstance(phone, str):
            if answer.get("why") == "unpaired":
                return None, None
            return None, line(str(answer.get("message", "the watcher knows no keys")), 503)
        with self._lock:
            if self._good_for is revision:
                self._good[digest] = phone
                if len(self._good) > MOST_KEYS:
                    self._good.popitem(last=False)
        return phone, None

    def _revision(self) -> _Revision:
        with self._client.condition:
            greeting = self._client.hello
        access = newest_snapshot(self._client).get("access")
        return _Revision(greeting, access.get("revision") if isinstance(access, dict) else None)


@dataclass(frozen=True, slots=True)
class _Revision:
    """What is remembered counts for this: the watcher's greeting and its count of changes."""

    greeting: Message | None
    number: Any

    def is_same(self, other: _Revision) -> bool:
        """Whether nothing has changed; another greeting with the same words is another one."""
        return self.greeting is other.greeting and self.number == other.number


def shown_key(request: Request) -> str | None:
    """The key that a request shows, None where there is nothing that could be one."""
    authorization = request.authorization
    if authorization is not None and authorization.type == "bearer":
        key = authorization.token or ""
    else:
        key = request.cookies.get(COOKIE, "")
    return key if _KEY.fullmatch(key) else None


def asker(request: Request) -> str:
    """The address that asks, as the connection has it: no header can say another."""
    try:
        address = ipaddress.ip_address((request.remote_addr or "").partition("%")[0])
    except ValueError:
        return "unknown"
    if isinstance(address, ipaddress.IPv6Address) and address.ipv4_mapped is not None:
        address = address.ipv4_mapped
    return str(address)


def wait(wait_s: float, message: str = "") -> JsonAnswer:
    """Tell somebody to wait, in whole seconds, in words and in ``Retry-After``."""
    seconds = max(1, -(-int(wait_s * 1000) // 1000))
    said = message or f"too many tries from this phone; wait {seconds} s"
    return put_off(said, seconds, status=429)


def own_doors() -> Doors:
    """The doors of the application that answers now."""
    doors: Doors = current_app.extensions["doors"]
    return doors


def may_change(request: Request, *, longest_bytes: int) -> JsonAnswer | None:
    """Why a request that would change something is refused, ready to be sent; None if it is not.

    Every route that changes something asks this first.  401 has ``pair``: a key would help.  403:
    another site asks, or control is off.  429 has ``Retry-After``.  503: there is no watcher.

    Parameters
    ----------
    request : Request
        Its body is not looked at, only its length and its kind.
    longest_bytes : int
        The longest body that this route takes.
    """
    foreign = refusal(request, longest_bytes=longest_bytes)
    if foreign is not None:
        return line(*foreign)
    doors = own_doors()
    control = doors.control()
    if control == "open":
        return None
    if not control:
        return not_yet()
    if control == "off":
        return line(CONTROL_IS_OFF, 403)
    phone, problem = doors.phone_of(request)
    if problem is not None or phone is not None:
        return problem
    return (
        jsonify(error="pair this phone first, with the code on the box's panel", pair=True),
        401,
    )
