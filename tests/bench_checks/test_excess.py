"""The table of excess counts what it says, and its runs are no others' runs."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, replace

import numpy as np
import pytest

from monitor.advice.margin import Excess
from monitor.stage.nyquist import Critical
from tests.bench.excess import (
    EXCESS_SEEDS_FROM,
    Case,
    Heard,
    Told,
    figures,
    mode_of,
    print_tables,
    score,
)
from tests.bench.sources import SCORED_SEEDS_FROM
from tests.bench.trials import STABLE_SEEDS_FROM

RATE_HZ = 48000


def case(excess_db: float, told_db: float, pull_db: float, after_db: float) -> Case:
    told = Told(
        before=Excess(told_db, told_db / 2.0, told_db * 2.0, ""),
        pull_db=pull_db,
        after=Excess(after_db, after_db - 0.5, after_db + 0.5, ""),
        others_before=None,
        others_after=None,
    )
    plain = Case(1, "mains", "push", 0.5, heard=True, excess_db=excess_db)
    return replace(plain, slope_db_per_s=20.0, growth_db_per_s=22.0, told={"unknown": told})


def test_figures_by_hand() -> None:
    cases = [
        case(2.0, 2.9, 6.0, 2.4),  # 1.45 times; stops; 1.2 of the needed; 0.4 dB off
        case(2.0, 3.1, 12.0, 3.1),  # 1.55 times; 2.4 of the needed; 1.1 dB off
        case(4.0, 1.0, 3.0, 3.2),  # a quarter: not held, not stopped
        replace(case(9.0, 1.0, 1.0, 1.0), told=None),
    ]
    found = figures(cases, "unknown")
    assert found == {
        "runs": 3,
        "factor 1.5": pytest.approx(100 / 3),
        "holds": pytest.approx(200 / 3),
        "1 dB after": pytest.approx(200 / 3),
        "holds after": pytest.approx(100 / 3),
        "stops": pytest.approx(200 / 3),
        "< 2x needed": pytest.approx(200 / 3),
        "pull/needed": pytest.approx(1.2),
    }
    assert math.isnan(figures([], "unknown")["stops"])


def test_a_flag_is_at_the_nearest_unstable_frequency_or_at_none() -> None:
    truth = tuple(Critical(f, -1.0, 0.05, 20.0) for f in (1000.0, 1010.0, 90.0))
    assert mode_of(1008.0, truth) is truth[1]
    assert mode_of(95.0, truth) is truth[2]
    assert mode_of(1030.0, truth) is None


def test_the_trace_is_the_line_s_level_up_to_a_moment() -> None:
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    sine = 0.1 * np.sin(2.0 * np.pi * 1000.0 * t) + 1e-4 * np.sin(2.0 * np.pi * 100.0 * t)
    heard = Heard(sine.astype(np.float32), RATE_HZ)
    for frequency_hz, level_dbfs in ((1000.0, -20.0), (100.0, -80.0)):
        points = heard.trace(frequency_hz, 1.5)._points
        assert max(at_s for at_s, _, _ in points) <= 1.5
        # Three bins of a Hann window's main lobe hold 1.5 times the middle one's power.
        assert points[-1][1] == pytest.approx(level_dbfs + 10.0 * math.log10(1.5), abs=1.0)


def test_no_run_is_one_of_those_that_constants_were_chosen_on() -> None:
    assert EXCESS_SEEDS_FROM > SCORED_SEEDS_FROM
    assert EXCESS_SEEDS_FROM - STABLE_SEEDS_FROM >= 10_000


def test_a_run_is_scored_and_shown(capsys: pytest.CaptureFixture[str]) -> None:
    scored = score(30_001)
    assert scored.told is not None
    assert scored.excess_db > 0.0
    assert set(scored.told) == {"known", "unknown"}
    print_tables([scored, replace(scored, told=None)])
    shown = capsys.readouterr().out
    assert "2 runs; a right howl in time in 2, a slope in 1" in shown
    assert "all, T60 known" in shown
    json.loads(json.dumps(asdict(scored), allow_nan=False))
