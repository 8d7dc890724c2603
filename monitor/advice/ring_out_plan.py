"""The next pull of a ring-out, or why there is none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.advice import harm
from monitor.advice.cut_plan import MOST_RINGS, CutPlan, plan
from monitor.advice.equaliser import Equaliser
from monitor.advice.labels import written
from monitor.advice.pulls import Pull, stood

_AVOID = 1000.0
"""Weight of sliders that are not to be pulled: only where nothing else holds a ring."""
_ANEW_DB = 0.5
"""All filters are put anew, which is work, for no less than this."""


@dataclass(frozen=True, slots=True)
class NextPull:
    """A plan, or in its place why it ends."""

    plan: CutPlan | None
    why_ended: str = ""


def next_pull(
    equaliser: Equaliser,
    needs: Sequence[tuple[float, float]],
    pulls: Sequence[Pull],
    *,
    most_sliders: int,
) -> NextPull:
    """Return the least harmful pulls for the needs with at most so many sliders pulled at all."""
    # The least needy are the first to be left out.
    kept = sorted(needs, key=lambda need: -need[1])[:MOST_RINGS]
    found = plan(equaliser, kept, standing=pulls)
    if len(found.pulls) > most_sliders:
        down = {p.label for p in pulls if p.pull_db > 0.0}
        weights = [harm.weight(s) * (1.0 if s.label in down else _AVOID) for s in equaliser.sliders]
        found = plan(equaliser, kept, standing=pulls, weights=weights)
        if len(found.pulls) > most_sliders:
            return NextPull(None, f"{most_sliders} sliders are pulled: that is enough")
    if found.unmet and any(s.is_swept for s in equaliser.sliders):
        # Every filter stands somewhere: put all of them anew, over all rings.
        anew = plan(equaliser, kept)
        if missing_db(anew) < missing_db(found) - _ANEW_DB:
            return NextPull(anew)
    if not any(pull.more_db > 0.0 for pull in found.pulls):
        where = ", ".join(written(ring.frequency_hz) for ring in found.unmet[:3])
        return NextPull(None, f"nothing is left on this equaliser for {where or 'it'}")
    return NextPull(found)


def missing_db(found: CutPlan) -> float:
    """Return how much all rings together lack."""
    return sum(max(ring.need_db - ring.depth_db, 0.0) for ring in found.unmet)


def tone_cost_db(equaliser: Equaliser, pulls: Sequence[Pull]) -> float:
    """Return what these pulls cost in tone."""
    there, pulls_db = stood(equaliser, pulls)
    return harm.tone_cost_db(there.response_db(pulls_db, harm.GRID_HZ))
