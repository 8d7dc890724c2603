"""The next pull of a ring-out, or why there is none."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from monitor.advice import harm
from monitor.advice.cut_plan import MOST_RINGS, CutPlan, plan
from monitor.advice.equaliser import Equaliser
from monitor.advice.labels import written
from monitor.advice.pulls import Pull, pulls_of, same_place, standing_response_db, stood

_AVOID = 1000.0
"""Weight of sliders that are not to be pulled: only where nothing else holds a ring."""
_FEWER_HARM = 1.2
_MOST_LEFT_ALONE = 3
"""Every slider is a movement with a howl in the room: up to three small ones are left out where
the new harm grows by less than a fifth (our choice).  31 sliders won the same with 16 movements in
the place of 22 (20 simulated rooms, seeds 50000 to 50019)."""
_ANEW_DB = 0.5
"""All filters are put anew, which is work, for no less than this."""
_WORTH_DB = 0.25
"""Where sliders cannot give all that is needed, a hand is asked for no less than this: half the
fader's step by which the ring would be back."""


@dataclass(frozen=True, slots=True)
class NextPull:
    """A plan, or in its place why it ends; ``at_once``, or after what is asked for already.

    ``is_at_end``: because no slider has any way left.
    """

    plan: CutPlan | None
    why_ended: str = ""
    at_once: bool = False
    is_at_end: bool = False


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
            plural = "s are" if most_sliders > 1 else " is"
            return NextPull(None, f"{most_sliders} slider{plural} pulled: that is enough")
    if found.unmet and any(s.is_swept for s in equaliser.sliders):
        # Every filter stands somewhere: put all of them anew, over all rings.
        anew = plan(equaliser, kept)
        if missing_db(anew) < missing_db(found) - _ANEW_DB:
            return NextPull(_named_anew(equaliser, anew, pulls))
    # The gain ends at a ring that no slider reaches: what others take would be tone for nothing.
    out_of_reach = [ring for ring in found.unmet if ring.depth_db < _WORTH_DB]
    if out_of_reach or not _is_worth_it(equaliser, found, pulls):
        where = ", ".join(written(ring.frequency_hz) for ring in (out_of_reach or found.unmet)[:3])
        why = f"nothing is left on this equaliser for {where or 'it'}"
        return NextPull(None, why, at_once=bool(out_of_reach), is_at_end=not out_of_reach)
    return NextPull(_fewer(equaliser, kept, pulls, found))


def _is_worth_it(equaliser: Equaliser, found: CutPlan, standing: Sequence[Pull]) -> bool:
    """Return whether a plan moves anything, and any ring gets something to speak of by it."""
    if not _moved(found):
        return False
    if not found.unmet:
        return True
    at = np.array([ring.frequency_hz for ring in found.reached])
    now_db = -standing_response_db(equaliser, standing, at)
    will_db = np.array([ring.depth_db for ring in found.reached])
    return bool(np.max(will_db - now_db) >= _WORTH_DB)


def _named_anew(equaliser: Equaliser, anew: CutPlan, standing: Sequence[Pull]) -> CutPlan:
    """Return a plan whose places are given to those filters that have the least way to them.

    All filters of a parametric are alike, and one that may stay as it is is no work.
    """
    _, standing_db = stood(equaliser, standing)
    sliders, pulls_db = list(anew.equaliser.sliders), list(anew.pulls_db)
    if all(slider.is_swept for slider in sliders):
        there = {pull.label: pull for pull in standing if pull.pull_db > 0.0}
        sliders, pulls_db = list(equaliser.sliders), [0.0] * len(sliders)
        labels = [slider.label for slider in sliders]
        wanted = list(anew.pulls)
        pairs = [(_way(there.get(label), pull), label, pull) for label in labels for pull in wanted]
        for _, label, pull in sorted(pairs, key=lambda pair: pair[0]):
            if label not in labels or pull not in wanted:
                continue
            labels.remove(label)
            wanted.remove(pull)
            i = [slider.label for slider in sliders].index(label)
            sliders[i], pulls_db[i] = sliders[i].moved(pull.centre_hz, pull.q), pull.pull_db
    equaliser = equaliser.with_sliders(sliders)
    return replace(
        anew,
        equaliser=equaliser,
        pulls=pulls_of(equaliser, pulls_db, standing_db),
        pulls_db=tuple(pulls_db),
    )


def _way(standing: Pull | None, wanted: Pull) -> tuple[int, float]:
    """Return how much work it is to set a filter so: none, its depth, its place, or another one."""
    if standing is None:
        return 3, 0.0
    if not same_place(standing, wanted):
        return 2, abs(math.log2(standing.centre_hz / wanted.centre_hz))
    return int(standing.pull_db != wanted.pull_db), 0.0


def _fewer(
    equaliser: Equaliser,
    needs: Sequence[tuple[float, float]],
    pulls: Sequence[Pull],
    found: CutPlan,
) -> CutPlan:
    """Return a plan that moves fewer sliders, where that harms little more."""
    own = [harm.weight(slider) for slider in found.equaliser.sliders]
    _, standing_db = stood(equaliser, pulls)
    before = harm.total_harm(found.equaliser.sliders, standing_db, own)
    most = before + _FEWER_HARM * (found.harm - before)
    left_alone: set[str] = set()
    for pull in sorted(_moved(found), key=lambda pull: pull.more_db)[:_MOST_LEFT_ALONE]:
        if pull.label not in {p.label for p in _moved(found)} or len(_moved(found)) == 1:
            continue
        without = {*left_alone, pull.label}
        weights = [
            w * (_AVOID if s.label in without else 1.0)
            for s, w in zip(equaliser.sliders, own, strict=True)
        ]
        other = plan(equaliser, needs, standing=pulls, weights=weights)
        harms = harm.total_harm(other.equaliser.sliders, other.pulls_db, own)
        if (
            len(_moved(other)) < len(_moved(found))
            and len(other.pulls) <= len(found.pulls)
            and len(other.unmet) <= len(found.unmet)
            and harms <= most
        ):
            found, left_alone = other, without
    return found


def _moved(found: CutPlan) -> list[Pull]:
    return [pull for pull in found.pulls if pull.more_db > 0.0]


def missing_db(found: CutPlan) -> float:
    """Return how much all rings together lack."""
    return sum(max(ring.need_db - ring.depth_db, 0.0) for ring in found.unmet)


def tone_cost_db(equaliser: Equaliser, pulls: Sequence[Pull]) -> float:
    """Return what these pulls cost in tone."""
    return harm.tone_cost_db(standing_response_db(equaliser, pulls, harm.GRID_HZ))
