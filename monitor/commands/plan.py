"""``howl-lantern plan``: a stage plan reckoned and drawn, from its file."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path

from monitor.errors import UsageError
from monitor.output_file import check_outputs
from monitor.placing.drawing import plan_picture
from monitor.placing.picture_file import write_png, write_svg
from monitor.placing.reckon import reckon
from monitor.placing.shapes import Theme
from monitor.placing.stage import Units
from monitor.placing.stage_file import EXAMPLE, read_stage
from monitor.placing.table import report


@dataclass(frozen=True, slots=True)
class Wish:
    """What is asked for: the plan, the files to draw, and how lengths are said (None: as it is)."""

    stage: str | None
    svg: str | None = None
    png: str | None = None
    json: bool = False
    units: Units | None = None
    theme: Theme = "night"
    example: bool = False


def run(wish: Wish) -> int:
    """Print what a stage plan comes to and draw what is asked for.

    Raises
    ------
    StageError
        If the plan is wrong: one line with the file and the thing.
    UsageError
        If no plan is named, or a picture would overwrite the plan or the other picture.
    LanternError
        If a picture cannot be written.
    """
    if wish.example:
        print(EXAMPLE.read_text(encoding="utf-8"), end="")
        return 0
    if wish.stage is None:
        raise UsageError("name a stage plan, a TOML file; --example prints one to begin with")
    check_outputs(
        {"--svg": wish.svg, "--png": wish.png}, {"the stage plan itself": Path(wish.stage)}
    )
    stage = read_stage(wish.stage)
    if wish.units is not None:
        stage = replace(stage, units=wish.units)
    reckoning = reckon(stage)
    for name, write in ((wish.svg, write_svg), (wish.png, write_png)):
        if name is not None:
            write(Path(name), plan_picture(stage, reckoning, caption=True), theme=wish.theme)
    if wish.json:
        print(json.dumps(reckoning.fields(), allow_nan=False))
    else:
        print(report(stage, reckoning))
    return 0
