"""The document of the interface held against the code, both ways, and against real answers.

JSON Schema is judged by the library jsonschema_rs (drafts up to 2020-12, its own metaschemas).
"""

from __future__ import annotations

import copy
import json
import re
import sqlite3
import urllib.request
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import jsonschema_rs
import pytest
import schemathesis
from flask import Flask
from flask.testing import FlaskClient

from monitor.clock import Now
from monitor.journal.asks import GigChange, Instant, VenueChange
from monitor.journal.listing import list_gigs
from monitor.journal.rows import RingRow, history_fields
from monitor.journal.tables import migrate
from monitor.journal.writing import write_all
from tests.test_end_to_end import demo_url  # noqa: F401  (a fixture)
from tests.waiting import awaited
from tests.web.evening import METERS, PLAN
from tests.web.kept import CHAPEL, TONIGHT, KeptClient
from tests.web.states import STATES
from web.app import create_app
from web.openapi.document import document

API = "/api/v1"
ROOT = Path(__file__).parents[2]
OUTSIDE = {"/", "/paper", "/static/<path:filename>"}
"""Pages and files are for people: no part of the interface."""


def strict(schema: Any) -> Any:
    """The schema with every object closed: readers ignore what they do not know, this test not."""
    if isinstance(schema, list):
        return [strict(one) for one in schema]
    if not isinstance(schema, dict):
        return schema
    made = {key: strict(value) for key, value in schema.items()}
    if isinstance(schema.get("properties"), dict) and schema.get("type") == "object":
        made.setdefault("additionalProperties", False)
    return made


CLOSED = strict(document())


def problems(schema: dict[str, Any], value: Any) -> list[str]:
    """What a value lacks or has too much of, in lines."""
    whole = {**schema, "components": CLOSED["components"]}
    found = jsonschema_rs.validator_for(whole).iter_errors(value)
    return [f"{list(one.instance_path)}: {one.message[:200]}" for one in found]


def answer_schema(path: str, method: str, status: int, mimetype: str) -> dict[str, Any]:
    return dict(
        CLOSED["paths"][path][method]["responses"][str(status)]["content"][mimetype]["schema"]
    )


@pytest.fixture
def kept() -> Iterator[KeptClient]:
    client = KeptClient("demo")
    client.hold(client.snapshot())
    yield client
    client.close()


@pytest.fixture
def app(kept: KeptClient) -> Flask:
    return create_app(kept, max_streams=1)


@pytest.fixture
def phone(app: Flask) -> FlaskClient:
    return app.test_client()


def test_every_schema_is_one() -> None:
    for name, schema in document()["components"]["schemas"].items():
        assert jsonschema_rs.meta.is_valid(schema), name
    assert not jsonschema_rs.meta.is_valid({"type": "strin"})
    schemathesis.openapi.from_dict(document()).validate()
    with pytest.raises(Exception, match="paths"):
        schemathesis.openapi.from_dict({**document(), "paths": [1]}).validate()
    text = json.dumps(document())
    named = set(re.findall(r'"#/components/schemas/(\w+)"', text))
    assert named <= set(document()["components"]["schemas"])
    # What rides on the stream is named in its description alone.
    unused = set(document()["components"]["schemas"]) - named
    assert unused == {"Part", "RingEvent", "Measured"}


def described_keys(schema: Any) -> Iterator[str]:
    """The name of every property, wherever it stands."""
    if isinstance(schema, list):
        for one in schema:
            yield from described_keys(one)
    elif isinstance(schema, dict):
        if isinstance(schema.get("properties"), dict):
            yield from schema["properties"]
        for one in schema.values():
            yield from described_keys(one)


def written_nowhere(schema: Any) -> set[str]:
    """Keys that are described and that no code of ours writes down."""
    sources = [
        path.read_text(encoding="utf-8")
        for folder in ("firmware", "monitor", "web")
        for path in (ROOT / folder).rglob("*.py")
        if path.parent.name != "openapi"
    ]
    words = set(re.findall(r"\w+", "\n".join(sources)))
    return set(described_keys(schema)) - words


def test_what_is_described_is_told_somewhere() -> None:
    assert written_nowhere(document()["components"]["schemas"]) == set()
    planted = {"type": "object", "properties": {"level_dbfs": {}, "waiting_miles": {}}}
    assert written_nowhere(planted) == {"waiting_miles"}


