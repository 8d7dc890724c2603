"""The stage plan, and what it comes to."""

from __future__ import annotations

from web.openapi.values import (
    COUNT,
    NUMBER,
    TEXT,
    WHOLE,
    YES_NO,
    Schema,
    array,
    known,
    obj,
    one_of,
    ref,
)  # fmt: skip

LENGTH = NUMBER
PLACE = {"x": LENGTH, "y": LENGTH, "height": LENGTH}
ANGLES = {"aim_deg": NUMBER, "tilt_deg": NUMBER}
RANGE = {"low_db": NUMBER, "high_db": NUMBER}

SCHEMAS: dict[str, Schema] = {
    "Stage": {
        **obj(
            {"microphone": array(obj({"name": TEXT, "x": NUMBER, "y": NUMBER}, {
                "height": LENGTH, **ANGLES, "pattern": TEXT, "mouth": LENGTH, "open": YES_NO})),
             "loudspeaker": array(obj({"name": TEXT, "x": NUMBER, "y": NUMBER}, {
                "height": LENGTH, **ANGLES, "kind": TEXT, "coverage_deg": array(NUMBER)}))},
            {
                "units": one_of("metres", "feet"),
                "name": TEXT,
                "room": obj({}, {
                    "width": LENGTH, "depth": LENGTH, "height": LENGTH,
                    "reverberation": {"type": ["string", "number"]}}),
                "listener": obj({}, PLACE),
                "need": obj({}, {"ead": LENGTH}),
            },
            "A stage plan; docs/before-it-rings.md says what each key means and may be.",
        )
    },
    "Reckoning": obj(
        {
            "units": one_of("metres", "feet"),
            "gain": obj(
                {"potential_db": NUMBER, "needed_db": NUMBER, "spare_db": NUMBER, **RANGE,
                 "open_microphones": COUNT, "critical_distance": NUMBER},
                {"strict": obj({"potential_db": NUMBER, "needed_db": NUMBER})},
            ),
            "pairs": array(
                obj({"microphone": TEXT, "loudspeaker": TEXT, "distance": NUMBER,
                     "off_microphone_db": NUMBER, "off_loudspeaker_db": NUMBER,
                     "feedback_db": NUMBER, "limits": YES_NO})
            ),
            "changes": array(
                obj({"id": TEXT, "words": TEXT, "gain_db": NUMBER, **RANGE, "stage": ref("Stage")},
                    {"microphone": TEXT, "microphones": array(TEXT), "loudspeaker": TEXT,
                     "loudspeakers": array(TEXT)})
            ),
            "sentence": TEXT,
            "unknown": array(TEXT),
            "cautions": array(TEXT),
        }
    ),
    "Reckoned": obj(
        {"reckoning": ref("Reckoning"), "svg": known("The drawing.", TEXT)},
    ),
    "Plan": obj(
        {"stage": ref("Stage"), "revision": WHOLE, "reckoning": ref("Reckoning"), "svg": TEXT},
        {"problem": TEXT},
    ),
    "PlanSent": obj({"stage": ref("Stage")}),
}  # fmt: skip
