"""``howl-lantern plan``: what it prints and draws, and one line for whatever is wrong."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from monitor import cli
from monitor.commands.plan import EXAMPLE
from monitor.placing.stage import FOOT_M
from monitor.placing.stage_file import parse_stage

Run = tuple[int, str, str]
PLAN = """\
[room]
width = 7
depth = 10
height = 3
[[microphone]]
name = "lead vocal"
x = 3.5
y = 1.8
pattern = "cardioid"
[[loudspeaker]]
name = "wedge"
kind = "wedge"
x = 3.2
y = 2.9
"""


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    path = tmp_path / "stage.toml"
    path.write_text(PLAN)
    return path


def run(capsys: pytest.CaptureFixture[str], *words: str | Path) -> Run:
    try:
        code = cli.main(["plan", *map(str, words)])
    except SystemExit as exit_:
        code = int(exit_.code or 0)
    return code, *capsys.readouterr()


def test_it_says_what_limits(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, plan)
    assert (code, err) == (0, "")
    assert "'wedge' into 'lead vocal' limits" in " ".join(out.split())
    assert list(plan.parent.iterdir()) == [plan], "nothing is written that was not asked for"


def test_json_is_one_line_with_everything(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "--json", plan)
    assert (code, err, out.count("\n")) == (0, "", 1)
    fields = json.loads(out)
    assert {"units", "gain", "pairs", "changes", "sentence", "unknown", "cautions"} <= set(fields)
    assert fields["pairs"][0]["limits"] is True
    for change in fields["changes"]:
        parse_stage(change["stage"])


def test_lengths_are_said_as_asked(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    metres = json.loads(run(capsys, "--json", plan)[1])
    feet = json.loads(run(capsys, "--json", "--feet", plan)[1])
    assert (metres["units"], feet["units"]) == ("metres", "feet")
    ratio = metres["pairs"][0]["distance"] / feet["pairs"][0]["distance"]
    assert ratio == pytest.approx(FOOT_M, abs=0.002)
    plan.write_text('units = "feet"\n' + PLAN.replace("height = 3", "height = 10"))
    assert json.loads(run(capsys, "--json", plan)[1])["units"] == "feet"
    assert json.loads(run(capsys, "--json", "--metres", plan)[1])["units"] == "metres"


def test_both_pictures_are_drawn(
    plan: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    svg, png = tmp_path / "plan.svg", tmp_path / "plan.png"
    assert run(capsys, plan, "--svg", svg, "--png", png, "--day")[0] == 0
    assert ET.parse(svg).getroot().tag.endswith("svg")
    assert png.read_bytes().startswith(b"\x89PNG")
    assert "#f8f4ea" in svg.read_text()


def test_the_example_is_a_plan_that_can_be_used(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = run(capsys, "--example")
    assert (code, out) == (0, EXAMPLE.read_text())
    path = tmp_path / "mine.toml"
    path.write_text(out)
    assert run(capsys, path)[0] == 0


# --- what is wrong, in one line -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("broken", "says"),
    [
        (PLAN.replace("x = 3.5", "x = 9.5"), "'lead vocal': x 9.5 m is outside the room"),
        (PLAN.replace("cardioid", "kardioid"), "pattern='kardioid' is none of omni"),
        (PLAN.replace("x = 3.5", 'x = "left"'), "x='left' must be a number of metres"),
        (PLAN.replace("x = 3.5", "x = nan"), "x=nan must lie from"),
        (PLAN.replace("width = 7", "widht = 7"), "did you mean width?"),
        (PLAN.replace("x = 3.5", "x = "), "no TOML text"),
        ("", "no microphone"),
    ],
)
def test_a_bad_plan_is_one_line_with_file_and_place(
    broken: str, says: str, plan: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan.write_text(broken)
    code, out, err = run(capsys, plan, "--svg", tmp_path / "plan.svg")
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert str(plan) in err
    assert says in err
    assert not (tmp_path / "plan.svg").exists()


def test_a_file_that_is_not_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = run(capsys, tmp_path / "none.toml")
    assert (code, err.count("\n")) == (2, 1)
    assert "none.toml: cannot be read (No such file" in err


def test_no_plan_named(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys)
    assert (code, out) == (2, "")
    assert "name a stage plan, a TOML file; --example prints one" in err


def test_feet_and_metres_at_once(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = run(capsys, "--feet", "--metres", plan)
    assert code == 2
    assert "not allowed with argument" in err


def test_a_picture_never_overwrites_the_plan_or_the_other_picture(
    plan: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, _, err = run(capsys, plan, "--svg", plan)
    assert (code, err.count("\n")) == (2, 1)
    assert "that is the stage plan itself" in err
    assert plan.read_text() == PLAN
    code, _, err = run(capsys, plan, "--svg", tmp_path / "a", "--png", tmp_path / "." / "a")
    assert code == 2
    assert "that is what --svg writes" in err


def test_a_folder_that_is_not_there(
    plan: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, _, err = run(capsys, plan, "--png", tmp_path / "no" / "plan.png")
    assert (code, err.count("\n")) == (1, 1)
    assert "cannot be written (No such file or directory); name a file in a folder" in err
