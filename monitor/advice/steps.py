"""From pulls in any depth to the steps that sliders can be set to.

Which step to take for each slider, so that every ring gets its depth at the least harm.  All
choices are followed at once, slider by slider.  The prices of the linear programme say how much
worse than the best any choice must end (Lagrange's bound, valid for any prices), so that most of
them are dropped at once.  A first pass also lets choices that leave all rings alike stand
for each other, which finds a good end quickly; the second drops nothing that could be better and is
thereby exact, or gives up where too much would have to be followed.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

_NARROW = 200
_WIDE = 2000
"""Choices followed at once in the two passes: for 12 rings on 31 sliders 30 ms together on a desk
computer."""
_ALIKE_DB = 0.05
"""Rings that stand no further apart are alike in the first pass."""
_ASKED = 64
"""The cheapest choices are asked whether they beat the others; asking all would cost the square."""
_PRICE_STEPS = 60
_MOST_EXCHANGES = 40
"""Bounds on the time; most end sooner."""
_SLACK = 1e-9


class Chosen(NamedTuple):
    """One step's index for each slider, its cost, and whether nothing better is possible."""

    steps: np.ndarray
    cost: float
    proven: bool


class Choices(NamedTuple):
    """What each slider's steps do and cost.

    ``depths_db``: for each slider (steps, rings); ``costs``: for each slider (steps,), rising.
    """

    depths_db: Sequence[np.ndarray]
    costs: Sequence[np.ndarray]


def best_steps(
    choices: Choices, *, least_db: np.ndarray, prices: np.ndarray, start: np.ndarray
) -> Chosen:
    """Return the cheapest steps that give every ring ``least_db``.

    Parameters
    ----------
    least_db : np.ndarray [shape=(rings,)]
    prices : np.ndarray [shape=(rings,)], not negative
        Any; the better they are, the quicker.
    start : np.ndarray [shape=(sliders,)]
        Steps that satisfy every ring.
    """
    best = np.asarray(start)
    cost = sum(float(c[k]) for c, k in zip(choices.costs, best, strict=True))
    if not len(least_db):
        return Chosen(best, cost, True)
    proven = False
    for exact in (False, True):
        prices, floor = _raised(choices, least_db, prices, cost)
        priced = [c - d @ prices for c, d in zip(choices.costs, choices.depths_db, strict=True)]
        worse = [p - p.min() for p in priced]
        found, proven = _follow(choices, worse, least_db, prices, gap=cost - floor, exact=exact)
        found = best if found is None else found
        if not proven:
            found = _exchanged(choices, least_db, found)
        found_cost = sum(float(c[k]) for c, k in zip(choices.costs, found, strict=True))
        if found_cost < cost - _SLACK:
            best, cost = found, found_cost
    return Chosen(best, cost, proven)


def drawn_out(rows: Sequence[np.ndarray]) -> np.ndarray:
    """Return rows of unlike lengths as one array, each drawn out with its last value."""
    longest = max(len(row) for row in rows)
    found = np.empty((len(rows), longest, *rows[0].shape[1:]))
    for there, row in zip(found, rows, strict=True):
        there[: len(row)] = row
        there[len(row) :] = row[-1]
    return found


def _raised(
    choices: Choices, least_db: np.ndarray, prices: np.ndarray, cost: float
) -> tuple[np.ndarray, float]:
    """Return prices with a higher floor, and that floor.

    Those of the tangents are the best only where depths are straight lines.  Each step goes to
    where the rings are that the priced choices leave short (subgradients, Polyak's step length).
    """
    costs, depths_db = drawn_out(choices.costs), drawn_out(choices.depths_db)
    each = np.arange(len(costs))
    best, best_floor = prices, -np.inf
    for _ in range(_PRICE_STEPS):
        priced = costs - depths_db @ prices
        pick = np.argmin(priced, axis=1)
        floor = float(priced[each, pick].sum() + least_db @ prices)
        if floor > best_floor:
            best, best_floor = prices, floor
        short_db = least_db - depths_db[each, pick].sum(axis=0)
        size = float(short_db @ short_db)
        if size < _SLACK:
            break
        prices = np.maximum(prices + 0.3 * (cost - floor) / size * short_db, 0.0)
    return best, best_floor


