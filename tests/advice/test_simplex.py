"""The linear programmes against scipy's solver, easy, degenerate and impossible ones."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import linprog

from monitor.advice.simplex import minimise


def against_scipy(cost: np.ndarray, matrix: np.ndarray, least: np.ndarray, most: np.ndarray) -> str:
    """Compare with scipy's; return what both say of the problem."""
    known = linprog(
        cost, A_ub=-matrix, b_ub=-least, bounds=[(0.0, m) for m in most], method="highs"
    )
    got = minimise(cost, matrix, least, most)
    if known.status == 2:
        assert got is None
        return "impossible"
    assert known.status == 0
    assert got is not None
    assert got.cost == pytest.approx(known.fun, abs=1e-7, rel=1e-7)
    assert np.all(matrix @ got.x >= least - 1e-7)
    assert np.all((got.x >= 0.0) & (got.x <= most))
    # Prices bound the cost from below (weak duality), and at the optimum they meet it.
    reduced = cost - got.prices @ matrix
    bound = got.prices @ least + np.minimum(reduced, 0.0) @ most
    assert bound == pytest.approx(got.cost, abs=1e-6, rel=1e-6)
    return "solved"


@pytest.mark.parametrize("seed", range(60))
def test_random_problems(seed: int) -> None:
    rng = np.random.default_rng(seed)
    rows, count = int(rng.integers(1, 25)), int(rng.integers(1, 80))
    matrix = rng.uniform(0.0, 1.0, (rows, count)) * (rng.random((rows, count)) < 0.4)
    cost = rng.uniform(-0.2 if seed % 3 == 0 else 0.0, 1.0, count)
    most = rng.uniform(0.0, 12.0, count)
    least = rng.uniform(-1.0, 0.9, rows) * (matrix @ most)
    assert against_scipy(cost, matrix, least, most) == "solved"


@pytest.mark.parametrize("seed", range(30))
def test_degenerate_problems(seed: int) -> None:
    """Whole numbers, equal costs, rows twice: ties everywhere."""
    rng = np.random.default_rng(1000 + seed)
    rows, count = int(rng.integers(2, 15)), int(rng.integers(3, 30))
    matrix = rng.integers(0, 2, (rows, count)).astype(float)
    matrix = np.vstack([matrix, matrix[:2]])
    most = np.full(count, 3.0)
    least = np.minimum(rng.integers(0, 4, rows + 2), matrix @ most).astype(float)
    assert against_scipy(np.ones(count), matrix, least, most) == "solved"


@pytest.mark.parametrize("seed", range(30))
def test_impossible_problems(seed: int) -> None:
    rng = np.random.default_rng(2000 + seed)
    rows, count = int(rng.integers(1, 10)), int(rng.integers(1, 30))
    matrix = rng.uniform(-0.5, 1.0, (rows, count))
    most = rng.uniform(0.0, 6.0, count)
    least = np.maximum(matrix, 0.0) @ most * 0.3
    row = int(rng.integers(rows))
    least[row] = np.maximum(matrix[row], 0.0) @ most + 0.01
    assert against_scipy(rng.uniform(0.0, 1.0, count), matrix, least, most) == "impossible"


def test_rows_that_pull_both_ways() -> None:
    """Feasible or not by chance; scipy says which, and both occur."""
    rng = np.random.default_rng(7)
    said = {
        against_scipy(
            rng.uniform(-1.0, 1.0, 8),
            rng.uniform(-1.0, 1.0, (6, 8)),
            rng.uniform(-1.0, 1.0, 6),
            np.full(8, 1.0),
        )
        for _ in range(60)
    }
    assert said == {"solved", "impossible"}


def test_the_careful_rule_alone_solves_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """Bland's rule, which otherwise only long runs see."""
    from monitor.advice import simplex

    plain = simplex._Tableau.step
    monkeypatch.setattr(
        simplex._Tableau, "step", lambda self, *, careful: plain(self, careful=True)
    )
    for seed in range(20):
        rng = np.random.default_rng(seed)
        matrix = rng.integers(0, 3, (8, 15)).astype(float)
        least = 0.5 * matrix @ np.full(15, 2.0)
        assert against_scipy(np.ones(15), matrix, least, np.full(15, 2.0)) == "solved"


def test_nothing_asked_for_costs_nothing() -> None:
    got = minimise(np.ones(3), np.zeros((0, 3)), np.zeros(0), np.ones(3))
    assert got is not None
    assert got.x.tolist() == [0.0, 0.0, 0.0]


@pytest.mark.parametrize(
    ("cost", "most", "message"),
    [
        (np.ones(2), np.ones(3), "do not fit together"),
        (np.ones(3), np.array([1.0, np.inf, 1.0]), "finite and not negative"),
        (np.ones(3), np.array([1.0, -1.0, 1.0]), "finite and not negative"),
    ],
)
def test_what_is_no_problem_is_refused(cost: np.ndarray, most: np.ndarray, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        minimise(cost, np.ones((1, 3)), np.zeros(1), most)
