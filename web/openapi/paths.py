"""Every path of the interface, with what is sent and what is answered."""

from __future__ import annotations

from typing import Any

from monitor.link.commands import MAX_HISTORY
from web.gig_forms import UTC_OFFSETS_MIN
from web.openapi.values import TEXT, UID, Schema, one_of, ref, whole

PREFIX = "/api/v1"
Answers = dict[str, dict[str, Any]]

WHAT = {
    400: "The request cannot be followed.",
    401: "This phone is not paired; `pair` is true.",
    403: "Another site asks, the code is wrong, or control is off.",
    404: "There is no such thing.",
    409: "No code is asked for here, or none is shown now.",
    413: "Too much is sent.",
    415: "JSON is expected.",
    421: "The box is asked by a name that is not its own.",
    429: "Too many requests; `Retry-After` says when to ask again.",
    503: "The watcher does not answer, or the page is busy; `Retry-After` where it is that.",
}
CHANGES = (400, 401, 403, 413, 415, 421, 429, 503)
LOOKS = (421, 429)


def errors(*statuses: int) -> Answers:
    """Answers that say in one line what is wrong."""
    body = {"application/json": {"schema": ref("Error")}}
    return {str(s): {"description": WHAT[s], "content": body} for s in sorted(statuses)}


def answered(schema: str, about: str = "It is answered.") -> Answers:
    """An answer in JSON."""
    return {"200": {"description": about, "content": {"application/json": {"schema": ref(schema)}}}}


def in_form(about: str, *kinds: str) -> Answers:
    """An answer that is no JSON."""
    return {"200": {"description": about, "content": {kind: {"schema": TEXT} for kind in kinds}}}


def query(name: str, schema: Schema, about: str, *, required: bool = False) -> dict[str, Any]:
    """What may stand after the question mark."""
    return {"name": name, "in": "query", "required": required, "description": about,
            "schema": schema}  # fmt: skip


def look(about: str, answers: Answers, *statuses: int, asks: list[Any] | None = None) -> Schema:
    """A path that only looks: open to everybody."""
    return {
        "get": {
            "summary": about,
            "security": [],
            **({"parameters": asks} if asks else {}),
            "responses": {**answers, **errors(*LOOKS, *statuses)},
        }
    }


def send(
    about: str, body: str, answer: str = "Done", *, statuses: tuple[int, ...] = CHANGES,
    is_open: bool = False,
) -> Schema:  # fmt: skip
    """A path that is sent something; with a key, unless it is open to everybody."""
    content = {"application/json": {"schema": ref(body)}}
    return {
        "post": {
            "summary": about,
            "security": [] if is_open else [{"cookie": []}, {"bearer": []}],
            "requestBody": {"required": True, "content": content},
            "responses": {**answered(answer, "It is done."), **errors(*statuses)},
        }
    }


GIG = {"name": "uid", "in": "path", "required": True, "schema": UID}
ZONED = [
    GIG,
    query(
        "utc_offset_min",
        whole(*UTC_OFFSETS_MIN),
        "The reader's own time, in minutes ahead of UTC when the gig began; else the box's.",
    ),
]
BUT = query("but", UID, "Without what this gig taught: the one that goes on.")
REMEMBERING = [*ZONED, BUT]
PICTURE = [
    *ZONED,
    query(
        "look",
        one_of("day", "night", "page"),
        "Inks: paper, dark, or those of "
        "the page it is put into, which says itself which gig it is.",
    ),
    query("width", one_of("wide", "narrow"), "Narrow: for a phone held upright."),
]
OPEN_SEND = (400, 403, 413, 415, 421, 429, 503)


def _form(about: str, kind: str, asks: list[Any]) -> Schema:
    return look(about, in_form(about, kind), 400, 404, 503, asks=asks)


def _live() -> dict[str, Schema]:
    events = "Server-sent events: `now` (a Now), `part` (a Part), `ring` (a RingEvent)."
    return {
        "/now": look("All there is to show, and how old it is.", answered("Now")),
        "/stream": look(events, in_form(events, "text/event-stream"), 503),
        "/levels": look("Levels in third octaves.", answered("Levels"), 503),
        "/rings": look(
            "The last rings of the journal.", answered("KeptRings"), 400, 503,
            asks=[query("limit", whole(1, MAX_HISTORY), "How many at most.")],
        ),
        "/sound": {
            **look(
                "The practice stage's sound: one channel, 16 bit, at the rate in X-Sample-Rate.",
                in_form("Samples.", "application/octet-stream"), 400, 403, 503,
                asks=[query("listener", {"type": "string", "pattern": "^[0-9A-Za-z]{8,32}$"},
                            "A name the page has made up for itself.", required=True)],
            ),
            **send("Still listening, and how much has arrived.", "SoundBody", is_open=True,
                   statuses=(*OPEN_SEND, 404)),
        },
    }  # fmt: skip


