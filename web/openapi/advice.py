"""What is advised: pulls, the ring-out, and the soundcheck with what it measures."""

from __future__ import annotations

from web.openapi.values import (
    ANYTHING,
    COUNT,
    NUMBER,
    TEXT,
    UID,
    WHOLE,
    YES_NO,
    Schema,
    array,
    known,
    obj,
    one_of,
    ref,
)  # fmt: skip

HEARD = obj({"seconds": NUMBER}, {"peak_dbfs": NUMBER, "rms_dbfs": NUMBER})

SCHEMAS: dict[str, Schema] = {
    "Pull": obj(
        {"label": TEXT},
        {
            "pull_db": known("How far it is to stand below flat, positive.", NUMBER),
            "more_db": known("How much of that is still to be pulled.", NUMBER),
            "on": known("In the place of both: a low cut is on or off.", YES_NO),
            "slider": known("Its place in the row, from 0.", COUNT),
            "centre_hz": NUMBER,
            "q": NUMBER,
        },
    ),
    "Advice": obj(
        {"line": TEXT, "pulls": array(ref("Pull"))},
        {
            "second": ref("Pull"),
            "second_too": known(
                "Whether second goes with the line; else it may stand in its place.", YES_NO
            ),
            "hint": TEXT,
            "why": TEXT,
        },
        "What to do about what rings.",
    ),
    "RungOut": obj(
        {
            "frequency_hz": NUMBER,
            "band": TEXT,
            "fate": TEXT,
            "times": COUNT,
            "depth_db": NUMBER,
        },
        {
            **{f"excess{which}_db": NUMBER for which in ("", "_low", "_high")},
            **{f"margin{which}_db": NUMBER for which in ("", "_low", "_high")},
            "margin_sure": one_of("sure", "about", "a guess"),
            "margin_line": TEXT,
        },
        "A ring in a ring-out.",
    ),
    "RingOut": obj(
        {
            "uid": UID,
            "phase": TEXT,
            "say": TEXT,
            "detail": TEXT,
            "pulls_now": array(ref("Pull")),
            "pulls": array(ref("Pull")),
            "rings": array(ref("RungOut")),
            "cut_count": known("How many sliders were pulled since it began.", COUNT),
            "tone_cost_db": NUMBER,
            "cautions": array(TEXT),
            "hints": array(TEXT),
            "asks": YES_NO,
            "may": known("What can be done now.", array(TEXT)),
        },
        {
            "put_back": known("What was undone, or moved and not asked for.", array(ref("Pull"))),
            "doubt": known("Why it may be of another evening.", TEXT),
            "gain_won_db": NUMBER,
            "top_fader_db": NUMBER,
            "why": TEXT,
            "curve": obj({"hz": array(NUMBER), "db": array(NUMBER)}),
        },
    ),
    "Measured": obj(
        {
            "kind": one_of("line", "box"),
            "age_s": NUMBER,
            "seconds": NUMBER,
            "source": obj({"kind": TEXT}, {"name": TEXT}),
            "peak_dbfs": NUMBER,
            "rms_dbfs": NUMBER,
            "clipped_count": COUNT,
            "clipped_now": YES_NO,
            "state": TEXT,
            "voice": TEXT,
            "advice": obj({"sentence": TEXT, "detail": TEXT}, {"change_db": NUMBER}),
        },
        {
            "held_peak_dbfs": NUMBER,
            "noise_dbfs": NUMBER,
            "crest_db": NUMBER,
            "spoken": HEARD,
            "sung": HEARD,
            "loudest": obj({}, {"peak_dbfs": NUMBER, "rms_dbfs": NUMBER, "of": TEXT}),
            "scale": obj(
                {"kind": TEXT},
                {"zero_dbfs": NUMBER, "reading_db": NUMBER, "wanted_db": array(NUMBER)},
            ),
            "low_cut": ANYTHING,
            "spectrum": obj(
                {"centre_hz": array(NUMBER)},
                {"voice_dbfs": array(NUMBER), "below_dbfs": array(NUMBER)},
            ),
        },
        "What a measurement says; further keys by the kind of it.",
    ),
    "Soundcheck": obj(
        {
            "steps": array(
                obj(
                    {
                        "id": one_of("place", "level", "low_cut", "ring_out"),
                        "title": TEXT,
                        "state": one_of("to_do", "now", "done", "left_out"),
                        "words": TEXT,
                    }
                )
            ),
            "ticks": array(TEXT),
            "plan_revision": WHOLE,
            "line": obj({"there": YES_NO}, {"name": TEXT, "why": TEXT}),
        },
        {
            "begun_age_s": NUMBER,
            "doubt": TEXT,
            "measuring": {**ANYTHING, "description": "A `Measured`, or only that one begins."},
            "why": TEXT,
            "health": TEXT,
            "level": ANYTHING,
            "low_cut": ANYTHING,
        },
    ),
}  # fmt: skip
