"""A stage plan's file: defaults, units, and that what is written reads back the same."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import monitor.placing
from monitor.placing.stage import direction, facing
from monitor.placing.stage_file import PATTERNS, parse_stage, read_stage, stage_fields

EXAMPLE = Path(monitor.placing.__path__[0]) / "example.toml"


def smallest() -> dict[str, Any]:
    return {
        "microphone": [{"name": "voice", "x": 3.0, "y": 2.0, "pattern": "cardioid"}],
        "loudspeaker": [{"name": "left", "kind": "mains", "x": 1.0, "y": 3.0}],
    }


def test_the_example_parses_and_has_a_result() -> None:
    stage = read_stage(EXAMPLE)
    assert stage.name == "The Ferry Lamps"
    assert [one.name for one in stage.microphones] == ["lead vocal", "second vocal", "drum vocal"]
    assert [one.kind for one in stage.loudspeakers] == ["mains", "mains", "wedge", "wedge"]
    assert len(stage.open_microphones()) == 2


def test_all_but_names_places_pattern_and_kind_has_a_default() -> None:
    stage = parse_stage(smallest())
    microphone, loudspeaker = stage.microphones[0], stage.loudspeakers[0]
    assert microphone.open
    assert microphone.aim_deg == 180.0
    assert loudspeaker.aim_deg == 0.0
    assert loudspeaker.height_m == 1.8
    assert stage.room.t60_s == 0.6
    assert stage.units == "metres"
    assert stage.listener.y_m == stage.room.depth_m - 1.0


def test_a_wedge_that_says_no_aim_looks_at_the_nearest_singer() -> None:
    document = smallest()
    document["microphone"].append({"name": "far", "x": 0.6, "y": 2.0, "pattern": "omni"})
    document["loudspeaker"] = [{"name": "wedge", "kind": "wedge", "x": 4.0, "y": 3.0}]
    stage = parse_stage(document)
    wedge, ears = stage.loudspeakers[0], stage.microphones[0].ears_at_m
    line = tuple(b - a for a, b in zip(wedge.position_m, ears, strict=True))
    length = math.dist(wedge.position_m, ears)
    assert wedge.aim == pytest.approx([one / length for one in line])
    assert wedge.tilt_deg > 20.0


@pytest.mark.parametrize(
    ("word", "seconds"), [("dead", 0.3), ("usual", 0.6), ("live", 1.2), (0.85, 0.85)]
)
def test_reverberation_is_a_word_or_seconds(word: object, seconds: float) -> None:
    stage = parse_stage(smallest() | {"room": {"reverberation": word}})
    assert stage.room.t60_s == seconds
    assert stage_fields(stage)["room"]["reverberation"] == word


def test_feet_are_only_how_it_is_written() -> None:
    document = smallest() | {
        "units": "feet",
        "room": {"width": 20, "depth": 30, "height": 10},
        "need": {"ead": 5},
    }
    document["microphone"][0] |= {"x": 10, "y": 6, "mouth": 0.5}
    stage = parse_stage(document)
    # A foot is 0.3048 m by definition.
    assert stage.room.width_m == pytest.approx(6.096)
    assert stage.microphones[0].mouth_m == pytest.approx(0.1524)
    assert stage.ead_m == pytest.approx(1.524)
    assert stage.loudspeakers[0].height_m == 1.8  # defaults are no part of the document
    fields = stage_fields(stage)
    assert fields["units"] == "feet"
    assert fields["room"]["width"] == pytest.approx(20.0)
    assert fields["microphone"][0]["mouth"] == pytest.approx(0.5)


def test_axes_and_angles() -> None:
    assert direction(0.0, 0.0) == pytest.approx((0.0, 1.0, 0.0))
    assert direction(90.0, 0.0) == pytest.approx((1.0, 0.0, 0.0))
    assert direction(180.0, 0.0) == pytest.approx((0.0, -1.0, 0.0), abs=1e-12)
    assert direction(0.0, 90.0) == pytest.approx((0.0, 0.0, 1.0), abs=1e-12)
    assert facing((0.0, 0.0, 0.0), (1.0, 0.0, 1.0)) == pytest.approx((90.0, 45.0))


def test_mouth_and_ears_are_behind_each_other_on_the_microphone_s_sensitive_side() -> None:
    one = parse_stage(smallest()).microphones[0]
    assert math.dist(one.mouth_at_m, one.position_m) == pytest.approx(one.mouth_m)
    assert one.ears_at_m[1] < one.mouth_at_m[1] < one.y_m
    assert one.mouth_at_m[2] > one.height_m


def test_the_example_comes_back_the_same_through_json() -> None:
    stage = read_stage(EXAMPLE)
    fields = json.loads(json.dumps(stage_fields(stage)))
    assert stage_fields(parse_stage(fields)) == fields


LENGTHS = st.floats(0.5, 5.5).map(lambda x: round(x, 3))
ANGLES = st.floats(0.0, 359.0).map(lambda x: round(x, 1))


@settings(max_examples=60)
@given(
    x=LENGTHS,
    y=LENGTHS,
    aim=ANGLES,
    tilt=st.integers(-60, 60),
    pattern=st.sampled_from(PATTERNS),
    opened=st.booleans(),
    units=st.sampled_from(["metres", "feet"]),
    seconds=st.floats(0.2, 2.0).map(lambda x: round(x, 3)),
)
def test_what_is_written_reads_back(
    x: float,
    y: float,
    aim: float,
    tilt: int,
    pattern: str,
    opened: bool,
    units: str,
    seconds: float,
) -> None:
    document = smallest() | {
        "units": units,
        "room": {"width": 20, "depth": 30, "height": 9, "reverberation": seconds},
        "microphone": [
            {"name": "a", "x": 9, "y": 9, "pattern": "omni"},
            {
                "name": "b",
                "x": x,
                "y": y,
                "aim_deg": aim,
                "tilt_deg": tilt,
                "pattern": pattern,
                "open": opened,
                "mouth": 0.2,
            },
        ],
        "loudspeaker": [{"name": "c", "kind": "mains", "x": 8, "y": 12, "height": 6}],
    }
    fields = stage_fields(parse_stage(document))
    assert fields["units"] == units
    assert fields["microphone"][1] == {"height": fields["microphone"][1]["height"]} | {
        **document["microphone"][1]
    }
    assert stage_fields(parse_stage(fields)) == fields
