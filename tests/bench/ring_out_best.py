"""The best that an equaliser could do in a room whose loop is known: gain against tone cost.

For each target gain the cut plan is made over all frequencies that would ring there, then again
with those added that the sliders' own phase has moved into reach.  It is the same solver that the
advice uses (checked against scipy's in its own tests), but fed with the truth.  For sliders at
fixed places that is a bound but for rounding; filters that can be put anywhere are placed by rules,
so for a parametric it is none, and a ring-out that places them ring by ring often wins more.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from monitor.advice.cut_plan import MOST_RINGS, CutPlan, plan
from monitor.advice.equaliser import Equaliser
from tests.bench.ring_out_hands import Hands
from tests.bench.ring_out_room import BenchRoom

ROUNDS = 3
FARTHEST_DB = 16.0
_MERGED_PART = 0.003
_DEEPER = 1.15
"""What is still short after a round is asked a little more of in the next."""
_DRAWS = 5


class Best(NamedTuple):
    """One of the best plans; None pulls nothing."""

    cost_db: float
    gain_db: float
    plan: CutPlan | None


def frontier(
    room: BenchRoom, equaliser: Equaliser, *, from_db: float, up_to_cost_db: float
) -> list[Best]:
    """Return the best plans, dearest last: nothing, then targets from a gain up to a cost."""
    found = [Best(0.0, 0.0, None)]
    for target_db in np.arange(max(1.0, np.floor(from_db)), FARTHEST_DB, 1.0).tolist():
        reached = _reached(room, equaliser, target_db)
        found += reached
        if min(one.cost_db for one in reached) > up_to_cost_db:
            break
    kept = found[:1]
    for one in sorted(found[1:], key=lambda one: one.cost_db):
        if one.gain_db > kept[-1].gain_db:
            kept.append(one)
    return kept


def best_gain_db(found: Sequence[Best], cost_db: float) -> float:
    """Return the gain that a tone cost could have bought, by straight lines between plans."""
    return float(np.interp(cost_db, [b.cost_db for b in found], [b.gain_db for b in found]))


def handled_gain_db(
    room: BenchRoom,
    found: Sequence[Best],
    cost_db: float,
    hands: Hands,
    rng: np.random.Generator,
) -> float:
    """Return the best gain less what these hands lose of it, each slider off by its chance."""
    nearest = min(found, key=lambda one: abs(one.cost_db - cost_db))
    if nearest.plan is None:
        return best_gain_db(found, cost_db)
    there, pulls_db = nearest.plan.equaliser, np.array(nearest.plan.pulls_db)
    limits = []
    for _ in range(_DRAWS):
        off_db = rng.choice(hands.off_db, len(pulls_db)) * (pulls_db > 0.0)
        deepest_db = [slider.deepest_db for slider in there.sliders]
        limits.append(room.limit_db(there, np.clip(pulls_db + off_db, 0.0, deepest_db).tolist()))
    return best_gain_db(found, cost_db) + float(np.mean(limits)) - nearest.gain_db


def _reached(room: BenchRoom, equaliser: Equaliser, target_db: float) -> list[Best]:
    needs: dict[float, float] = {}
    found: list[Best] = []
    there, pulls_db = equaliser, [0.0] * len(equaliser.sliders)
    for _ in range(ROUNDS):
        hz, margin_db, _ = room.modes(there, pulls_db, most=MOST_RINGS)
        depth_db = -there.response_db(pulls_db, hz)
        more_db = (target_db - margin_db) * (_DEEPER if found else 1.0)
        for f, need_db in zip(hz.tolist(), (depth_db + more_db).tolist(), strict=True):
            near = next((k for k in needs if abs(k - f) < _MERGED_PART * f), f)
            needs[near] = max(needs.get(near, 0.0), need_db)
        most = sorted((n for n in needs.items() if n[1] > 0.0), key=lambda n: -n[1])
        if not most:
            break
        made = plan(equaliser, most[:MOST_RINGS])
        there, pulls_db = made.equaliser, list(made.pulls_db)
        found.append(Best(made.tone_cost_db, room.limit_db(there, pulls_db), made))
        if found[-1].gain_db >= target_db:
            break
    return found or [Best(0.0, target_db, None)]
