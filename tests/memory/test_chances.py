"""The model's sums beside another library's distributions."""

from __future__ import annotations

import math
from itertools import product

import pytest
from scipy.special import comb
from scipy.stats import betabinom, binom

from monitor.memory import chances as model
from monitor.memory.chances import Evening, chances_of

SILENT = Evening(False, 1.0, 1.0)
RANG = Evening(True, 1.0, 1.0)


def evenings(rang: int, of: int) -> list[Evening]:
    return [RANG] * rang + [SILENT] * (of - rang)


def by_hand(counts: list[tuple[int, int]]) -> tuple[float, float]:
    """P(rig) and P(room of the first venue) of one group alone, by scipy's distributions.

    Sequences and not counts are observed, so that each probability is divided by the number of
    orders; the rest is the model's text written down again.
    """
    orders = [comb(n, k, exact=True) for k, n in counts]

    def rig(mean: float) -> float:
        a, b = mean * model.RIG_ALIKE, (1.0 - mean) * model.RIG_ALIKE
        return math.prod(
            betabinom.pmf(k, n, a, b) / order for (k, n), order in zip(counts, orders, strict=True)
        )

    def parts(k: int, n: int, order: int, rho: float, s: float) -> tuple[float, float]:
        own = rho * betabinom.pmf(k, n, 1.0, 1.0) / order
        return own, (1.0 - rho) * binom.pmf(k, n, s) / order

    as_rig = model.RIG_BEFORE * sum(rig((i + 0.5) / 10) for i in range(1, 10)) / 9
    empty = [(0, n) for _, n in counts]
    empty_rig = (
        model.RIG_BEFORE
        * sum(
            math.prod(
                betabinom.pmf(0, n, m * model.RIG_ALIKE, (1 - m) * model.RIG_ALIKE)
                for _, n in empty
            )
            for m in ((i + 0.5) / 10 for i in range(1, 10))
        )
        / 9
    )
    whole = sure_rig = sure_room = 0.0
    for rho, s in product((0.03, 0.07, 0.14, 0.25, 0.4), (0.005, 0.02, 0.06)):
        split = [parts(k, n, o, rho, s) for (k, n), o in zip(counts, orders, strict=True)]
        room = (1.0 - model.RIG_BEFORE) * math.prod(own + other for own, other in split)
        silent = (1.0 - model.RIG_BEFORE) * math.prod(
            sum(parts(0, n, 1, rho, s)) for _, n in counts
        )
        total = as_rig + room
        weight = total * (empty_rig + silent) ** (model.PLACES - 1)
        whole += weight
        sure_rig += weight * as_rig / total
        sure_room += weight * room / total * split[0][0] / sum(split[0])
    return sure_rig / whole, sure_room / whole


@pytest.mark.parametrize(
    "counts",
    [
        [(1, 1)],
        [(1, 1), (0, 1)],
        [(3, 3), (0, 5)],
        [(2, 3), (2, 4), (1, 2)],
        [(4, 5), (3, 4), (5, 6), (2, 2)],
        [(6, 8), (1, 6), (0, 4), (0, 3)],
    ],
)
def test_agrees_with_beta_binomials_of_another_library(counts: list[tuple[int, int]]) -> None:
    # scipy.stats.betabinom and binom; the model sums over 24 steps of p and they integrate.
    group = {f"v{i}": evenings(k, n) for i, (k, n) in enumerate(counts)}
    empty = {f"v{i}": evenings(0, n) for i, (_, n) in enumerate(counts)}
    found = chances_of([group], empty)[0]
    rig, room = by_hand(counts)
    assert found.rig == pytest.approx(rig, abs=0.004)
    assert found.room["v0"] == pytest.approx(room, abs=0.004)


def alone(*venues: list[Evening]) -> model.Chances:
    group = {f"v{i}": each for i, each in enumerate(venues)}
    empty = {uid: [SILENT] * len(each) for uid, each in group.items()}
    return chances_of([group], empty)[0]


def test_evenings_at_one_venue_say_little_of_the_rig_and_venues_much() -> None:
    at_one = alone(evenings(8, 8), evenings(0, 0))
    at_four = alone(*[evenings(2, 2)] * 4)
    assert at_one.rig < 0.75
    assert at_four.rig > 0.97


def test_an_evening_that_could_not_ring_is_no_evidence() -> None:
    hidden = Evening(False, 0.0, 1.0)
    heard = alone(evenings(3, 3), [SILENT] * 4)
    pulled = alone(evenings(3, 3), [hidden] * 4)
    assert heard.room["v0"] > pulled.room["v0"] + 0.2
    # Where all else stood pulled too, it is as if those evenings had not been.
    group = {"v0": evenings(3, 3), "v1": [hidden] * 4}
    nothing = chances_of([group], {"v0": evenings(0, 3), "v1": [hidden] * 4})[0]
    never = chances_of([{**group, "v1": []}], {"v0": evenings(0, 3), "v1": []})[0]
    assert nothing.rig == pytest.approx(never.rig, abs=0.02)


def test_a_short_evening_counts_for_less_than_a_long_one() -> None:
    short = alone(evenings(3, 3), [Evening(False, 0.2, 0.2)] * 2)
    long = alone(evenings(3, 3), [Evening(False, 2.0, 2.0)] * 2)
    assert short.rig > long.rig


def test_many_single_rings_all_over_make_chance_likelier() -> None:
    def single(n: int) -> dict[str, list[Evening]]:
        return {"a": evenings(int(n < 8), 8), "b": evenings(int(n >= 8), 8)}

    empty = {"a": evenings(0, 8), "b": evenings(0, 8)}
    few = chances_of([single(0)], empty)[0]
    many = chances_of([single(n) for n in range(16)], empty)[0]
    assert few.room["a"] > many.room["a"]


def test_rates_are_means_of_what_was_seen() -> None:
    found = alone(evenings(6, 8), evenings(0, 8))
    # The mean of a Beta distribution after k of n, Laplace's (k + 1) / (n + 2).
    assert found.room_rate["v0"] == pytest.approx(7 / 10, abs=0.02)
    assert found.room_rate["v1"] == pytest.approx(1 / 10, abs=0.02)


def test_hundreds_of_evenings_do_not_underflow() -> None:
    found = alone(*[evenings(10, 60)] * 5)
    assert found.rig > 0.95
    assert math.isfinite(found.rig)
