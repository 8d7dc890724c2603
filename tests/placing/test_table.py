"""The reckoning as text: whole, in the plan's units, lined up, and honest about its ranges."""

from __future__ import annotations

import dataclasses
import re

import pytest

from monitor.placing.reckon import reckon
from monitor.placing.stage import FOOT_M
from monitor.placing.table import WIDTH, report
from tests.placing.drawn import a_stage, many_microphones


def blocks(text: str) -> list[list[str]]:
    return [block.splitlines() for block in text.split("\n\n")]


def test_everything_that_was_reckoned_is_said() -> None:
    stage = a_stage()
    reckoning = reckon(stage)
    text = " ".join(report(stage, reckoning).split())
    assert text.startswith("The Ferry Lamps: 7 x 10 x 3 m, rings on for 0.6 s (usual)")
    for line in (reckoning.sentence, *reckoning.unknown, *reckoning.cautions):
        assert " ".join(line.split()) in text
    for change in reckoning.changes:
        span = f"({round(change.low_db)} to {round(change.high_db)})"
        assert f"+{change.gain_db:.1f} dB {span} {change.words}" in text


def test_pairs_stand_in_columns_and_the_limiting_one_says_so() -> None:
    stage = a_stage()
    reckoning = reckon(stage)
    (table,) = (b for b in blocks(report(stage, reckoning)) if b[0].startswith("microphone"))
    assert len(table) == 1 + len(reckoning.pairs)
    ends = [re.search(r"( m| distance)\b", line).end() for line in table]  # type: ignore[union-attr]
    assert len(set(ends)) == 1
    for line, pair in zip(table[1:], reckoning.pairs, strict=True):
        assert line.startswith(pair.microphone)
        assert line.endswith("limits") == pair.limits
        assert f"{pair.distance_m:.1f}".removesuffix(".0") + " m" in line


def test_feet_are_feet() -> None:
    stage = dataclasses.replace(a_stage(), units="feet")
    reckoning = reckon(stage)
    text = report(stage, reckoning)
    first = reckoning.pairs[0]
    assert "23 x 32.8 x 9.84 ft" in text
    assert f"{first.distance_m / FOOT_M:.1f} ft" in text
    assert not re.search(r"\d m\b", text)


def test_lines_are_folded_and_points_indented() -> None:
    text = report(a_stage(), reckon(a_stage()))
    prose = [b for b in blocks(text) if b[0] in ("not known:", "mind:")]
    assert len(prose) == 2
    for block in prose:
        assert all(line.startswith(("  - ", "    ")) for line in block[1:])
        assert all(len(line) <= WIDTH for line in block)


def test_a_stage_that_no_change_helps_says_so() -> None:
    stage = a_stage()
    reckoning = dataclasses.replace(reckon(stage), changes=())
    assert "none brings a decibel" in report(stage, reckoning)


@pytest.mark.parametrize("spare_db", [-0.04, 0.04])
def test_no_minus_zero(spare_db: float) -> None:
    stage = a_stage()
    reckoning = reckon(stage)
    pairs = tuple(dataclasses.replace(p, off_loudspeaker_db=spare_db) for p in reckoning.pairs)
    gain = dataclasses.replace(reckoning.gain, low_db=spare_db, high_db=spare_db)
    text = report(stage, dataclasses.replace(reckoning, pairs=pairs, gain=gain))
    assert not re.search(r"-0(\.0)?\b(?!\.)", text)


def test_forty_microphones_have_a_line_each() -> None:
    stage = many_microphones(40)
    text = report(stage, reckon(stage))
    assert all(f"voice {i} " in text for i in range(40))
