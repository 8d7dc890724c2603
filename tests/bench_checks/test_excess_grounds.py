"""The study of what tells a loop time: it finds what there is to find, and nothing else."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.bench.excess_grounds import SETS, Ground, ground, left_out_errors, table

NAMES = sorted({name for names in SETS for name in names})


def made_up(*, spacing_known: bool = True) -> list[Ground]:
    """Rooms whose loop time is their T60's, by hand, with a spread of 0.1 beside it."""
    rng = np.random.default_rng(3)
    found = []
    for _ in range(200):
        known = {name: float(rng.standard_normal()) for name in NAMES}
        if not spacing_known:
            known["spacing of rings"] = math.nan
        found.append(Ground(0.8 * known["T60"] + 0.1 * float(rng.standard_normal()), known))
    return found


def test_what_explains_is_told_from_what_does_not() -> None:
    rows = {name: (count, spread) for name, count, spread, _ in table(made_up())}
    assert rows["frequency"][1] == pytest.approx(0.8, abs=0.12)
    assert rows["frequency + distance"][1] == pytest.approx(0.8, abs=0.12)
    assert rows["frequency + T60"][1] == pytest.approx(0.1, abs=0.02)


def test_errors_are_those_of_rooms_left_out() -> None:
    rng = np.random.default_rng(1)
    known, log_time = rng.standard_normal((12, 2)), rng.standard_normal(12)
    errors = left_out_errors(log_time, known)
    others = np.arange(12) != 4
    columns = np.column_stack([np.ones(12), known])
    by_hand = np.linalg.lstsq(columns[others], log_time[others], rcond=None)[0]
    assert errors[4] == pytest.approx(log_time[4] - columns[4] @ by_hand)


def test_rooms_of_which_something_is_not_known_are_left_out_there() -> None:
    grounds = made_up(spacing_known=False)[:50] + made_up()[50:]
    counts = {name: count for name, count, _, _ in table(grounds)}
    assert counts["frequency + spacing of rings"] == 150
    assert counts["frequency"] == 200


def test_a_room_is_told_with_all_that_may_be_known() -> None:
    one = ground(60_003)
    assert set(NAMES) <= set(one.known)
    assert 0.002 <= math.exp(one.log_time) <= 1.0
