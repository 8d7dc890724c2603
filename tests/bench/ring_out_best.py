"""The best that an equaliser could do in a room whose loop is known: gain against tone cost.

For each target gain the cut plan is made over all frequencies that would ring there, then again
with those added that the sliders' own phase has moved into reach.  It is the same solver that the
advice uses, but fed with the truth; the bench's check holds it against scipy.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from monitor.advice.cut_plan import MOST_RINGS, plan
from monitor.advice.equaliser import Equaliser
from tests.bench.ring_out_room import BenchRoom

ROUNDS = 3
TARGETS_DB = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 10.0, 12.0, 14.0)
_MERGED_PART = 0.003
_DEEPER = 1.15
"""What is still short after a round is asked a little more of in the next."""


def frontier(
    room: BenchRoom, equaliser: Equaliser, *, up_to_cost_db: float
) -> list[tuple[float, float]]:
    """Return (tone cost, gain) of the best plans, dearest last, from nothing to a cost."""
    points = [(0.0, 0.0)]
    for target_db in TARGETS_DB:
        found = _reached(room, equaliser, target_db)
        points += found
        if min(cost for cost, _ in found) > up_to_cost_db:
            break
    points.sort()
    best, kept = -1.0, []
    for cost_db, gain_db in points:
        if gain_db > best:
            best = gain_db
            kept.append((cost_db, gain_db))
    return kept


def best_gain_db(points: Sequence[tuple[float, float]], cost_db: float) -> float:
    """Return the gain that a tone cost could have bought, by straight lines between plans."""
    costs, gains = zip(*points, strict=True)
    return float(np.interp(cost_db, costs, gains))


def _reached(room: BenchRoom, equaliser: Equaliser, target_db: float) -> list[tuple[float, float]]:
    needs: dict[float, float] = {}
    points = []
    there, pulls_db = equaliser, [0.0] * len(equaliser.sliders)
    for _ in range(ROUNDS):
        hz, margin_db, _ = room.modes(there, pulls_db, most=MOST_RINGS)
        now_db = -there.response_db(pulls_db, hz)
        short = margin_db < target_db - 0.05
        for f, m, d in zip(
            hz[short].tolist(), margin_db[short].tolist(), now_db[short].tolist(), strict=True
        ):
            near = next((k for k in needs if abs(k - f) < _MERGED_PART * f), f)
            needs[near] = max(
                needs.get(near, 0.0), d + (target_db - m) * (_DEEPER if points else 1.0)
            )
        most = sorted(needs.items(), key=lambda need: -need[1])[:MOST_RINGS]
        if not most:
            break
        found = plan(equaliser, most)
        there, pulls_db = found.equaliser, list(found.pulls_db)
        points.append((found.tone_cost_db, room.limit_db(there, pulls_db)))
    return points or [(0.0, target_db)]