def test_lists_of_the_journal_have_the_keys_that_are_described() -> None:
    schemas = document()["components"]["schemas"]
    ring = RingRow(
        "5e55", 1, "boot", "howl", "set", 2480.0, "2.5k", "2.5k", -20.0, 9.0, 5.0, 7.0, 0.0, True,
    )  # fmt: skip
    told = history_fields(ring, boot_id="boot", uptime_s=9.0)
    assert schemas["KeptRings"]["properties"]["rings"]["items"]["properties"].keys() == told.keys()
    now = Now("boot", 9.0, 1_937_000_000.0, clock_trusted=True)
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        migrate(connection)
        begun, ended = Instant("boot", 1.0), Instant("boot", 8.0)
        gig = GigChange(TONIGHT, begun, ended, "button", CHAPEL["uid"], "Spring dance")
        write_all(connection, [VenueChange(**CHAPEL), gig], now=now, box="")
        (line,) = list_gigs(connection, 1, None)
    described = schemas["GigLine"]["properties"]
    assert described.keys() == line.keys()
    assert described["begun"]["properties"].keys() == line["begun"].keys()


def test_every_route_is_described_and_nothing_else(app: Flask) -> None:
    routes = set()
    for rule in app.url_map.iter_rules():
        if rule.rule in OUTSIDE:
            continue
        paths = [re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", rule.rule)]
        form = re.search(r"<any\((.*)\):\w+>", rule.rule)
        if form:  # one route, several names
            names = re.findall(r"'([^']+)'", form[1])
            start = re.sub(r"<(\w+)>", r"{\1}", rule.rule[: form.start()])
            paths = [start + name for name in names]
        for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}:
            routes |= {(path, method.lower()) for path in paths}
    described = {
        (path, method) for path, operations in document()["paths"].items() for method in operations
    }
    assert routes == described


def test_whatever_changes_something_stands_behind_the_gate(
    phone: FlaskClient, app: Flask, kept: KeptClient
) -> None:
    """Not by a list: every POST is tried, without a key where a code is wanted."""
    kept.door.control = "code"
    kept.hold(kept.snapshot())
    open_to_all = {f"{API}/{name}" for name in ("sound", "plan/reckon", "pair", "pair/ask")}
    tried = 0
    for path, operations in document()["paths"].items():
        if "post" not in operations or path in open_to_all:
            continue
        answer = phone.post(path, json={})
        assert (answer.status_code, answer.get_json().get("pair")) == (401, True), path
        assert operations["post"]["security"], path
        tried += 1
    assert tried >= 10
    assert not [c for c in kept.asked if c["class"] not in ("plan_get",)]
    methods = {m for rule in app.url_map.iter_rules() for m in rule.methods or ()}
    assert methods == {"GET", "HEAD", "OPTIONS", "POST"}


ASKED = [
    ("/now", ""),
    ("/levels", ""),
    ("/gigs", "?limit=2"),
    ("/gigs/{uid}", ""),
    ("/gigs/{uid}/record.json", ""),
    ("/gigs/{uid}/summary", ""),
    ("/gigs/{uid}/next", "?utc_offset_min=-60"),
    ("/venues", ""),
    ("/recollection", f"?venue={CHAPEL['uid']}"),
    ("/plan", ""),
    ("/pair", ""),
    ("/openapi.json", ""),
]


@pytest.mark.parametrize(("path", "question"), ASKED)
def test_answers_are_as_described(phone: FlaskClient, path: str, question: str) -> None:
    answer = phone.get(API + path.replace("{uid}", TONIGHT) + question)
    assert answer.status_code == 200
    schema = answer_schema(API + path, "get", 200, answer.mimetype)
    assert problems(schema, answer.get_json()) == []


@pytest.mark.parametrize("state", sorted(STATES))
def test_every_state_of_the_snapshot_is_as_described(state: str) -> None:
    assert problems({"$ref": "#/components/schemas/Snapshot"}, STATES[state]) == []


@pytest.mark.parametrize("name", sorted(METERS))
def test_every_measurement_is_as_described(name: str, kept: KeptClient) -> None:
    assert problems({"$ref": "#/components/schemas/Measured"}, METERS[name]) == []
    kept.script, kept.measuring, kept.venue = METERS[name], "line", CHAPEL
    snapshot = kept.snapshot()
    assert problems({"$ref": "#/components/schemas/Snapshot"}, snapshot) == []


SENT: list[tuple[str, dict[str, Any]]] = [
    ("/way", {"way": "soundcheck"}),
    ("/stage", {"slider": 3, "cut_db": -2, "q": 4}),
    ("/pull", {"slider": 3, "cut_db": -2}),
    ("/ring-out", {"do": "open"}),
    ("/soundcheck", {"do": "tick", "item": "wedge"}),
    ("/gig", {"do": "venue", "name": "Tin Chapel"}),
    ("/clock", {"utc_s": 1_795_700_000}),
    ("/import", {"upload": "a1", "offset": 0, "text": "{", "last": False}),
    ("/plan", {"stage": PLAN}),
    ("/plan/reckon", {"stage": PLAN}),
]


