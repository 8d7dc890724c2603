"""The literature beside us: alarms as they would be heard, thresholds chosen as is said."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from tests.bench.criteria import THRESHOLDS, Alarm, Points, alarm_count, alarms, answers
from tests.bench.material import SAMPLE_RATE_HZ
from tests.bench.published import (
    LoopFindings,
    Part,
    SoundFindings,
    as_json,
    best_threshold,
    judge,
    print_rows,
    quiet_threshold,
    row_of,
    table,
)
from tests.bench.scoring import Truth
from tests.bench_checks.made_up import FACTS, OVERTAKE_S, RINGS_HZ, howling

TRIED: dict[str, np.ndarray] = {"soundcheck": np.ones(1), "set": np.ones(1), **THRESHOLDS}
IPMP = "IPMP"


def _howl(frequency_hz: float) -> np.ndarray:
    """A line that climbs by 40 dB in a second out of faint noise and stands for three."""
    t = np.arange(4 * SAMPLE_RATE_HZ) / SAMPLE_RATE_HZ
    noise = 1e-4 * np.random.default_rng(2).standard_normal(len(t))
    level = 10.0 ** ((-70.0 + 40.0 * np.minimum(t, 1.0)) / 20.0)
    return (level * np.sin(2.0 * np.pi * frequency_hz * t) + noise).astype(np.float32)


def _points(*flags: tuple[float, float], score: float = 1.0) -> Points:
    time_s, hz = np.array(flags).T
    return Points(time_s, hz, np.full(len(flags), score), bin_hz=10.0)


def _part(
    caught: list[bool], false_count: list[int], *, ours_false: int = 0, way: str = IPMP
) -> Part:
    """One loop overtaken at 3 s and one hour of music; howls of one way at its thresholds."""
    howl_s = {name: np.full(len(tried), math.nan) for name, tried in TRIED.items()}
    false_howls = {name: np.zeros(len(tried), int) for name, tried in TRIED.items()}
    in_loops = {name: np.zeros(len(tried), int) for name, tried in TRIED.items()}
    howl_s[way] = np.where(caught, 3.2, math.nan)
    false_howls[way] = np.array(false_count)
    false_howls["set"][:] = ours_false
    return Part([LoopFindings(FACTS, howl_s, in_loops)], [SoundFindings("music", 1.0, false_howls)])


def test_flags_of_one_line_are_one_alarm_from_first_to_last() -> None:
    points = _points((1.4, 1001.0), (1.0, 1000.0), (1.8, 1000.0))
    assert alarms(points) == [Alarm(1.0, 1.8, 1000.0)]
    assert alarm_count(points) == 1


def test_a_pause_or_another_frequency_is_another_alarm() -> None:
    points = _points((1.0, 1000.0), (1.6, 1000.0), (1.0, 2000.0))
    assert [alarm.begin_s for alarm in alarms(points)] == [1.0, 1.6, 1.0]
    assert alarm_count(points) == 3
    none = points.part(np.zeros(3, bool))
    assert (alarm_count(none), alarms(none)) == (0, [])


def test_every_criterion_flags_a_howl_where_it_is() -> None:
    found = answers(_howl(1234.0), sample_rate_hz=SAMPLE_RATE_HZ)
    assert set(found) == set(THRESHOLDS)
    for name, points in found.items():
        late = points.time_s > 3.5
        near = np.abs(points.frequency_hz - 1234.0) < 3.0
        assert (late & near).any(), name


def test_nothing_is_flagged_in_silence() -> None:
    found = answers(np.zeros(SAMPLE_RATE_HZ, np.float32), sample_rate_hz=SAMPLE_RATE_HZ)
    assert [name for name, points in found.items() if len(points.time_s)] == []


def test_a_flag_is_right_at_the_ring_and_false_elsewhere() -> None:
    truth = Truth(howling())
    right = _points((OVERTAKE_S, RINGS_HZ), (OVERTAKE_S + 0.1, RINGS_HZ))
    howl_s, false_count = judge(right, np.array([0.5, 2.0]), truth)
    assert howl_s[0] == OVERTAKE_S
    assert math.isnan(howl_s[1])
    assert list(false_count) == [0, 0]
    howl_s, false_count = judge(_points((OVERTAKE_S, 3.0 * RINGS_HZ)), np.array([0.5]), truth)
    assert math.isnan(howl_s[0])
    assert list(false_count) == [1]


def test_the_best_threshold_is_the_strictest_of_equals() -> None:
    part = _part([True, True, True, True, False], [9, 5, 1, 1, 0])
    assert best_threshold(part, IPMP) == 3
    assert part.f1(IPMP)[0] == pytest.approx(2.0 / 11.0)


def test_as_quiet_is_the_loosest_that_is() -> None:
    assert quiet_threshold(_part([False] * 5, [9, 5, 2, 2, 2], ours_false=5), IPMP) == 1
    assert quiet_threshold(_part([False] * 5, [9, 5, 2, 2, 2], ours_false=1), IPMP) is None


def test_thresholds_are_chosen_on_the_tuning_part_alone(
    capsys: pytest.CaptureFixture[str],
) -> None:
    tuning = _part([False, True, False, False, False], [9, 0, 0, 0, 0])
    scoring = _part([False, False, False, False, True], [0, 0, 0, 0, 0])
    entries = table(tuning, scoring)
    chosen = next(entry for entry in entries if entry["way"] == IPMP)
    assert chosen["threshold"] == pytest.approx(0.4)
    assert chosen["figures"]["caught"].value == 0.0
    print_rows(entries)
    out = capsys.readouterr().out
    assert [name for name in TRIED if name not in out] == []
    written = json.loads(as_json(entries))
    assert [entry["way"] for entry in written] == [entry["way"] for entry in entries]
    never = next(entry for entry in written if entry["way"] == IPMP)
    assert never["figures"]["howl_median_s"]["value"] is None


def test_figures_of_a_row_are_those_of_its_loops_and_sounds() -> None:
    part = _part([True] * 5, [3] * 5)
    apart = Part([*part.loops, replace(part.loops[0])], part.sounds)
    row = row_of(apart, IPMP, 0, "best F1")
    assert row["figures"]["howl_median_s"].value == pytest.approx(0.2)
    assert row["false_howls"]["music"].value == pytest.approx(3.0)
    assert "speech" not in row["false_howls"]
    assert row["precision"] == pytest.approx(2.0 / 5.0)
    assert row["f1"] == pytest.approx(4.0 / 7.0)
