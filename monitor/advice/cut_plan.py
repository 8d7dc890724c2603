"""The cut plan: for all rings found so far, the pulls that hold them at the least harm to tone.

Conventions
-----------
A need is the depth in dB below flat that a ring's frequency wants in total, whatever stands
already.  Pulls and depths are positive.  Harm is the tone cost of ``harm``, with deep dips
counting a little more; the plan minimises it, and keeps every need where that is possible.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.advice import harm
from monitor.advice.equaliser import Equaliser
from monitor.advice.filter_places import Needs, placed
from monitor.advice.hints import Hint, hints_for
from monitor.advice.least_harm import TOLERANCE_DB, solve
from monitor.advice.pulls import Pull, Reached, pulls_of, stood

MOST_RINGS = 64


@dataclass(frozen=True)
class CutPlan:
    """What to pull, what each ring gets from it, and what it costs.

    ``equaliser`` has its filters where the plan puts them, ``pulls_db`` one pull for each of its
    sliders; ``pulls`` are those that are pulled at all.  ``tone_cost_db`` is the mean of the
    response's absolute value in dB over a logarithmic axis from 20 Hz to 20 kHz, weighted by
    where voices live (``harm.importance``).  ``harm`` is what was minimised, ``floor`` what it
    would be with sliders that stop anywhere, and ``proven`` says that no other steps harm less.
    """

    equaliser: Equaliser
    pulls: tuple[Pull, ...]
    pulls_db: tuple[float, ...]
    reached: tuple[Reached, ...]
    tone_cost_db: float
    harm: float
    floor: float
    proven: bool
    hints: tuple[Hint, ...]

    @property
    def unmet(self) -> tuple[Reached, ...]:
        """The rings that this equaliser cannot hold."""
        return tuple(ring for ring in self.reached if not ring.met)


def plan(
    equaliser: Equaliser,
    needs: Needs,
    *,
    standing: Sequence[Pull] = (),
    weights: Sequence[float] | None = None,
    may_ease: bool = False,
) -> CutPlan:
    """Return the least harmful pulls that give every ring the depth it needs.

    Parameters
    ----------
    equaliser : Equaliser
        As the settings have it.
    needs : sequence of (float, float)
        Frequency in Hz and depth in dB below flat.
    standing : sequence of Pull
        What is pulled already.
    weights : sequence of float, optional
        Harm of one dB of each slider; its tone cost by default.
    may_ease : bool
        Whether sliders that stand may also be pushed back up, where that harms less.

    Raises
    ------
    ValueError
        For needs that are no frequency and depth, too many of them, weights that do not fit, or
        standing pulls that cannot be; one clear line.
    """
    _check(equaliser, needs, weights)
    there, standing_db = stood(equaliser, standing)
    kept_db = [0.0] * len(standing_db) if may_ease else standing_db
    there = placed(there, needs, standing_db)
    found = solve(there.sliders, needs, standing_db=kept_db, weights=weights)
    pulls_db = tuple(found.pulls_db.tolist())
    pulls = pulls_of(there, pulls_db, standing_db)
    reached = _reached(there, pulls_db, needs)
    cost_db = harm.tone_cost_db(there.response_db(pulls_db, harm.GRID_HZ))
    return CutPlan(
        there,
        pulls,
        pulls_db,
        reached,
        cost_db,
        found.harm,
        found.exact_harm,
        found.proven,
        hints_for(there, pulls, reached, cost_db),
    )


def _check(equaliser: Equaliser, needs: Needs, weights: Sequence[float] | None) -> None:
    if len(needs) > MOST_RINGS:
        raise ValueError(f"{len(needs)} rings given, at most {MOST_RINGS} can be planned for")
    for hz, db in needs:
        if not (math.isfinite(hz) and hz > 0.0):
            raise ValueError(f"frequency {hz} Hz is not a positive finite number")
        if not (math.isfinite(db) and db >= 0.0):
            raise ValueError(f"depth {db} dB at {hz:g} Hz must be a finite number, 0 or more")
    if weights is not None and (
        len(weights) != len(equaliser.sliders) or not all(0.0 <= w < math.inf for w in weights)
    ):
        raise ValueError(
            f"{len(equaliser.sliders)} weights of 0 or more expected, one for each slider"
        )


def _reached(equaliser: Equaliser, pulls_db: Sequence[float], needs: Needs) -> tuple[Reached, ...]:
    depths_db = -equaliser.response_db(pulls_db, np.array([hz for hz, _ in needs], float))
    return tuple(
        Reached(hz, need_db, depth_db, depth_db >= need_db - TOLERANCE_DB - 1e-6)
        for (hz, need_db), depth_db in zip(needs, depths_db.tolist(), strict=True)
    )
