"""The next pull of a ring-out, or why there is none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.advice import harm
from monitor.advice.cut_plan import MOST_RINGS, CutPlan, plan
from monitor.advice.equaliser import Equaliser
from monitor.advice.labels import written
from monitor.advice.pulls import Pull, stood

TONE_PULLS = 4
TONE_PER_GAIN = 1.0
"""A decibel of tone is a decibel off everything, which the fader does too: where the last pulls
cost more tone than they brought gain, the next is no better than a quieter fader."""
_AVOID = 1000.0


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
    if not any(pull.more_db > 0.0 for pull in found.pulls):
        where = ", ".join(written(ring.frequency_hz) for ring in found.unmet[:3])
        return NextPull(None, f"nothing is left on this equaliser for {where or 'it'}")
    return NextPull(found)


def tone_cost_db(equaliser: Equaliser, pulls: Sequence[Pull]) -> float:
    """Return what these pulls cost in tone."""
    there, pulls_db = stood(equaliser, pulls)
    return harm.tone_cost_db(there.response_db(pulls_db, harm.GRID_HZ))


def costs_too_much(costs_db: Sequence[float], gains_db: Sequence[float]) -> bool:
    """Whether the last pulls cost more tone than they brought gain.

    Both are in the order of the pulls, what the next one costs and the gain now being the last.
    """
    if len(costs_db) <= TONE_PULLS:
        return False
    cost_db = costs_db[-1] - costs_db[-1 - TONE_PULLS]
    gain_db = gains_db[-1] - gains_db[-1 - TONE_PULLS]
    return cost_db > TONE_PER_GAIN * gain_db
