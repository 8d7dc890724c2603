"""Server-sent events: the newest snapshot as it comes, rings at once, and a bounded number."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from typing import Any

from monitor.link_client import LinkClient

LONGEST_S = 90.0
"""A phone that left the Wi-Fi says no goodbye; its place is free again after this long."""
HEARTBEAT_S = 1.0
SNAPSHOT_EVERY_S = 0.09


class Places:
    """Counts open streams; ``take`` is refused when all places are taken."""

    def __init__(self, n_places: int) -> None:
        self._free = n_places
        self._lock = threading.Lock()

    def take(self) -> bool:
        """Take a place if there is one."""
        with self._lock:
            if self._free <= 0:
                return False
            self._free -= 1
            return True

    def give_back(self) -> None:
        """Free a place."""
        with self._lock:
            self._free += 1


def now(client: LinkClient) -> dict[str, Any]:
    """What there is to show: the newest snapshot, its age, and what is wrong with the link."""
    with client.condition:
        latest, connected, problem = client.latest, client.connected, client.problem
    answer: dict[str, Any] = {"connected": connected, "problem": problem}
    if latest is not None:
        answer["age_s"] = round(time.monotonic() - latest.received_mono_s, 3)
        answer["snapshot"] = latest.snapshot
    return answer


def event(name: str, data: object) -> str:
    """One server-sent event."""
    return f"event: {name}\ndata: {json.dumps(data, separators=(',', ':'))}\n\n"


def stream(client: LinkClient) -> Iterator[str]:
    """Events for one page until it goes or ``LONGEST_S`` is over.

    ``now`` carries what ``/api/v1/now`` answers, about ten times a second and at least once a
    second; ``ring`` carries a ring event as the watcher sent it.
    """
    subscription = client.subscribe()
    try:
        yield "retry: 500\n\n"
        yield event("now", now(client))
        shown_mono_s = sent_mono_s = time.monotonic()
        started_mono_s = sent_mono_s
        while time.monotonic() - started_mono_s < LONGEST_S and not client.closed:
            ring = subscription.get(SNAPSHOT_EVERY_S)
            if ring is not None:
                yield event("ring", ring)
            with client.condition:
                latest = client.latest
            moment_s = time.monotonic()
            is_new = latest is not None and latest.received_mono_s > shown_mono_s
            if (is_new and moment_s - sent_mono_s >= SNAPSHOT_EVERY_S) or (
                moment_s - sent_mono_s >= HEARTBEAT_S
            ):
                shown_mono_s = latest.received_mono_s if latest is not None else shown_mono_s
                sent_mono_s = moment_s
                yield event("now", now(client))
    finally:
        subscription.close()
