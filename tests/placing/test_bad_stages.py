"""Stage plans that cannot be: one clear line each, and nothing of a result."""

from __future__ import annotations

import copy
import math
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from monitor.errors import LanternError
from monitor.placing.reckon import reckon
from monitor.placing.stage import StageError
from monitor.placing.stage_file import EXAMPLE, LARGEST_FILE_BYTES, parse_stage, read_stage

GOOD: dict[str, Any] = {
    "units": "metres",
    "room": {"width": 6.0, "depth": 9.0, "height": 3.0, "reverberation": "usual"},
    "microphone": [{"name": "voice", "x": 3.0, "y": 2.0, "height": 1.5, "pattern": "cardioid"}],
    "loudspeaker": [{"name": "left", "kind": "mains", "x": 1.0, "y": 3.0, "height": 1.8}],
    "listener": {"x": 3.0, "y": 8.0, "height": 1.5},
    "need": {"ead": 1.5},
}


def with_(*path: Any, value: Any) -> Callable[[dict[str, Any]], None]:
    def change(document: dict[str, Any]) -> None:
        here: Any = document
        for key in path[:-1]:
            here = here[key]
        here[path[-1]] = value

    return change


def without(*path: Any) -> Callable[[dict[str, Any]], None]:
    def change(document: dict[str, Any]) -> None:
        here: Any = document
        for key in path[:-1]:
            here = here[key]
        del here[path[-1]]

    return change


MIC, SPEAKER = ("microphone", 0), ("loudspeaker", 0)
BAD = [
    (with_(*SPEAKER, "x", value="1.0"), "loudspeaker 'left': x='1.0' must be a number of metres"),
    (with_(*MIC, "x", value=True), "x=True must be a number"),
    (with_(*MIC, "x", value=math.nan), "x=nan must lie from"),
    (with_(*MIC, "y", value=math.inf), "y=inf must lie from"),
    (with_(*MIC, "y", value=-math.inf), "y=-inf must lie from"),
    (with_(*MIC, "x", value=1e300), "must lie from"),
    (with_(*MIC, "x", value=10**400), "must lie from"),
    (with_(*MIC, "x", value=None), "x=None must be a number"),
    (with_(*MIC, "x", value=9.5), "x 9.5 m is outside the room, which goes from 0 to 6 m"),
    (with_(*MIC, "x", value=-0.1), "outside the room"),
    (with_(*SPEAKER, "height", value=3.5), "height 3.5 m is outside the room"),
    (with_(*MIC, "pattern", value="heart"), "pattern='heart' is none of omni, subcardioid"),
    (with_(*MIC, "pattern", value=3), "pattern=3 is none of"),
    (without(*MIC, "pattern"), "pattern is missing"),
    (without(*MIC, "name"), "name is missing"),
    (with_(*MIC, "name", value="  "), "name is empty"),
    (with_(*MIC, "name", value="a\nb"), "must be text"),
    (with_(*MIC, "name", value="x" * 41), "at most 40"),
    (with_(*MIC, "mouth", value=0), "mouth=0 must lie from 0.01 to 3 metres"),
    (with_(*MIC, "open", value="yes"), "open='yes' must be true or false"),
    (with_(*MIC, "open", value=False), "no microphone is open"),
    (with_(*MIC, "tilt_deg", value=120), "tilt_deg=120 must lie from -90 to 90 degrees"),
    (with_(*MIC, "patern", value="omni"), "unknown key 'patern'; did you mean pattern?"),
    (with_(*SPEAKER, "kind", value="tops"), "kind='tops' is none of mains, wedge"),
    (with_(*SPEAKER, "coverage_deg", value=90), "must be two degrees"),
    (with_(*SPEAKER, "coverage_deg", value=[90, 0]), "coverage_deg=0 must lie from 20"),
    (with_(*SPEAKER, "name", value="voice"), "name 'voice' is given twice"),
    (with_("loudspeaker", value=[]), "no loudspeaker"),
    (with_("microphone", value=[]), "no microphone"),
    (with_("microphone", value={"name": "one"}), "where a list of"),
    (with_("microphone", value=["one"]), "microphone 1 is 'one' where a table"),
    (with_("room", "width", value=-6.0), "width=-6.0 must lie from 1 to 200 metres"),
    (with_("room", "depth", value=0), "depth=0 must lie from 1"),
    (with_("room", "depth", value=900), "depth=900 must lie from 1 to 200 metres"),
    (with_("room", "reverberation", value="boomy"), "none of dead, usual, live"),
    (with_("room", "reverberation", value=0), "reverberation=0 must lie from 0.1 to 5 s"),
    (with_("room", value=[1, 2]), "[room] is [1, 2] where a table"),
    (with_("units", value="yards"), "units='yards' is none of metres, feet"),
    (with_("need", "ead", value=0.0), "ead=0.0 must lie from"),
    (with_("listener", "y", value=12.0), "the listener: y 12 m is outside the room"),
    (with_("stage", value={}), "unknown key 'stage'"),
]


