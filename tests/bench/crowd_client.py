"""A crowd for the page: live pages and requests at a pace, from many addresses, in one process.

Run by ``tests.bench.pages`` as a process of its own; prints one line of JSON.  Sources are
addresses of the loopback network (127.0.0.0/8, RFC 5735), so that each is a phone of its own.
"""

from __future__ import annotations

import http.client
import json
import selectors
import socket
import sys
import threading
import time
from collections import Counter
from typing import Any

PATHS = (
    "/api/v1/now", "/api/v1/levels", "/api/v1/now", "/api/v1/rings?limit=20", "/api/v1/now",
    "/api/v1/gigs", "/static/main.js", "/", "/metrics", "/api/v1/now",
)  # fmt: skip
ASKERS = 10


class Pages:
    """Live pages: one socket each, read whenever something comes."""

    def __init__(self, port: int, count: int) -> None:
        self._selector = selectors.DefaultSelector()
        self.bytes = 0
        self.events = Counter[int]()
        self.last_s = dict.fromkeys(range(count), 0.0)
        self.longest_gap_s = 0.0
        self.ended_count = 0
        for number in range(count):
            page = connect(port, f"127.0.1.{1 + number}")
            page.sendall(b"GET /api/v1/stream HTTP/1.1\r\nHost: localhost\r\n\r\n")
            self._selector.register(page, selectors.EVENT_READ, number)

    def read_until(self, stop_s: float) -> None:
        """Read what comes."""
        while (left_s := stop_s - time.monotonic()) > 0:
            for key, _ in self._selector.select(left_s):
                page, number = key.fileobj, key.data
                assert isinstance(page, socket.socket)
                text = page.recv(65536)
                if not text:
                    self._selector.unregister(page)
                    self.ended_count += 1
                    continue
                now_s = time.monotonic()
                self.bytes += len(text)
                self.events[number] += text.count(b"event: ")
                if self.last_s[number]:
                    self.longest_gap_s = max(self.longest_gap_s, now_s - self.last_s[number])
                self.last_s[number] = now_s


def connect(port: int, source: str) -> socket.socket:
    made = socket.socket()
    made.bind((source, 0))
    made.settimeout(10.0)
    made.connect(("127.0.0.1", port))
    return made


class Askers:
    """Requests at a pace, each asker on its own connection and from its own address."""

    def __init__(self, port: int, per_s: float, seconds: float) -> None:
        self._port, self._pace_s, self._seconds = port, ASKERS / per_s, seconds
        self.took_s: list[float] = []
        self.statuses: Counter[int] = Counter()
        self.failed: Counter[str] = Counter()
        self._threads = [threading.Thread(target=self._ask, args=(i,)) for i in range(ASKERS)]

    def start(self) -> None:
        for thread in self._threads:
            thread.start()

    def join(self) -> None:
        for thread in self._threads:
            thread.join()

    def _ask(self, number: int) -> None:
        connection = http.client.HTTPConnection(
            "127.0.0.1", self._port, timeout=10.0, source_address=(f"127.0.2.{1 + number}", 0)
        )
        began_s = time.monotonic()
        count = 0
        while (due_s := began_s + count * self._pace_s) < began_s + self._seconds:
            time.sleep(max(0.0, due_s - time.monotonic()))
            sent_s = time.monotonic()
            try:
                connection.request("GET", PATHS[(count + number) % len(PATHS)],
                                   headers={"Accept-Encoding": "gzip"})  # fmt: skip
                answer = connection.getresponse()
                answer.read()
                self.statuses[answer.status] += 1
                self.took_s.append(time.monotonic() - sent_s)
            except (OSError, http.client.HTTPException) as error:
                self.failed[type(error).__name__] += 1
                connection.close()
            count += 1
        connection.close()


def one_more(port: int) -> dict[str, Any]:
    """What the page beyond the last place is told, and whether polling serves it."""
    told: dict[str, Any] = {}
    for name, path in (("stream", "/api/v1/stream"), ("poll", "/api/v1/now")):
        connection = http.client.HTTPConnection(
            "127.0.0.1", port, timeout=10.0, source_address=("127.0.3.1", 0)
        )
        sent_s = time.monotonic()
        connection.request("GET", path)
        answer = connection.getresponse()
        told[name] = answer.status
        told[f"{name}_retry_after"] = answer.headers.get("Retry-After")
        if name == "poll":
            answer.read()
        told[f"{name}_s"] = round(time.monotonic() - sent_s, 3)
        connection.close()
    return told


def main(port: int, pages: int, per_s: float, seconds: float) -> None:
    """Be the crowd."""
    crowd = Pages(port, pages)
    crowd.read_until(time.monotonic() + 2.0)
    more = one_more(port)
    askers = Askers(port, per_s, seconds)
    crowd.longest_gap_s, crowd.bytes = 0.0, 0
    crowd.events.clear()
    began_s = time.monotonic()
    askers.start()
    crowd.read_until(began_s + seconds)
    askers.join()
    took_s = sorted(askers.took_s)
    print(
        json.dumps(
            {
                "one_more": more,
                "answered": len(took_s),
                "statuses": askers.statuses,
                "failed": askers.failed,
                "median_ms": round(1000 * took_s[len(took_s) // 2], 1),
                "worst_of_100_ms": round(1000 * took_s[int(len(took_s) * 0.99)], 1),
                "longest_ms": round(1000 * took_s[-1], 1),
                "pages_fed": sum(count > 0 for count in crowd.events.values()),
                "pages_ended": crowd.ended_count,
                "events_per_page_s": round(sum(crowd.events.values()) / pages / seconds, 2),
                "bytes_per_page_s": round(crowd.bytes / pages / seconds),
                "longest_gap_s": round(crowd.longest_gap_s, 2),
            }
        )
    )


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3]), float(sys.argv[4]))
