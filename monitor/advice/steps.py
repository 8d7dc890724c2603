"""From pulls in any depth to the steps that sliders can be set to: an exact search.

Which step to take for each slider, so that every ring gets its depth at the least harm.  All
choices are followed at once, slider by slider.  The prices of the linear programme say how much
worse than the best any choice must end (Lagrange's bound, valid for any prices), so that nearly
all of them are dropped at once; what is left is complete, and its best is the best there is.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

_NARROW = 64
_WIDE = 8192
"""Choices followed at once: a first guess, and the proof.  Never reached for up to 12 rings in
tests; where it is, the best found is still good and only not proven."""
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
    priced = [c - d @ prices for c, d in zip(choices.costs, choices.depths_db, strict=True)]
    floor = sum(float(p.min()) for p in priced) + float(least_db @ prices)
    worse = [p - p.min() for p in priced]
    best = np.asarray(start)
    cost = sum(float(c[k]) for c, k in zip(choices.costs, best, strict=True))
    proven = False
    for width in (_NARROW, _WIDE):
        found, proven = _follow(choices, worse, least_db, prices, cost - floor, width)
        if found is not None:
            found_cost = sum(float(c[k]) for c, k in zip(choices.costs, found, strict=True))
            if found_cost < cost - _SLACK:
                best, cost = found, found_cost
        if proven:
            break
    return Chosen(best, cost, proven)


def _follow(
    choices: Choices,
    worse: Sequence[np.ndarray],
    least_db: np.ndarray,
    prices: np.ndarray,
    gap: float,
    width: int,
) -> tuple[np.ndarray | None, bool]:
    """Return the best choice not more than ``gap`` above the floor, and whether none was lost."""
    rest_most = np.cumsum([d[-1] for d in choices.depths_db][::-1], axis=0)[::-1]
    rest_least = np.cumsum([d[0] for d in choices.depths_db][::-1], axis=0)[::-1]
    nothing = np.zeros_like(least_db)
    depth = nothing[None]
    above = np.zeros(1)
    paths = np.zeros((1, 0), np.int16)
    complete = True
    for i, (depths_db, more) in enumerate(zip(choices.depths_db, worse, strict=True)):
        last = i + 1 == len(worse)
        most, sure = (nothing, nothing) if last else (rest_most[i + 1], rest_least[i + 1])
        able = np.flatnonzero(more <= gap + _SLACK)
        depth = (depth[:, None] + depths_db[able]).reshape(-1, len(least_db))
        above = (above[:, None] + more[able]).ravel()
        paths = np.hstack([np.repeat(paths, len(able), 0), np.tile(able, len(paths))[:, None]])
        # What a ring gets beyond its depth was paid for in vain.
        bound = above + np.maximum(depth + sure - least_db, 0.0) @ prices
        keep = (bound <= gap + _SLACK) & np.all(depth + most >= least_db - _SLACK, axis=1)
        kept = np.flatnonzero(keep)
        if len(kept) > width:
            kept = kept[np.argpartition(bound[kept], width)[:width]]
            complete = False
        if not len(kept):
            return None, complete
        depth, above, paths, bound = depth[kept], above[kept], paths[kept], bound[kept]
    return paths[int(np.argmin(bound))], complete
