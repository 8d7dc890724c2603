"""The one pull for a ring that is heard now: one slider, or two neighbours that share it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.advice import harm
from monitor.advice.effect import depth_db as effect_db
from monitor.advice.equaliser import Equaliser
from monitor.advice.filter_places import placed
from monitor.advice.least_harm import REACH_SHARE, TOLERANCE_DB
from monitor.advice.pulls import Pull, pulls_of, stood

_SHARED_GAIN = 0.97
"""Two sliders are two movements, in the middle of a song: only where that harms 3 % less, which
leaves the ring halfway between two sliders, where it is 5 % (our choice)."""


@dataclass(frozen=True)
class SinglePull:
    """One or two sliders to pull, and how much deeper the ring's frequency gets by it.

    ``at_end`` is the label of the slider that would have been the one, had it any way left.
    """

    pulls: tuple[Pull, ...]
    depth_db: float
    met: bool
    at_end: str | None = None


def single_pull(
    equaliser: Equaliser,
    frequency_hz: float,
    depth_db: float,
    standing: Sequence[Pull] = (),
) -> SinglePull:
    """Return the least harmful way to get ``depth_db`` more at one frequency.

    Where the sliders' travel does not suffice, what comes nearest to it.

    Raises
    ------
    ValueError
        For a frequency or depth that is no positive finite number, or standing pulls that
        cannot be; one clear line.
    """
    for what, value in (("frequency", frequency_hz), ("depth", depth_db)):
        if not (math.isfinite(value) and value > 0.0):
            raise ValueError(f"{what} {value} is not a positive finite number")
    there, standing_db = stood(equaliser, standing)
    now_db = -float(there.response_db(standing_db, np.array([frequency_hz]))[0])
    there = placed(there, [(frequency_hz, now_db + depth_db)], standing_db)
    ways = _Ways(there, frequency_hz, standing_db)
    best = ways.best(depth_db)
    pulls_db = list(standing_db)
    for i, pull_db in best.items():
        pulls_db[i] = pull_db
    pulls = pulls_of(there, pulls_db, standing_db)
    gained_db = -float(there.response_db(pulls_db, np.array([frequency_hz]))[0]) - now_db
    return SinglePull(
        tuple(pull for pull in pulls if pull.more_db > 0.0),
        gained_db,
        gained_db >= depth_db - TOLERANCE_DB - 1e-6,
        ways.at_end,
    )


class _Ways:
    """The sliders that do something about a frequency: what each step gives there, and costs."""

    def __init__(
        self, equaliser: Equaliser, frequency_hz: float, standing_db: Sequence[float]
    ) -> None:
        self.steps: dict[int, np.ndarray] = {}
        self.gains: dict[int, np.ndarray] = {}
        self.harms: dict[int, np.ndarray] = {}
        shares = {}
        for i, (slider, now_db) in enumerate(zip(equaliser.sliders, standing_db, strict=True)):
            steps = np.array(slider.steps_db(now_db))
            at = effect_db(slider, [slider.deepest_db, *steps], np.array([frequency_hz]))[:, 0]
            # A low cut takes all below away: for a plan, not for one ring.
            if at[0] < REACH_SHARE * slider.deepest_db or slider.kind == "low cut":
                continue
            shares[i] = at[0] / slider.deepest_db
            self.steps[i] = steps
            self.gains[i] = at[1:] - at[1]
            harms = harm.pull_harm(slider, steps)
            self.harms[i] = harm.weight(slider) * (harms - harms[0])
        first = max(shares, key=lambda i: shares[i], default=None)
        self.at_end = None
        if first is not None and len(self.steps[first]) == 1:
            self.at_end = equaliser.sliders[first].label

    def best(self, depth_db: float) -> dict[int, float]:
        """Return the pulls of the best one or two sliders."""
        found: list[tuple[float, float, dict[int, float]]] = [(depth_db, 0.0, {})]
        for i in self.steps:
            found.append(self._pick(depth_db, i, i))
            if i + 1 in self.steps:
                short_db, harms, pulls = self._pick(depth_db, i, i + 1)
                found.append((short_db, harms / _SHARED_GAIN, pulls))
        # What is enough first, then what is nearest to it, then the least harm.
        return min(found, key=lambda f: (round(f[0], 6), f[1]))[2]

    def _pick(self, depth_db: float, i: int, j: int) -> tuple[float, float, dict[int, float]]:
        """Return (what is missing, harm, pulls) of the best steps of two sliders, or of one."""
        gain, cost = self.gains[i][:, None], self.harms[i][:, None]
        if i != j:
            gain, cost = gain + self.gains[j], cost + self.harms[j]
        short = np.maximum(depth_db - TOLERANCE_DB - gain, 0.0)
        order = np.lexsort((cost.ravel(), np.round(short, 6).ravel()))
        k, m = np.unravel_index(order[0], gain.shape)
        pulls = {i: float(self.steps[i][k])}
        if i != j:
            pulls[j] = float(self.steps[j][m])
        return float(short[k, m]), float(cost[k, m]), pulls
