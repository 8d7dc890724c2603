"""What a phone may send: the bodies of the commands, and their answers."""

from __future__ import annotations

from monitor.link.commands import RING_OUT_DO, SOUNDCHECK_DO, SOUNDCHECK_SOURCES, SOUNDCHECK_STEPS
from monitor.link.gig_commands import (
    EARLIEST_UTC_S,
    LATEST_UTC_S,
    LONGEST_NAME,
    LONGEST_NOTE,
    MOST_PIECE_CHARS,
    MOST_RECORD_CHARS,
)  # fmt: skip
from web.openapi.values import (
    COUNT,
    NUMBER,
    TEXT,
    UID,
    WAY,
    WHOLE,
    YES_NO,
    Schema,
    array,
    known,
    number,
    obj,
    one_of,
    whole,
)  # fmt: skip

PLACE = {"centre_hz": number(10, 40000), "q": number(0.1, 100)}
PRINTABLE = {"type": "string", "minLength": 1, "maxLength": 80}
ITEM: Schema = {"type": "string", "pattern": "^[a-z0-9][a-z0-9_-]{0,39}$"}
_STEPS_DO, _TICK_DO = ("skip", "again"), ("tick", "untick")
_PLAIN_SOUNDCHECK = [d for d in SOUNDCHECK_DO if d not in (*_STEPS_DO, *_TICK_DO, "measure")]


MEANT = known("Only if this gig is on.", UID)
MEANT_RING_OUT = {"ring_out": known("Only if this ring-out is on.", UID)}


def name(longest: int) -> Schema:
    """A name with something in it: printable characters, not only spaces."""
    return {"type": "string", "minLength": 1, "maxLength": longest}


def do(*words: str, **more: Schema) -> Schema:
    """A thing to do, and what it needs."""
    return obj({"do": one_of(*words), **more})


SCHEMAS: dict[str, Schema] = {
    "Error": obj(
        {"error": known("One line for a person.", TEXT)},
        {"pair": known("Pairing this phone would help.", YES_NO)},
    ),
    "Done": obj(
        {"done": {"const": True}},
        {
            "problem": known("What went wrong although it was done.", TEXT),
            "revision": WHOLE,
            "gig": TEXT,
            "venue": TEXT,
            "gigs": COUNT,
            "rings": COUNT,
            "song": COUNT,
        },
    ),
    "WayBody": obj({"way": WAY}),
    "StageBody": {
        "oneOf": [
            obj({"fader_db": number(-120, 60)}),
            obj({"gain_db": number(-60, 60)}),
            obj({"slider": whole(0, 63), "cut_db": number(-60, 60)}, PLACE),
            obj({"room": PRINTABLE}),
            obj({"placement": PRINTABLE}),
        ],
        "description": "What to move on the practice stage.",
    },
    "PullBody": obj(
        {"slider": whole(0, 63), "cut_db": number(-60, 0)},
        PLACE,
        "How a slider of the person's own equaliser stands now.",
    ),
    "RingOutBody": {
        "oneOf": [
            obj({"do": one_of(*(w for w in RING_OUT_DO if w != "fader"))}, MEANT_RING_OUT),
            obj({"do": one_of("fader"), "fader_db": number(-120, 60)}, MEANT_RING_OUT),
        ]
    },
    "SoundcheckBody": {
        "oneOf": [
            do(*_PLAIN_SOUNDCHECK),
            do(*_STEPS_DO, step=one_of(*SOUNDCHECK_STEPS)),
            do(*_TICK_DO, item=ITEM),
            obj({"do": one_of("measure")}, {"source": one_of(*SOUNDCHECK_SOURCES)}),
        ]
    },
    "GigBody": {
        "anyOf": [
            do("begin"),
            obj({"do": one_of("end", "song", "clear_venue")}, {"gig": MEANT}),
            do("venue", venue=UID),
            do("venue", name=name(LONGEST_NAME)),
            do("rename", gig=UID, name=name(LONGEST_NAME)),
            do("rename", venue=UID, name=name(LONGEST_NAME)),
            obj({"do": one_of("note"), "text": name(LONGEST_NOTE)}, {"gig": MEANT}),
            do("delete", gig=UID),
            do("delete", venue=UID),
        ]
    },
    "ClockBody": obj(
        {"utc_s": number(EARLIEST_UTC_S, LATEST_UTC_S)},
        about="What the phone's clock says, in seconds since 1970.",
    ),
    "ImportBody": obj(
        {
            "upload": {"type": "string", "pattern": "^[A-Za-z0-9_-]{1,32}$"},
            "offset": whole(0, MOST_RECORD_CHARS),
            "text": {"type": "string", "minLength": 1, "maxLength": MOST_PIECE_CHARS},
            "last": YES_NO,
        },
        about="A piece of a record's text; pieces follow on one another.",
    ),
    "SoundBody": obj({"listener": {"type": "string"}, "arrived_bytes": WHOLE}),
    "Nothing": obj({}),
    "PairBody": obj({"code": {"type": "string", "pattern": "^[0-9]{6}$"}}, {"name": name(40)}),
    "UnpairBody": obj(
        {"phone": {"type": "string", "pattern": "^(all|[0-9a-f]{8})$"}},
    ),
    "PairDone": obj(
        {"done": {"const": True}},
        {"phone": TEXT, "showing": YES_NO, "lasts_s": NUMBER, "where": TEXT, "words": TEXT,
         "problem": TEXT},
    ),
    "Paired": obj(
        {"paired": YES_NO},
        {
            "control": one_of("code", "open", "off"),
            "phone": TEXT,
            "phones": array(obj({"phone": TEXT, "name": TEXT}, {"paired_ago_s": NUMBER})),
        },
    ),
    "Health": obj({"watcher": known('"ok", or why it cannot be reached.', TEXT)}),
}  # fmt: skip
