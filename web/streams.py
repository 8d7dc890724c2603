"""Server-sent events: the newest snapshot as it comes, rings at once, and a bounded number.

What is new is encoded once, in one thread, for everybody who listens.  ``now`` carries the whole
snapshot: at the start, when a page fell behind, and every ``FULL_EVERY_S``.  Between them ``part``
carries those keys of the snapshot that changed since the event before.  A key in which only ages
moved (``_ago_s``, ``age_s``, ``_for_s`` inside it) is sent again once a second.
"""

from __future__ import annotations

import json
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Iterator
from typing import Any

from monitor.link.client import LinkClient, Received, Subscription
from monitor.link.messages import Message

LONGEST_S = 600.0
"""A stream ends after this long and the page asks for another: places go round."""
HEARTBEAT_S = 0.7
"""Well within the second in which a page expects a word."""
SNAPSHOT_EVERY_S = 0.08
"""The watcher tells about ten times a second; whatever comes faster is left out."""
FULL_EVERY_S = 10.0
AGES_EVERY_S = 1.0
KEPT_EVENTS = 40
"""About three seconds of events: whoever is further behind gets the whole snapshot instead."""
BACKLOG_BYTES = 8192
"""What may wait in this process for one page, about a second's worth; then it is left out until
that has gone, and so never shows as new what is old."""
STUCK_S = 10.0
"""A page that takes nothing for this long has gone, or its phone sleeps."""
PER_ADDRESS = 8
"""Streams of one address: some open tabs, and not all the places there are."""


class Places:
    """Counts open streams; ``take`` is refused when all places, or the address's, are taken."""

    def __init__(self, n_places: int, *, per_address: int = PER_ADDRESS) -> None:
        self.n_places = n_places
        self._per_address = per_address
        self._taken: Counter[str] = Counter()
        self._lock = threading.Lock()

    @property
    def taken_count(self) -> int:
        """How many streams are open."""
        with self._lock:
            return self._taken.total()

    def take(self, address: str) -> bool:
        """Take a place if there is one."""
        with self._lock:
            if self._taken.total() >= self.n_places or self._taken[address] >= self._per_address:
                return False
            self._taken[address] += 1
            return True

    def give_back(self, address: str) -> None:
        """Free a place."""
        with self._lock:
            self._taken[address] -= 1
            if self._taken[address] <= 0:
                del self._taken[address]


def encoded(value: object) -> str:
    """Compact JSON."""
    return json.dumps(value, separators=(",", ":"), ensure_ascii=False)


def now(client: LinkClient) -> dict[str, Any]:
    """What there is to show: the newest snapshot, its age, and what is wrong with the link."""
    with client.condition:
        latest, connected, problem = client.latest, client.connected, client.problem
    return told(latest, connected, problem)


def told(latest: Received | None, connected: bool, problem: str) -> dict[str, Any]:
    """The fields of ``now`` at this moment; ``sent_s`` counts on without jumps, from anywhere."""
    moment_s = time.monotonic()
    answer: dict[str, Any] = {
        "connected": connected,
        "problem": problem,
        "sent_s": round(moment_s, 3),
    }
    if latest is not None:
        answer["age_s"] = round(moment_s - latest.received_mono_s, 3)
        answer["snapshot"] = latest.snapshot
    return answer


def event(name: str, data: object) -> bytes:
    """One server-sent event."""
    return f"event: {name}\ndata: {encoded(data)}\n\n".encode()


def _is_age(key: str) -> bool:
    return key == "age_s" or key.endswith(("_age_s", "_ago_s", "_for_s"))


def without_ages(value: Any) -> Any:
    """The value without what only says how long ago something was."""
    if isinstance(value, dict):
        return {k: without_ages(v) for k, v in value.items() if not _is_age(k)}
    if isinstance(value, list):
        return [without_ages(v) for v in value]
    return value


class Changes:
    """Remembers what was told last, and finds what of a snapshot is to be told now."""

    def __init__(self) -> None:
        self._told: Message = {}
        self._told_at_s: dict[str, float] = {}

    @property
    def begun(self) -> bool:
        """Whether any snapshot was told."""
        return bool(self._told)

    def all_of(self, snapshot: Message, now_s: float) -> None:
        """Note that the whole snapshot is told."""
        self._told = dict(snapshot)
        self._told_at_s = dict.fromkeys(snapshot, now_s)

    def of(self, snapshot: Message, now_s: float) -> tuple[Message, list[str]]:
        """The keys that changed, with their values, and the names of those that are gone."""
        changed = {
            key: value for key, value in snapshot.items() if self._is_news(key, value, now_s)
        }
        gone = [key for key in self._told if key not in snapshot]
        for key in gone:
            del self._told[key], self._told_at_s[key]
        self._told.update(changed)
        self._told_at_s.update(dict.fromkeys(changed, now_s))
        return changed, gone

    def _is_news(self, key: str, value: Any, now_s: float) -> bool:
        if key not in self._told:
            return True
        before = self._told[key]
        if value == before:
            return False
        if not isinstance(value, dict | list) or now_s - self._told_at_s[key] >= AGES_EVERY_S:
            return True
        return bool(without_ages(value) != without_ages(before))