def _commands() -> dict[str, Schema]:
    return {
        "/way": send("Another way to listen.", "WayBody"),
        "/stage": send("Move something on the practice stage.", "StageBody"),
        "/pull": send("Say how a slider stands.", "PullBody"),
        "/ring-out": send("A step of the ring-out.", "RingOutBody"),
        "/soundcheck": send("A step of the soundcheck.", "SoundcheckBody"),
        "/gig": send("Begin, end, name or delete a gig, or choose its venue.", "GigBody"),
        "/clock": send("Tell the box the time.", "ClockBody"),
        "/import": send("Bring in a record of another box, in pieces.", "ImportBody"),
        "/plan": {
            **look("The stage plan, reckoned and drawn.", answered("Plan"), 400, 503),
            **send("Keep a stage plan.", "PlanSent"),
        },
        "/plan/reckon": send("Reckon and draw a plan; nothing is kept.", "PlanSent", "Reckoned",
                             statuses=OPEN_SEND, is_open=True),
    }  # fmt: skip


def _kept() -> dict[str, Schema]:
    return {
        "/gigs": look(
            "Gigs, newest first.", answered("Gigs"), 400, 503,
            asks=[query("limit", whole(1, 100), "How many at most."),
                  query("before", UID, "Only older ones than this.")],
        ),
        "/gigs/{uid}": look("A gig's record.", answered("Record"), 404, 503, asks=[GIG]),
        "/gigs/{uid}/record.json": look("The same as a file.", answered("Record"), 404, 503,
                                        asks=[GIG]),
        "/gigs/{uid}/summary": look("What a gig came to.", answered("GigSummary"), 400, 404, 503,
                                    asks=[GIG]),
        "/gigs/{uid}/report.html": _form("The report, to print.", "text/html", REMEMBERING),
        "/gigs/{uid}/timeline.svg": _form("The timeline.", "image/svg+xml", PICTURE),
        "/gigs/{uid}/timeline.png": _form("The timeline.", "image/png", PICTURE),
        "/gigs/{uid}/curve.svg": _form("What was pulled.", "image/svg+xml", PICTURE),
        "/gigs/{uid}/curve.png": _form("What was pulled.", "image/png", PICTURE),
        "/gigs/{uid}/rings.csv": _form("The rings as a table.", "text/csv", [GIG]),
        "/gigs/{uid}/happenings.csv": _form("What happened as a table.", "text/csv", [GIG]),
        "/gigs/{uid}/next": look("What to do next time.", answered("NextTime"), 400, 404, 503,
                                 asks=REMEMBERING),
        "/venues": look("Venues.", answered("Venues"), 400, 503),
        "/recollection": look(
            "What the gigs teach.", answered("Recollection"), 400, 503,
            asks=[query("venue", UID, "Of this venue."), BUT],
        ),
    }  # fmt: skip


def _pairing() -> dict[str, Schema]:
    statuses = (400, 403, 409, 413, 415, 421, 429, 503)
    return {
        "/pair": {
            **look("Whether this phone is paired, and who else is.", answered("Paired"), 503),
            **send("Pair, with the code on the panel; the key comes as a cookie.", "PairBody",
                   "PairDone", statuses=statuses, is_open=True),
        },
        "/pair/ask": send("Have the panel show a code.", "Nothing", "PairDone",
                          statuses=statuses, is_open=True),
        "/unpair": send("Forget a phone, or all.", "UnpairBody", "PairDone",
                        statuses=(*CHANGES, 404, 409)),
    }  # fmt: skip


def paths() -> dict[str, Schema]:
    """All paths, by their address."""
    own = {**_live(), **_commands(), **_kept(), **_pairing()}
    return {
        **{PREFIX + path: operations for path, operations in own.items()},
        f"{PREFIX}/openapi.json": look("This document.", answered("Document", "OpenAPI 3.1.")),
        "/healthz": look("Whether the watcher is connected.", _health()),
        "/metrics": look("For Prometheus.", in_form("Its text format, 0.0.4.", "text/plain")),
    }


def _health() -> Answers:
    body = {"application/json": {"schema": ref("Health")}}
    return {
        "200": {"description": "It is.", "content": body},
        "503": {"description": "It is not, and why.", "content": body},
    }