def _exchanged(choices: Choices, least_db: np.ndarray, steps: np.ndarray) -> np.ndarray:
    """Return steps that no change of any two sliders by up to two steps makes cheaper."""
    steps = np.array(steps)
    for _ in range(_MOST_EXCHANGES):
        moves = [(-1, 0)] + [
            (i, k)
            for i, (at, costs) in enumerate(zip(steps.tolist(), choices.costs, strict=True))
            for k in range(max(at - 2, 0), min(at + 3, len(costs)))
            if k != at
        ]
        depth = np.zeros((len(moves), len(least_db)))
        cost = np.zeros(len(moves))
        for n, (i, k) in enumerate(moves[1:], 1):
            depth[n] = choices.depths_db[i][k] - choices.depths_db[i][steps[i]]
            cost[n] = choices.costs[i][k] - choices.costs[i][steps[i]]
        now = sum(d[k] for d, k in zip(choices.depths_db, steps, strict=True))
        owner = np.array([i for i, _ in moves])
        both = cost[:, None] + cost
        able = np.all(depth[:, None] + depth >= least_db - now - _SLACK, axis=2)
        able &= (owner[:, None] != owner) & (both < -_SLACK)
        if not able.any():
            break
        pair = np.unravel_index(int(np.argmin(np.where(able, both, 0.0))), both.shape)
        for i, k in (moves[int(n)] for n in pair):
            if i >= 0:
                steps[i] = k
    return steps


def _follow(
    choices: Choices,
    worse: Sequence[np.ndarray],
    least_db: np.ndarray,
    prices: np.ndarray,
    *,
    gap: float,
    exact: bool,
) -> tuple[np.ndarray | None, bool]:
    """Return the best choice not more than ``gap`` above the floor, and whether none was lost."""
    nothing = np.zeros_like(least_db)
    # What the sliders after each one can still give, and give in any case.
    most = [*np.cumsum([d[-1] for d in choices.depths_db][::-1], axis=0)[-2::-1], nothing]
    sure = [*np.cumsum([d[0] for d in choices.depths_db][::-1], axis=0)[-2::-1], nothing]
    depth, above, paths = nothing[None], np.zeros(1), np.zeros((1, 0), np.int16)
    for i, (depths_db, more) in enumerate(zip(choices.depths_db, worse, strict=True)):
        able = np.flatnonzero(more <= gap + _SLACK)
        depth = (depth[:, None] + depths_db[able]).reshape(-1, len(least_db))
        above = (above[:, None] + more[able]).ravel()
        paths = np.hstack([np.repeat(paths, len(able), 0), np.tile(able, len(paths))[:, None]])
        # What a ring gets beyond its depth was paid for in vain.
        bound = above + np.maximum(depth + sure[i] - least_db, 0.0) @ prices
        keep = (bound <= gap + _SLACK) & np.all(depth + most[i] >= least_db - _SLACK, axis=1)
        kept = np.flatnonzero(keep)
        if not len(kept):
            return None, exact
        if len(able) > 1:
            # More than enough is as good as enough.
            enough = np.minimum(depth[kept], least_db - sure[i])
            spent = above[kept] + depth[kept] @ prices
            pick = _unbeaten(enough, spent) if exact else _unlike(enough, bound[kept])
            kept = kept[pick]
        if exact and len(kept) > _WIDE:
            return None, False
        depth, above, paths, bound = depth[kept], above[kept], paths[kept], bound[kept]
    return paths[int(np.argmin(bound))], exact


def _unbeaten(depth_db: np.ndarray, spent: np.ndarray) -> np.ndarray:
    """Return where no cheaper choice gives every ring as much; only the cheapest are asked."""
    order = np.argsort(spent, kind="stable")
    cheap = depth_db[order[:_ASKED]]
    beats = np.all(cheap[:, None] >= depth_db[order] - _SLACK, axis=2)
    # Nobody beats himself, or whoever comes before him.
    beats &= np.arange(len(cheap))[:, None] < np.arange(len(order))
    return order[~beats.any(axis=0)]


def _unlike(depth_db: np.ndarray, bound: np.ndarray) -> np.ndarray:
    """Return where the best of each group of like choices is, the best groups only."""
    order = np.argsort(bound, kind="stable")
    rows = np.floor(depth_db[order] / _ALIKE_DB).astype(np.int64)
    # One number for a row; two rows that share one by chance cost a choice, nothing else.
    keys = rows @ (np.int64(1_000_003) ** np.arange(1, rows.shape[1] + 1, dtype=np.int64))
    _, first = np.unique(keys, return_index=True)
    return order[np.sort(first)[:_NARROW]]