@pytest.mark.parametrize(("path", "body"), SENT)
def test_commands_and_their_answers_are_as_described(
    phone: FlaskClient, path: str, body: dict[str, Any]
) -> None:
    operation = CLOSED["paths"][API + path]["post"]
    sent = operation["requestBody"]["content"]["application/json"]["schema"]
    assert problems(sent, body) == []
    answer = phone.post(API + path, json=body)
    assert answer.status_code == 200
    assert problems(answer_schema(API + path, "post", 200, "application/json"),
                    answer.get_json()) == []  # fmt: skip


def test_refusals_are_as_described(phone: FlaskClient, kept: KeptClient) -> None:
    seen = set()
    for path, operations in document()["paths"].items():
        for method, operation in operations.items():
            address = path.replace("{uid}", "nobody")
            headers = {"Host": "evil.example"}
            for answer in (
                phone.open(address, method=method.upper(), headers=headers),
                phone.open(address, method=method.upper(), data="x"),
                phone.open(address + "?limit=many", method=method.upper(), json={"do": "dance"}),
            ):
                if answer.status_code == 200:
                    answer.close()
                    continue
                assert str(answer.status_code) in operation["responses"], (path, method)
                schema = answer_schema(path, method, answer.status_code, "application/json")
                assert problems(schema, answer.get_json()) == []
                seen.add(answer.status_code)
    assert {400, 404, 415, 421} <= seen


def test_a_key_too_many_or_too_few_is_found() -> None:
    """The test above can fail."""
    snapshot = copy.deepcopy(STATES["demo"])
    schema = {"$ref": "#/components/schemas/Snapshot"}
    snapshot["microphone"]["brand"] = "none"
    assert "brand" in problems(schema, snapshot)[0]
    del snapshot["microphone"]["brand"], snapshot["lamp"]["health"]
    assert "health" in problems(schema, snapshot)[0]


def test_the_demo_s_own_answers_are_as_described(demo_url: str) -> None:  # noqa: F811
    """A real watcher that hears a ring, with a gig, a venue and its memory."""

    def get(path: str) -> Any:
        with urllib.request.urlopen(f"{demo_url}api/v1{path}", timeout=10) as answer:
            return json.load(answer)

    def post(path: str, body: dict[str, Any]) -> Any:
        headers = {"Content-Type": "application/json"}
        data = json.dumps(body).encode()
        request = urllib.request.Request(f"{demo_url}api/v1{path}", data, headers)
        with urllib.request.urlopen(request, timeout=10) as answer:
            found = json.load(answer)
        schema = answer_schema(API + path, "post", 200, "application/json")
        assert problems(schema, found) == []
        return found

    def told(path: str, described: str = "") -> Any:
        found = get(path)
        schema = answer_schema(API + (described or path), "get", 200, "application/json")
        assert problems(schema, found) == [], path
        return found

    awaited(lambda: "snapshot" in get("/now"), 30.0)
    told("/now")
    post("/gig", {"do": "begin"})
    post("/gig", {"do": "venue", "name": "Tin Chapel"})
    post("/soundcheck", {"do": "measure"})
    post("/ring-out", {"do": "open"})
    post("/stage", {"fader_db": 3.0})
    awaited(lambda: get("/now")["snapshot"]["rings"], 30.0)
    awaited(lambda: "memory" in get("/now")["snapshot"], 30.0)
    told("/now")
    post("/stage", {"fader_db": -30.0})
    awaited(lambda: get("/now")["snapshot"]["recent"], 30.0)
    told("/now")
    for path in ("/levels", "/venues", "/recollection", "/plan"):
        told(path)
    awaited(lambda: told("/rings")["rings"], 30.0)
    uid = awaited(lambda: told("/gigs")["gigs"], 30.0)[0]["uid"]
    record = awaited(lambda: told(f"/gigs/{uid}", "/gigs/{uid}"), 30.0)
    assert record["gig"]["venue"]["name"] == "Tin Chapel"
    post("/gig", {"do": "end"})
    for name in ("report.html", "timeline.svg", "curve.png", "rings.csv", "happenings.csv"):
        address = f"{demo_url}api/v1/gigs/{uid}/{name}"
        with urllib.request.urlopen(address, timeout=20) as answer:
            assert len(answer.read()) > 100
