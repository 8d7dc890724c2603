"""How much one address may take of a small box: connections, and requests a second.  Pure."""

from __future__ import annotations

import threading
from collections import Counter, OrderedDict

MOST_CONNECTIONS = 240
"""In all: 60 live pages, and as many that load at the time; a browser opens at most six."""
PER_ADDRESS = 24
"""Four tabs of a browser that opens six each."""
REQUESTS_PER_S = 50.0
BURST_COUNT = 150
"""A page that is opened asks for some 40 files at once; bringing in a gig takes its pieces as
fast as they are answered.  Beyond that it is no person's hand."""
MOST_ADDRESSES = 512


class Pace:
    """How many requests each address has left; the address heard of longest ago is forgotten."""

    def __init__(self, per_s: float = REQUESTS_PER_S, burst_count: int = BURST_COUNT) -> None:
        self._per_s = per_s
        self._burst_count = burst_count
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()
        self._lock = threading.Lock()

    def take(self, address: str, now_s: float) -> bool:
        """Take one request, at a time that only grows; false if none is left."""
        with self._lock:
            left, at_s = self._left.pop(address, (float(self._burst_count), now_s))
            left = min(self._burst_count, left + (now_s - at_s) * self._per_s)
            is_let_in = left >= 1.0
            self._left[address] = (left - is_let_in, now_s)
            if len(self._left) > MOST_ADDRESSES:
                self._left.popitem(last=False)
            return is_let_in


class Lines:
    """Who holds how many connections; used by the server's own thread alone."""

    def __init__(self, most: int = MOST_CONNECTIONS, per_address: int = PER_ADDRESS) -> None:
        self.most = most
        self._per_address = per_address
        self._held: Counter[str] = Counter()

    @property
    def count(self) -> int:
        """How many are open."""
        return self._held.total()

    def open(self, address: str) -> bool:
        """Count a new connection; false if the address has enough, and then it is not counted."""
        if self._held[address] >= self._per_address:
            return False
        self._held[address] += 1
        return True

    def close(self, address: str) -> None:
        """Count a connection that has gone."""
        self._held[address] -= 1
        if self._held[address] <= 0:
            del self._held[address]