@pytest.mark.parametrize(("change", "line"), BAD, ids=[line[:40] for _, line in BAD])
def test_a_bad_value_is_one_clear_line(change: Callable[[dict[str, Any]], None], line: str) -> None:
    document = copy.deepcopy(GOOD)
    parse_stage(document)
    change(document)
    with pytest.raises(StageError, match=re.escape(line)) as caught:
        parse_stage(document)
    said = str(caught.value)
    assert "\n" not in said
    assert len(said) < 200


def test_it_is_both_an_error_of_ours_and_a_value_error() -> None:
    with pytest.raises(LanternError, match="no microphone"):
        parse_stage({})
    with pytest.raises(ValueError, match="no microphone"):
        parse_stage({})


@pytest.mark.parametrize("place", [(3.0, 2.0, 1.5), (3.05, 2.0, 1.5)])
def test_a_microphone_inside_a_loudspeaker(place: tuple[float, float, float]) -> None:
    document = copy.deepcopy(GOOD)
    document["loudspeaker"][0] |= dict(zip(("x", "y", "height"), place, strict=True))
    with pytest.raises(StageError, match="inside its cabinet; put them at least 0.2 m apart"):
        parse_stage(document)


def test_a_mouth_in_the_wall() -> None:
    document = copy.deepcopy(GOOD)
    document["microphone"][0] |= {"y": 0.1, "mouth": 0.3}
    with pytest.raises(StageError, match="the mouth at 'voice': y -0.19 m is outside the room"):
        parse_stage(document)


def test_lengths_in_feet_are_said_in_feet() -> None:
    document = copy.deepcopy(GOOD) | {"units": "feet"}
    document["room"]["height"] = 10.0
    document["microphone"][0]["x"] = 30.0
    with pytest.raises(StageError, match="x 30 ft is outside the room, which goes from 0 to 6 ft"):
        parse_stage(document)


def test_a_listener_behind_the_mains_is_a_result_with_a_warning() -> None:
    document = copy.deepcopy(GOOD)
    document["listener"] |= {"y": 1.0}
    found = reckon(parse_stage(document))
    assert any("behind 'left'" in line for line in found.cautions)
    assert math.isfinite(found.gain.spare_db)
    plain = reckon(parse_stage(copy.deepcopy(GOOD)))
    assert not any("behind" in line for line in plain.cautions)
    assert found.gain.spare_db < plain.gain.spare_db


def test_a_listener_at_the_very_place_of_a_loudspeaker_is_still_a_result() -> None:
    document = copy.deepcopy(GOOD)
    document["listener"] = {"x": 1.0, "y": 3.0, "height": 1.8}
    assert math.isfinite(reckon(parse_stage(document)).gain.spare_db)


def test_more_things_than_a_plan_may_have() -> None:
    document = copy.deepcopy(GOOD)
    one = document["microphone"][0]
    document["microphone"] = [one | {"name": f"m{i}"} for i in range(65)]
    with pytest.raises(StageError, match="65 microphones are more than the 64"):
        parse_stage(document)


@pytest.mark.parametrize("document", [[], "text", None, 3])
def test_a_document_that_is_no_table(document: Any) -> None:
    with pytest.raises(StageError, match="the stage plan is"):
        parse_stage(document)


@pytest.mark.parametrize(
    ("content", "line"),
    [
        (b"", "the stage has no microphone"),
        (b"units = ", "no TOML text"),
        (b"\xff\xfe", "no TOML text"),
        (b"x = " + b"[" * 20000, "nested too deeply|no TOML text"),
        (b"#" * (LARGEST_FILE_BYTES + 1), "more than 200000 bytes"),
        (b"[room]\nwidth = 0x" + b"f" * 5000, "width=a number without end must lie from 1 to 200"),
        (b"room = 0x" + b"f" * 5000, "where a table of keys"),
    ],
    ids=["empty", "cut off", "no text", "deep", "huge", "endless number", "endless table"],
)
def test_a_bad_file_is_one_line_that_names_it(tmp_path: Path, content: bytes, line: str) -> None:
    path = tmp_path / "stage.toml"
    path.write_bytes(content)
    with pytest.raises(StageError, match=line) as caught:
        read_stage(path)
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_file_with_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    # Some editors put U+FEFF first when they save as UTF-8; a settings file is read all the same.
    path = tmp_path / "stage.toml"
    path.write_bytes(b"\xef\xbb\xbf" + EXAMPLE.read_bytes())
    assert read_stage(path) == read_stage(EXAMPLE)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(StageError, match="cannot be read"):
        read_stage(tmp_path / "none.toml")
    with pytest.raises(StageError, match="cannot be read"):
        read_stage(tmp_path)
