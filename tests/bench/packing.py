"""What packing an answer costs and saves: ``python -m tests.bench.packing``.

The answer is what ``/api/v1/now`` gives of the tests' fullest snapshot.  Times are the quickest of
many: what the work takes where nothing else wants the processor.
"""

from __future__ import annotations

import gzip
import os
import time

from tests.web.evening import METERS
from tests.web.kept import CHAPEL, KeptClient
from web.app import create_app
from web.packing import LEVEL

TRIES = 200


def quickest_us(work: object, *words: object) -> float:
    """The quickest of many calls, in microseconds."""
    assert callable(work)
    found = []
    for _ in range(TRIES):
        began_s = time.perf_counter()
        work(*words)
        found.append(time.perf_counter() - began_s)
    return 1e6 * min(found)


def main() -> None:
    """Print size and time for each level."""
    client = KeptClient("demo")
    client.script, client.measuring, client.venue = METERS["too-loud"], "line", CHAPEL
    client.hold(client.snapshot())
    phone = create_app(client).test_client()
    plain = phone.get("/api/v1/now").data
    asked = {"Accept-Encoding": "gzip"}
    print(f"an answer of {len(plain)} bytes (load average {os.getloadavg()[0]:.1f})")
    for level in (1, 6, 9):
        size = len(gzip.compress(plain, level, mtime=0))
        took_us = quickest_us(lambda _level=level: gzip.compress(plain, _level, mtime=0))
        print(f"level {level}: {size} bytes, {took_us:.0f} us{' (taken)' * (level == LEVEL)}")
    print(f"whole request, plain: {quickest_us(phone.get, '/api/v1/now'):.0f} us")
    packed_us = quickest_us(lambda: phone.get("/api/v1/now", headers=asked))
    print(f"whole request, packed: {packed_us:.0f} us")
    client.close()


if __name__ == "__main__":
    main()
