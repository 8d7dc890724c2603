"""The plan against the practice stage's simulated rooms, on a few stages; the bench has 50."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from monitor.placing.loop import Reckoner
from monitor.placing.reckon import reckon
from monitor.placing.stage import Stage
from monitor.stage import room as practice_room
from monitor.stage.images import Images
from monitor.stage.room import _T60_OF_BAND, Room, responses
from tests.bench.placing import Result, Trial, measure, rows, summary
from tests.bench.placing_room import as_room, feedback, walls_kept
from tests.bench.placing_stage import RATE_HZ, random_stage, simulated_spare_db


def both(stage: Stage, seed: int) -> tuple[float, float]:
    """Return the spare gain by the plan and by the simulation, the mean of three."""
    room_db = sum(simulated_spare_db(stage, seed + i) for i in range(3)) / 3.0
    return Reckoner(stage.room).loop(stage).spare_db, room_db


def test_stages_are_invented_the_same_each_time_and_differ() -> None:
    assert random_stage(7) == random_stage(7)
    assert len({random_stage(seed).room for seed in range(5)}) == 5


def test_one_way_is_the_practice_stage_s_own(monkeypatch: pytest.MonkeyPatch) -> None:
    # monitor.stage.room.responses is what the practice stage is made of; here with the same walls.
    def same_walls(room: Room, found: Images, *, t60_s: float, heard: np.ndarray) -> float:
        kept = walls_kept(room.size_m, room.t60_s)
        return kept[[round(room.t60_s * r, 9) for r in _T60_OF_BAND].index(round(t60_s, 9))]

    stage = random_stage(1003)
    whole = as_room(stage.room, stage.loudspeakers[0], stage.microphones[0], seed=5)
    walls_kept(whole.size_m, whole.t60_s)
    # The module that was imported above: other tests import the practice stage anew.
    monkeypatch.setattr(practice_room, "wall_reflection", same_walls)
    known = responses(whole, RATE_HZ)
    taps, delay_s = feedback(whole, RATE_HZ)
    assert delay_s == known.shortest_s
    np.testing.assert_allclose(taps, known.feedback, atol=1e-6 * np.abs(taps).max())


def test_mains_from_behind_the_singer_to_well_forward() -> None:
    stage = random_stage(1021)
    behind = replace(stage, loudspeakers=tuple(replace(one, y_m=0.6) for one in stage.loudspeakers))
    forward = replace(
        stage,
        loudspeakers=tuple(
            replace(one, y_m=stage.microphones[0].y_m + 2.5) for one in stage.loudspeakers
        ),
    )
    (plan, room), (plan_then, room_then) = both(behind, 1), both(forward, 1)
    # The simulation's loop by the Nyquist criterion is what is true here.
    assert room_then - room > 4.0
    assert plan_then - plan == pytest.approx(room_then - room, abs=3.0)
    assert reckon(behind).changes


def test_the_spare_gain_itself_is_not_far_off() -> None:
    off = [a - b for a, b in (both(random_stage(seed), seed) for seed in (1003, 1016, 1023))]
    assert sum(abs(one) for one in off) / len(off) < 3.0


def test_a_change_measured_in_both() -> None:
    result = measure(1003, 1)
    assert result.trials
    assert {trial.family for trial in result.trials} >= {"mains-forward", "microphone-1-pattern"}
    assert not any("mouth" in trial.family for trial in result.trials)
    assert len(rows(result)) == len(result.trials) + 1


def test_the_bench_tells_a_good_plan_from_a_bad_one() -> None:
    def made(*pairs: tuple[float, float]) -> list[Result]:
        trials = tuple(Trial(f"f{i}", "moved", *pair) for i, pair in enumerate(pairs))
        return [Result(0, 5.0, 5.0, trials)]

    good = made((6.0, 6.2), (2.0, 1.5), (0.0, 0.1))
    bad = made((6.0, -1.0), (2.0, 1.5), (0.0, 4.1))
    assert good[0].rank == 1
    assert good[0].lost_db == 0.0
    assert bad[0].rank == 3
    assert bad[0].lost_db == pytest.approx(5.1)
    assert any("100%" in line and "first two" in line for line in summary(good))
    assert any("  0%" in line and "first two" in line for line in summary(bad))
