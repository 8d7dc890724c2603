"""Small linear programmes, solved exactly: the dual simplex method with bounds on both sides.

Minimise cost @ x subject to matrix @ x >= least and 0 <= x <= most.  With every variable bounded
above, setting each to the bound that its cost prefers satisfies the dual at once, so that no first
phase is needed.  Dense and meant for some hundred variables and some tens of rows.

Source: the textbook method, as in V. Chvatal, *Linear Programming*, ch. 8 and 10; ties are broken
by R. Bland's rule of the lowest index once the method has gone on for long, so it ends.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

_FEASIBLE = 1e-9
_PIVOT = 1e-9
"""Rounding errors in sums of some hundred decibels stay far below both."""


class Optimum(NamedTuple):
    """The solution, its cost, and the price of each row: cost for one more of ``least``."""

    x: np.ndarray
    cost: float
    prices: np.ndarray


def minimise(
    cost: np.ndarray, matrix: np.ndarray, least: np.ndarray, most: np.ndarray
) -> Optimum | None:
    """Return the optimum, or None if nothing satisfies all rows.

    Parameters
    ----------
    cost : np.ndarray [shape=(n,)]
    matrix : np.ndarray [shape=(m, n)]
    least : np.ndarray [shape=(m,)]
    most : np.ndarray [shape=(n,)], 0 or more and finite

    Raises
    ------
    ValueError
        If the shapes do not fit, or a bound is negative or not finite.
    """
    rows, count = matrix.shape
    if cost.shape != (count,) or most.shape != (count,) or least.shape != (rows,):
        raise ValueError(
            f"cost {cost.shape}, matrix {matrix.shape}, least {least.shape} and most "
            f"{most.shape} do not fit together"
        )
    if not (np.all(np.isfinite(most)) and np.all(most >= 0.0)):
        raise ValueError("every upper bound must be finite and not negative")
    tableau = _Tableau(cost, matrix, least, most)
    patience = 20 * (rows + count) + 100
    for turn in range(100 * patience):
        found = tableau.step(careful=turn > patience)
        if found is not None:
            return tableau.optimum(cost, count) if found else None
    raise ArithmeticError(f"no end after {100 * patience} pivots: {rows} rows, {count} variables")


class _Tableau:
    """The rows -matrix @ x + slack = -least, solved for the basic variables."""

    def __init__(
        self, cost: np.ndarray, matrix: np.ndarray, least: np.ndarray, most: np.ndarray
    ) -> None:
        rows = len(least)
        self.table = np.hstack([-matrix, np.eye(rows), -least[:, None]]).astype(float)
        self.reduced = np.concatenate([cost, np.zeros(rows)]).astype(float)
        self.most = np.concatenate([most, np.full(rows, np.inf)])
        self.basis = np.arange(len(cost), len(cost) + rows)
        self.is_basic = np.zeros(len(self.most), bool)
        self.is_basic[self.basis] = True
        self.at_most = np.concatenate([cost < 0.0, np.zeros(rows, bool)])

    def values(self) -> np.ndarray:
        """Return the basic variables' values."""
        raised = self.at_most & ~self.is_basic
        result: np.ndarray = self.table[:, -1] - self.table[:, :-1][:, raised] @ self.most[raised]
        return result

    def step(self, *, careful: bool) -> bool | None:
        """Pivot once; True at the optimum, False if there is none, None to go on."""
        values = self.values()
        excess = np.maximum(-values, values - self.most[self.basis])
        if not len(excess) or excess.max() <= _FEASIBLE:
            return True
        if careful:
            bad = np.flatnonzero(excess > _FEASIBLE)
            row = int(bad[np.argmin(self.basis[bad])])
        else:
            row = int(np.argmax(excess))
        too_high = values[row] > 0.0
        alpha = self.table[row, :-1]
        helps = np.where(self.at_most, -alpha, alpha) * (1.0 if too_high else -1.0)
        able = np.flatnonzero((helps > _PIVOT) & ~self.is_basic)
        if not len(able):
            return False
        ratios = np.abs(self.reduced[able]) / helps[able]
        nearest = able[ratios <= ratios.min() + 1e-12]
        # Of equals the largest pivot is the most accurate, the lowest index never goes in circles.
        enter = int(nearest[0] if careful else nearest[np.argmax(helps[nearest])])
        self._pivot(row, enter, leaves_at_most=bool(too_high))
        return None

    def _pivot(self, row: int, enter: int, *, leaves_at_most: bool) -> None:
        leave = self.basis[row]
        self.table[row] /= self.table[row, enter]
        column = self.table[:, enter].copy()
        column[row] = 0.0
        self.table -= np.outer(column, self.table[row])
        self.reduced -= self.reduced[enter] * self.table[row, :-1]
        self.reduced[enter] = 0.0
        self.basis[row] = enter
        self.is_basic[leave], self.is_basic[enter] = False, True
        self.at_most[leave], self.at_most[enter] = leaves_at_most, False

    def optimum(self, cost: np.ndarray, count: int) -> Optimum:
        x = np.where(self.at_most, self.most, 0.0)
        x[self.basis] = self.values()
        x = np.clip(x[:count], 0.0, self.most[:count])
        return Optimum(x, float(cost @ x), np.maximum(self.reduced[count:], 0.0))
