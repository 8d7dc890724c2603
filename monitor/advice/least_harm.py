"""The pulls that give every ring its depth at the least harm, for sliders at known places.

Depths of several sliders add up in dB, and each is nearly a straight line in its pull.  So the
task is a linear programme on tangents, taken again at its own solution until that stays.  What a
slider gives grows a little faster than its pull, never slower, so a tangent promises too little
and every solution truly holds.  The last step goes to the steps of the sliders, with the true
depths.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from monitor.advice import harm
from monitor.advice.effect import depth_table_db
from monitor.advice.simplex import minimise
from monitor.advice.sliders import Slider
from monitor.advice.steps import Choices, best_steps, drawn_out

TOLERANCE_DB = 0.05
"""A need counts as met from here on: a tenth of what a slider can be set to by eye."""
REACH_SHARE = 0.25
"""A ring that gets less than this share of any pull is out of reach: 4 dB lost for each won."""
_HELPER_SHARE = 0.1
"""Sliders that give no ring this share are not moved: a movement for a tenth of its decibels."""
_START_DB = 6.0
_TABLE_STEPS = 48
_MOST_TANGENTS = 12
"""300 random tasks of 1 to 12 rings needed 2 to 4 where widths are proportional, 3 to 7 where they
are constant."""
_SETTLED_DB = 0.01


class Solution(NamedTuple):
    """Pulls rounded to steps, the pulls before rounding, their harms, and whether it is proven.

    ``targets_db`` are the depths aimed at: the needs, or what is in reach of them.
    """

    pulls_db: np.ndarray
    exact_db: np.ndarray
    harm: float
    exact_harm: float
    proven: bool
    targets_db: np.ndarray


class _Table:
    """Every slider's depth at every ring over a fine row of pulls."""

    def __init__(self, sliders: Sequence[Slider], frequency_hz: np.ndarray) -> None:
        self.deepest_db = np.array([s.deepest_db for s in sliders])
        rows = np.linspace(0.0, 1.0, _TABLE_STEPS + 1)
        self.depths_db = depth_table_db(sliders, self.deepest_db[:, None] * rows, frequency_hz)
        self.each_db = self.deepest_db / _TABLE_STEPS
        self.share = self.depths_db[:, -1] / self.deepest_db[:, None]
        self.helps = np.any(self.share >= _HELPER_SHARE, axis=1)

    def tangents(self, pulls_db: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return depths at these pulls and their slopes, shape (sliders, rings) both."""
        cell = np.minimum((pulls_db / self.each_db).astype(int), _TABLE_STEPS - 1)
        each = np.arange(len(cell))
        low_db, high_db = self.depths_db[each, cell], self.depths_db[each, cell + 1]
        slope = (high_db - low_db) / self.each_db[:, None]
        return low_db + slope * (pulls_db - cell * self.each_db)[:, None], slope

    def in_reach(self, standing_db: np.ndarray) -> np.ndarray:
        """Return the depth that each ring can be given by the sliders that are for it."""
        now_db, _ = self.tangents(standing_db)
        most_db = np.where(self.share >= _HELPER_SHARE, self.depths_db[:, -1], now_db)
        can = self.share.max(axis=0) >= REACH_SHARE
        reach: np.ndarray = np.where(can, most_db.sum(axis=0), now_db.sum(axis=0))
        return reach


def solve(
    sliders: Sequence[Slider],
    needs: Sequence[tuple[float, float]],
    *,
    standing_db: Sequence[float],
    weights: Sequence[float] | None = None,
    rounded: bool = True,
) -> Solution:
    """Return the least harmful pulls, none of them less than it stands already.

    Parameters
    ----------
    sliders : sequence of Slider
    needs : sequence of (float, float)
        Frequency in Hz and the depth in dB that is needed there in total.
    standing_db : sequence of float
        One for each slider.
    weights : sequence of float, optional
        Harm of one dB of each slider; its tone cost by default.
    rounded : bool
        False leaves the steps out, to compare places quickly.
    """
    standing = np.array(standing_db, float)
    frequency_hz = np.array([hz for hz, _ in needs], float)
    weight = np.array([harm.weight(s) for s in sliders] if weights is None else weights, float)
    table = _Table(sliders, frequency_hz)
    targets_db = np.minimum([db for _, db in needs], table.in_reach(standing))
    least_db = targets_db - TOLERANCE_DB
    exact, prices = _tangents(sliders, table, least_db, standing, weight)
    pulls, proven = exact, False
    if rounded:
        steps = [
            np.array(s.steps_db(p) if helps else [p])
            for s, p, helps in zip(sliders, standing.tolist(), table.helps, strict=True)
        ]
        pulls, proven = _rounded(sliders, steps, frequency_hz, least_db, weight, exact, prices)
    return Solution(
        pulls,
        exact,
        harm.total_harm(sliders, pulls.tolist(), weight.tolist()),
        harm.total_harm(sliders, exact.tolist(), weight.tolist()),
        proven,
        targets_db,
    )


def _tangents(
    sliders: Sequence[Slider],
    table: _Table,
    least_db: np.ndarray,
    standing: np.ndarray,
    weight: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Solve on tangents until the solution stays; return pulls and the rings' prices."""
    end_db = np.where(table.helps, table.deepest_db, standing)
    ways = [
        harm.segments(s, p) if helps else [(0.0, 1.0)]
        for s, p, helps in zip(sliders, standing.tolist(), table.helps, strict=True)
    ]
    owner = np.array([i for i, way in enumerate(ways) for _ in way])
    length = np.array([piece[0] for way in ways for piece in way])
    cost = np.array([piece[1] for way in ways for piece in way]) * weight[owner]
    at = np.maximum(standing, np.minimum(_START_DB, end_db))
    prices = np.zeros(len(least_db))
    for _ in range(_MOST_TANGENTS):
        depths_db, slopes = table.tangents(at)
        left_db = least_db - (depths_db + slopes * (standing - at)[:, None]).sum(axis=0)
        found = minimise(cost, slopes[owner].T, left_db, length)
        if found is None:
            # Only tangents at the very end promise all that there is.
            at = end_db
            continue
        prices = found.prices
        before, at = at, standing + np.bincount(owner, found.x, len(sliders))
        if np.abs(at - before).max() < _SETTLED_DB:
            break
    return np.minimum(at, end_db), prices


def _rounded(
    sliders: Sequence[Slider],
    steps: Sequence[np.ndarray],
    frequency_hz: np.ndarray,
    least_db: np.ndarray,
    weight: np.ndarray,
    exact: np.ndarray,
    prices: np.ndarray,
) -> tuple[np.ndarray, bool]:
    """Return the best pulls that the sliders can be set to, and whether that is proven."""
    table = depth_table_db(sliders, drawn_out(steps), frequency_hz)
    depths_db = [depths[: len(row)] for depths, row in zip(table, steps, strict=True)]
    costs = [
        w * harm.pull_harm(s, row)
        for s, row, w in zip(sliders, steps, weight.tolist(), strict=True)
    ]
    up = np.array(
        [
            min(int(np.searchsorted(r, p - 1e-6)), len(r) - 1)
            for r, p in zip(steps, exact, strict=True)
        ]
    )
    # From low to high, so that the choices for one ring follow each other and are soon settled.
    order = np.argsort([s.centre_hz for s in sliders], kind="stable")
    choices = Choices([depths_db[i] for i in order], [costs[i] for i in order])
    chosen = best_steps(choices, least_db=least_db, prices=prices, start=up[order])
    pulls = np.zeros(len(sliders))
    for i, k in zip(order, chosen.steps, strict=True):
        pulls[i] = steps[i][k]
    return pulls, chosen.proven
