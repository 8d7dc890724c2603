"""The interface, asked what its own description allows and what it does not.

Run with ``python -m tests.bench.fuzz [CASES]``, 7 000 by default; takes some minutes.  A demo with
a real watcher is started and asked over HTTP.  The cases come from schemathesis, right ones and
wrong ones for every operation of the OpenAPI document, and bodies of any bytes besides.  Every
answer is held against the document: its status, its kind, its shape.  No 5xx is allowed but a 503
that says when to ask again, or that the watcher is not there.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
import time
import urllib.request
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import schemathesis
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from schemathesis.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from tests.bench.demo_process import demo

CASES = 7000
"""Asked for; of what has few forms there are fewer, so that some 5 500 come of it."""
LEAST = 5000
JUNK_SHARE = 0.1
SEED = 1
ENDLESS = {("GET", "/api/v1/stream"), ("GET", "/api/v1/sound")}
"""Answers without an end; tests/web holds these."""
PLAIN = {"Accept-Encoding": "identity"}
"""In the same process nobody would unpack the answers."""
CHECKS = [status_code_conformance, content_type_conformance, response_schema_conformance]


@dataclass
class Tally:
    """What came of it: how many cases, which statuses, and what was wrong."""

    uid: str
    statuses: Counter[tuple[str, int]] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)

    @property
    def case_count(self) -> int:
        """How many cases were answered."""
        return self.statuses.total()

    def note(self, label: str, status: int, answer: Any) -> None:
        """Count an answer, and keep it if it is a failure of the server."""
        self.statuses[label, status] += 1
        if status >= 500 and status != 503:
            self.wrong.append(f"{label}: {status} {str(answer)[:200]}")


def operations(schema: Any) -> Iterator[Any]:
    """Every operation that ends."""
    for result in schema.get_all_operations():
        operation = result.ok()
        if (operation.method.upper(), operation.path) not in ENDLESS:
            yield operation


def fuzz(schema: Any, cases: int, *, uid: str) -> Tally:
    """Ask every operation its share of the cases, every time the same ones.

    Every second gig that is asked for is the one that there is, ``uid``.
    """
    tally = Tally(uid)
    found = list(operations(schema))
    each = max(2, round(cases * (1.0 - JUNK_SHARE) / len(found)))
    for operation in found:
        _run(lambda case: _asked(case, tally), operation.as_strategy(), each)
    posts = [one for one in found if one.method.upper() == "POST"]
    junk = max(2, round(cases * JUNK_SHARE / len(posts)))
    for operation in posts:
        _throw(operation, tally, junk)
    return tally


def _run(ask: Callable[[Any], None], strategy: Any, cases: int) -> None:
    rules = settings(
        max_examples=cases,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    seed(SEED)(rules(given(strategy)(ask)))()


def _throw(operation: Any, tally: Tally, cases: int) -> None:
    _run(lambda body: _thrown(operation, body, tally), st.binary(max_size=2000), cases)


def _asked(case: Any, tally: Tally) -> None:
    if "uid" in (case.path_parameters or {}) and tally.case_count % 2:
        case.path_parameters["uid"] = tally.uid
    response = case.call(headers=PLAIN)
    label = f"{case.method} {case.path}"
    tally.note(label, response.status_code, response.content)
    try:
        case.validate_response(response, checks=CHECKS)
    except AssertionError as error:
        tally.wrong.append(f"{label}: {error}"[:1500])
    except BaseExceptionGroup as group:
        tally.wrong.extend(f"{label}: {error}"[:1500] for error in group.exceptions)


def _thrown(operation: Any, body: bytes, tally: Tally) -> None:
    case = operation.Case(body=None)
    response = case.call(data=body, headers={**PLAIN, "Content-Type": "application/json"})
    tally.note(f"junk to {operation.path}", response.status_code, response.content)


def begin_gig(url: str) -> str:
    """Begin a gig in which something rings; its uid."""
    for path, body in (("gig", {"do": "begin"}), ("stage", {"fader_db": 3.0})):
        request = urllib.request.Request(
            f"{url}api/v1/{path}", json.dumps(body).encode(), {"Content-Type": "application/json"}
        )
        urllib.request.urlopen(request, timeout=10).close()
    time.sleep(5.0)
    with urllib.request.urlopen(f"{url}api/v1/gigs", timeout=10) as answer:
        return str(json.load(answer)["gigs"][0]["uid"])


def main(cases: int = CASES) -> int:
    """Print what was asked and answered; 1 if anything was wrong."""
    with tempfile.TemporaryDirectory() as folder, demo(Path(folder)) as url:
        uid = begin_gig(url)
        schema = schemathesis.openapi.from_url(f"{url}api/v1/openapi.json")
        began_s = time.monotonic()
        tally = fuzz(schema, cases, uid=uid)
        took_s = time.monotonic() - began_s
    by_status = Counter[int]()
    for (_, status), count in tally.statuses.items():
        by_status[status] += count
    print(f"{tally.case_count} cases in {took_s:.0f} s (load average {os.getloadavg()[0]:.1f})")
    for status, count in sorted(by_status.items()):
        print(f"  {status}: {count}")
    for line in dict.fromkeys(tally.wrong):
        print(f"wrong: {line}")
    print(f"{len(tally.wrong)} wrong")
    return 1 if tally.wrong or tally.case_count < min(cases, LEAST) else 0


if __name__ == "__main__":
    sys.exit(main(*(int(word) for word in sys.argv[1:2])))
