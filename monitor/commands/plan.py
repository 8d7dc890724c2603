"""``howl-lantern plan``: a stage plan reckoned and drawn, from its file."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path

from monitor.errors import UsageError
from monitor.placing.drawing import write_png, write_svg
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
    _check_targets(wish.stage, wish.svg, wish.png)
    stage = read_stage(wish.stage)
    if wish.units is not None:
        stage = replace(stage, units=wish.units)
    reckoning = reckon(stage)
    if wish.svg is not None:
        write_svg(wish.svg, stage, reckoning, theme=wish.theme)
    if wish.png is not None:
        write_png(wish.png, stage, reckoning, theme=wish.theme)
    if wish.json:
        print(json.dumps(reckoning.fields(), allow_nan=False, ensure_ascii=False))
    else:
        print(report(stage, reckoning))
    return 0


def _check_targets(stage: str, svg: str | None, png: str | None) -> None:
    """Refuse to draw over the plan, or one picture over the other."""
    taken = {Path(stage).resolve(): "the stage plan itself"}
    for option, name in (("--svg", svg), ("--png", png)):
        if name is None:
            continue
        path = Path(name).resolve()
        if path in taken:
            raise UsageError(f"{option} {name}: that is {taken[path]}; name another file")
        taken[path] = f"what {option} writes"
