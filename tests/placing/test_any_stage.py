"""Whatever stage passes the gate has a finite result, and so has every change that is offered."""

from __future__ import annotations

import json
from typing import Any

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from monitor.placing.reckon import reckon
from monitor.placing.stage import StageError
from monitor.placing.stage_file import PATTERNS, parse_stage, stage_fields

PARTS = st.floats(0.0, 1.0).map(lambda x: round(x, 3))
AIMS = st.integers(-360, 360)
TILTS = st.integers(-90, 90)


@st.composite
def documents(draw: st.DrawFn) -> dict[str, Any]:
    width, depth, height = (draw(st.floats(1.0, high)) for high in (15.0, 20.0, 6.0))

    def spot() -> dict[str, float]:
        return {"x": draw(PARTS) * width, "y": draw(PARTS) * depth, "height": draw(PARTS) * height}

    microphones = [
        spot()
        | {
            "name": f"m{i}",
            "pattern": draw(st.sampled_from(PATTERNS)),
            "aim_deg": draw(AIMS),
            "tilt_deg": draw(TILTS),
            "mouth": draw(st.floats(0.01, 1.0)),
            "open": i == 0 or draw(st.booleans()),
        }
        for i in range(draw(st.integers(1, 3)))
    ]
    loudspeakers = [
        spot()
        | {
            "name": f"s{i}",
            "kind": draw(st.sampled_from(["mains", "wedge"])),
            "aim_deg": draw(AIMS),
            "tilt_deg": draw(TILTS),
            "coverage_deg": [draw(st.integers(20, 360)), draw(st.integers(20, 360))],
        }
        for i in range(draw(st.integers(1, 4)))
    ]
    return {
        "units": "metres",
        "room": {
            "width": width,
            "depth": depth,
            "height": height,
            "reverberation": draw(st.floats(0.1, 5.0)),
        },
        "microphone": microphones,
        "loudspeaker": loudspeakers,
        "listener": spot(),
        "need": {"ead": draw(st.floats(0.3, 30.0))},
    }


@settings(
    max_examples=40,
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
)
@given(documents())
def test_any_stage_that_passes_has_a_result(document: dict[str, Any]) -> None:
    try:
        stage = parse_stage(document)
    except StageError:
        assume(False)
    found = reckon(stage)
    json.dumps(found.fields(), allow_nan=False)
    for change in found.changes:
        parse_stage(stage_fields(change.stage))
