"""The benchmark's statistics beside closed forms and scipy, and its figures beside a hand count."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from scipy.stats import binom, poisson

from tests.bench.figures import (
    HOWLS_AN_HOUR,
    axes_of,
    loop_figures,
    precision,
    quantile,
    rate,
    share,
)
from tests.bench.replay import PLAIN
from tests.bench.report import Goal, cell, print_all, verdict
from tests.bench.results import as_json, curve
from tests.bench_checks.made_up import FACTS, ROWS, results


@pytest.mark.parametrize(("count", "of"), [(0, 40), (7, 40), (40, 40)])
def test_a_share_has_the_exact_interval(count: int, of: int) -> None:
    """Each limit leaves 2.5 % beyond the count (C. J. Clopper, E. S. Pearson, 1934)."""
    found = share(count, of)
    assert found.value == pytest.approx(100.0 * count / of)
    if count > 0:
        assert binom.sf(count - 1, of, found.low / 100.0) == pytest.approx(0.025, rel=1e-6)
    if count < of:
        assert binom.cdf(count, of, found.high / 100.0) == pytest.approx(0.025, rel=1e-6)


@pytest.mark.parametrize("count", [0, 1, 12])
def test_a_rate_has_the_exact_interval(count: int) -> None:
    """At each end, so few or so many events come in 2.5 % of all cases (F. Garwood, 1936)."""
    hours = 2.5
    found = rate(count, hours)
    assert found.value == pytest.approx(count / hours)
    assert poisson.cdf(count, found.high * hours) == pytest.approx(0.025, rel=1e-6)
    if count > 0:
        assert poisson.sf(count - 1, found.low * hours) == pytest.approx(0.025, rel=1e-6)
    else:
        assert found.low == 0.0
        assert found.high == pytest.approx(-math.log(0.025) / hours)


def test_a_quantile_lies_within_its_interval_and_misses_count() -> None:
    values = np.random.default_rng(3).normal(1.0, 0.2, 400)
    found = quantile(values, 0.5)
    assert found.low < 1.0 < found.high
    # The median's standard error, 1.2533 sigma / sqrt(n), twice each way.
    assert found.high - found.low == pytest.approx(4.0 * 1.2533 * 0.2 / 20.0, rel=0.3)
    assert math.isinf(quantile([0.1, 0.2, math.inf], 0.95).value)
    assert quantile([0.1, 0.2, math.inf], 0.5).value == 0.2


def test_nothing_to_count_is_no_figure() -> None:
    for empty in (share(0, 0), rate(0, 0.0), quantile([], 0.5)):
        assert math.isnan(empty.value)
        assert cell(empty, "%") == "-"


def test_figures_of_two_judged_loops() -> None:
    found = loop_figures(results().loops, ("set", PLAIN))
    assert found["caught"].value == 50.0
    assert found["caught"].count == 2
    assert math.isinf(found["howl_95_s"].value)
    assert found["caught_95_s"].value == pytest.approx(0.2)
    assert found["before_louder"].value == 50.0
    assert found["ringing_before"].value == 50.0
    assert found["closed_in_time"].value == 50.0
    # One false howl and three false ringings in three runs of 36 s.
    assert found["false_howls"].value == pytest.approx(1 / 0.03)
    assert found["false_ringings"].value == pytest.approx(3 / 0.03)
    assert math.isnan(loop_figures(results().loops, ("hand rule", PLAIN))["ringing_before"].value)


def test_precision_by_hand() -> None:
    assert precision(100.0, HOWLS_AN_HOUR) == pytest.approx(50.0)
    assert precision(50.0, 0.0) == pytest.approx(100.0)
    assert math.isnan(precision(0.0, 0.0))


def test_every_run_falls_in_one_bin_of_each_axis() -> None:
    loops = results().loops
    for axis in axes_of(loops):
        assert all(axis.bin_of(loop.facts) in axis.bins for loop in loops)
    (t60,) = [axis for axis in axes_of(loops) if axis.name == "T60"]
    assert t60.bin_of(FACTS) == "0.4 to 0.7 s"


def test_a_goal_is_met_or_not_in_its_rows() -> None:
    goal = Goal(2.0, rows=("set",))
    assert verdict(goal, "set", rate(2, 1.0)) == " met"
    assert verdict(goal, "set", rate(3, 1.0)) == " short"
    assert verdict(goal, "hand rule", rate(3, 1.0)) == ""
    assert Goal(99.5, at_least=True).met(99.6)
    assert not Goal(99.5, at_least=True).met(99.4)


def test_the_tables_name_the_worst_package(capsys: pytest.CaptureFixture[str]) -> None:
    print_all(results(), [], rows=[name for name, _ in ROWS])
    printed = capsys.readouterr().out
    assert "music: packed, 2.0 howls an hour in set" in printed
    assert "howls caught before somebody acts" in printed
    assert "50.0 (1.3 to 98.7) short" in printed


def test_the_curve_holds_every_group_apart() -> None:
    (point,) = [point for point in curve(results()) if point.row == ("set", PLAIN)]
    assert set(point.false_howls) == {"music"}
    assert point.false_howls["music"].value == pytest.approx(0.5)
    assert point.false_ringings["music"].value == pytest.approx(1.0)
    assert point.precision == {"music": pytest.approx(100.0 * 3.0 / 3.5)}


def test_json_has_null_for_never() -> None:
    content = json.loads(as_json(results()))
    assert content["figures"]["set +0"]["howl_95_s"]["value"] is None
    assert content["figures"]["set +0"]["caught"]["value"] == 50.0
    assert len(content["loops"]) == 4
    assert content["sounds"][0]["flagged"]["set +0"][0]["end_s"] is None