class Broadcast:
    """Encodes what is new once for all streams, in a thread that runs while anybody listens."""

    def __init__(self, client: LinkClient) -> None:
        self._client = client
        self._condition = threading.Condition()
        self._events: deque[bytes] = deque(maxlen=KEPT_EVENTS)
        self._number = 0
        """Of the newest event; those kept are the numbers just up to it."""
        self._shown: tuple[Received | None, bool, str] = (None, False, "")
        self._changes = Changes()
        self._full_at_s = self._looked_at_s = 0.0
        self._listener_count = 0
        self._thread: threading.Thread | None = None
        self.stuck_count = 0
        """Streams ended because their page took nothing."""

    def stream(self, waiting_bytes: Callable[[], int] = lambda: 0) -> Iterator[bytes]:
        """Events for one page until it goes, or is stuck, or ``LONGEST_S`` is over.

        Parameters
        ----------
        waiting_bytes : callable
            How much of what was yielded waits in this process for the page's phone.
        """
        self._join()
        try:
            yield b"retry: 500\n\n"
            began_s = taken_s = time.monotonic()
            number = -1
            while time.monotonic() - began_s < LONGEST_S and not self._client.closed:
                if waiting_bytes() > BACKLOG_BYTES:
                    if time.monotonic() - taken_s > STUCK_S:
                        with self._condition:
                            self.stuck_count += 1
                        return
                    self._wait(self._number)
                    continue
                taken_s = time.monotonic()
                number, text = self._after(number)
                if text:
                    yield text
                else:
                    self._wait(number)
        finally:
            self._leave()

    def _after(self, number: int) -> tuple[int, bytes]:
        """The events after a number, joined, or a whole snapshot if they are kept no more."""
        with self._condition:
            missing = self._number - number
            if 0 <= missing <= len(self._events) and number >= 0:
                news = list(self._events)[len(self._events) - missing :]
                return self._number, b"".join(news)
            shown, newest = self._shown, self._number
        return newest, event("now", told(*shown))

    def _wait(self, number: int) -> None:
        with self._condition:
            self._condition.wait_for(
                lambda: self._number != number or self._client.closed, HEARTBEAT_S
            )

    def _join(self) -> None:
        with self._condition:
            self._listener_count += 1
            if self._thread is None:
                self._look(whole=True)  # so that the first page need not wait for the thread
                self._thread = threading.Thread(target=self._run, name="broadcast", daemon=True)
                self._thread.start()

    def _leave(self) -> None:
        with self._condition:
            self._listener_count -= 1

    def _run(self) -> None:
        with self._client.subscribe() as rings:
            while True:
                with self._condition:
                    if self._listener_count <= 0 or self._client.closed:
                        self._thread = None
                        self._condition.notify_all()
                        return
                began_s = time.monotonic()
                self._await_news(rings)
                while (ring := rings.get(0.0)) is not None:
                    self._add(event("ring", ring))
                with self._condition:
                    moment_s = time.monotonic()
                    if self._is_new() or moment_s - self._looked_at_s >= HEARTBEAT_S:
                        self._look(whole=moment_s - self._full_at_s >= FULL_EVERY_S)
                # The rest of the pace is waited for rings alone: they come at once.
                self._pace(rings, began_s + SNAPSHOT_EVERY_S - time.monotonic())

    def _await_news(self, rings: Subscription) -> None:
        """Wait for a snapshot, a ring, a connection made or lost, or the heartbeat."""
        client = self._client
        with client.condition:
            client.condition.wait_for(
                lambda: client.closed or bool(rings.waiting_count) or self._is_new(),
                HEARTBEAT_S,
            )

    def _is_new(self) -> bool:
        client, shown = self._client, self._shown
        return client.latest is not shown[0] or (client.connected, client.problem) != shown[1:]

    def _pace(self, rings: Subscription, left_s: float) -> None:
        client = self._client
        with client.condition:
            client.condition.wait_for(lambda: client.closed or bool(rings.waiting_count), left_s)

    def _look(self, *, whole: bool) -> None:
        """Tell what there is now; called with the condition held."""
        with self._client.condition:
            client = self._client
            self._shown = (client.latest, client.connected, client.problem)
        answer = told(*self._shown)
        snapshot = answer.pop("snapshot", None)
        moment_s = self._looked_at_s = time.monotonic()
        if whole or snapshot is None or not self._changes.begun:
            self._full_at_s = moment_s
            if snapshot is not None:
                self._changes.all_of(snapshot, moment_s)
                answer["snapshot"] = snapshot
            self._add(event("now", answer))
            return
        answer["changed"], gone = self._changes.of(snapshot, moment_s)
        if gone:
            answer["gone"] = gone
        self._add(event("part", answer))

    def _add(self, text: bytes) -> None:
        with self._condition:
            self._events.append(text)
            self._number += 1
            self._condition.notify_all()
