"""What is kept: gigs, venues, records, and what they teach."""

from __future__ import annotations

from web.openapi.values import (
    ANYTHING,
    COUNT,
    DATED,
    DEGREE,
    MOMENT,
    NUMBER,
    TEXT,
    UID,
    WAY,
    WHOLE,
    YES_NO,
    Schema,
    array,
    known,
    obj,
    one_of,
    ref,
)  # fmt: skip

BOOT: Schema = {"type": ["string", "integer"], "description": "Which start of the machine."}
INSTANT: Schema = obj(
    {"dated": DATED, "boot": BOOT, "uptime_s": NUMBER},
    {"utc": MOMENT},
)
WORDS = array(TEXT)
RECORDED_GIG: Schema = obj(
    {"uid": {"type": "string", "pattern": "^[0-9a-z]{1,32}$"}, "begun": INSTANT},
    {
        "box": TEXT,
        "title": TEXT,
        "venue": obj({"uid": TEXT, "name": TEXT}),
        "ended": INSTANT,
        "ended_by": one_of("quiet", "button", "new", "plug"),
        "lasted_s": NUMBER,
        "in_doubt": known("Nobody knows whether it was one gig or two.", YES_NO),
        "rings_gone": known("Rings that are counted and no longer kept.", COUNT),
        "howls_gone": known("How many of them had become howls.", COUNT),
        "thinned": WHOLE,
    },
)

SCHEMAS: dict[str, Schema] = {
    "VenueName": obj({"uid": UID, "name": TEXT}),
    "GigLine": obj(
        {"uid": UID, "begun": obj({"dated": DATED}, {"utc": MOMENT}), "ring_count": COUNT,
         "howl_count": COUNT, "on": YES_NO},
        {"title": TEXT, "venue": ref("VenueName"), "lasted_s": NUMBER},
    ),
    "Gigs": obj({"gigs": array(ref("GigLine"), 100)}, {"problem": TEXT}, "Newest first."),
    "Venues": obj(
        {"venues": array(obj({"uid": UID, "name": TEXT, "gig_count": COUNT},
                             {"last_utc": MOMENT, "dated": DATED}))},
        {"problem": TEXT},
    ),
    "Recollection": obj(
        {"gig_count": COUNT, "venue_count": COUNT, "words": WORDS, "enough": YES_NO},
        {
            "venue": obj(
                {
                    "uid": UID,
                    "name": TEXT,
                    "gig_count": COUNT,
                    "rang": array(
                        obj({"band": TEXT, "frequency_hz": NUMBER, "evenings": COUNT, "of": COUNT,
                             "howls": COUNT, "words": TEXT})
                    ),
                    "begin_with": array(
                        obj({"label": TEXT, "centre_hz": NUMBER, "pull_db": NUMBER, "why": TEXT},
                            {"q": NUMBER, "on": known("A low cut is on: no depth.", YES_NO)})
                    ),
                    "words": WORDS,
                },
                {
                    "last": known(
                        "The last gig of an earlier evening here that says something; its equaliser"
                        " where it is another than the one in use.",
                        obj({"gig": UID}, {"utc": MOMENT, "other_equaliser": TEXT}),
                    ),
                    "last_utc": MOMENT,
                    "gain": obj(
                        {"words": TEXT},
                        {"last_db": NUMBER, "before_db": NUMBER, "change_db": NUMBER},
                    ),
                },
            ),
            "bands": array(
                obj(
                    {
                        "band": TEXT,
                        "frequency_hz": NUMBER,
                        "verdict": one_of("rig", "room", "unsure"),
                        "rate": NUMBER,
                        "words": TEXT,
                        "evidence": known("The evenings counted, and the odds.", ANYTHING),
                    },
                    {"venue": obj({}, {"uid": UID, "name": TEXT})},
                )
            ),
            "when": obj(
                {"hours": array(ANYTHING), "songs": array(ANYTHING), "words": WORDS},
            ),
            "problem": TEXT,
        },
        "What the memory says: of one venue, and of which bands ring with the rig or in the room.",
    ),
    "NextTime": obj(
        {"next": array(obj({"title": known("What to do.", TEXT), "words": known("Why.", TEXT)},
                           {"known": known("The memory's begin_with says to do it.", YES_NO)}))},
        {"problem": TEXT},
        about="What to do next time, the most telling first; the report's own list.",
    ),
    "GigSummary": obj(
        {
            "gig": RECORDED_GIG,
            "rings": known("How many rings, and how many of them howled.", TEXT),
            "sliders": known(
                "The sliders that rings were for, the worst first.",
                array(obj({"label": TEXT, "ring_count": COUNT, "howl_count": COUNT},
                          {"longest_s": NUMBER})),
            ),
        },
        {
            "pulled": known("The sliders that stood pulled at the end.", TEXT),
            "ring_out": known("What the last ring-out won, and what it cost.", TEXT),
            "song_count": COUNT,
            "notes": WORDS,
        },
        about="What a gig came to, in the report's own words.",
    ),
    "Record": obj(
        {
            "record": {"const": 1},
            "gig": RECORDED_GIG,
            "rings": array(
                obj(
                    {
                        "id": WHOLE,
                        "session": TEXT,
                        "at_s": known("Seconds since the gig began.", NUMBER),
                        "degree": DEGREE,
                        "way": WAY,
                        "frequency_hz": NUMBER,
                        "band": TEXT,
                        "slider": TEXT,
                        "level_dbfs": NUMBER,
                        "growth_db_per_s": NUMBER,
                    },
                    {"lasted_s": NUMBER, "boot": BOOT, "uptime_s": NUMBER},
                )
            ),
            "happenings": array(
                {
                    **obj({"at_s": NUMBER, "kind": TEXT}, {"boot": BOOT, "uptime_s": NUMBER}),
                    "additionalProperties": True,
                }
            ),
        },
        {"equaliser": ref("Equaliser"), "boots": ANYTHING},
        "Everything kept of one gig: what is exported, brought in and reported.",
    ),
}  # fmt: skip
