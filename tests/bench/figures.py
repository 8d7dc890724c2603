"""From scores to figures: shares, rates and delays with how sure they are.

Conventions
-----------
A *row* is a detector with its thresholds: ("set", 1.0) is the set's way as it ships, ("set", 2.0)
with twice the evidence asked for.  Percentages run from 0 to 100.  Delays are seconds; a howl
never flagged counts as ``inf``, so that no row gains by missing the hard ones.

Sources: shares: C. J. Clopper, E. S. Pearson, "The use of confidence or fiducial limits
illustrated in the case of the binomial", Biometrika 26, 1934; rates: F. Garwood, "Fiducial limits
for the Poisson distribution", Biometrika 28, 1936; quantiles: the percentile bootstrap (B. Efron,
Annals of Statistics 7, 1979).  All of them are two-sided, 95 %: 2.5 % beyond each end.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import get_args

import numpy as np
from scipy.stats import binomtest, chi2

from monitor.listening.rings import Way
from tests.bench.scoring import Flagged, LoopFacts, LoopScore

Row = tuple[str, float]

CLOSES_WITHIN_S = 0.3
HOWLS_AN_HOUR = 6.0
"""Precision needs to know how often there is something to find.  An assumption: a gig with a
howl every ten minutes.  With more of them every curve moves up, none past another."""
_DRAWS = 1000


@dataclass(frozen=True, slots=True)
class Measure:
    """A figure with its 95 % interval and how many it was taken of (for rates: counted)."""

    value: float
    low: float
    high: float
    count: int


@dataclass(frozen=True, slots=True)
class LoopResult:
    """A run and what each row made of it."""

    facts: LoopFacts
    scores: dict[Row, LoopScore]


@dataclass(frozen=True, slots=True)
class SoundResult:
    """A sound without feedback and what each row flagged in it: all of it false."""

    name: str
    package: str
    group: str
    kind: str
    hours: float
    flagged: dict[Row, list[Flagged]]


def share(count: int, of: int) -> Measure:
    """A percentage; nan of nothing."""
    if of == 0:
        return Measure(math.nan, math.nan, math.nan, 0)
    interval = binomtest(count, of).proportion_ci(0.95, method="exact")
    return Measure(100.0 * count / of, 100.0 * interval.low, 100.0 * interval.high, of)


def rate(count: int, hours: float) -> Measure:
    """Events an hour; ``high`` is 3.7 over the hours when none came."""
    if hours <= 0.0:
        return Measure(math.nan, math.nan, math.nan, 0)
    low = 0.5 * float(chi2.ppf(0.025, 2 * count)) if count else 0.0
    high = 0.5 * float(chi2.ppf(0.975, 2 * count + 2))
    return Measure(count / hours, low / hours, high / hours, count)


def quantile(values: Iterable[float], part: float) -> Measure:
    """A quantile (the next higher value), ``inf`` among the values allowed; nan of nothing."""
    array = np.asarray(list(values), dtype=np.float64)
    if len(array) == 0:
        return Measure(math.nan, math.nan, math.nan, 0)
    draws = np.random.default_rng(1).choice(array, (_DRAWS, len(array)))
    found = np.quantile(draws, part, axis=1, method="higher")
    low, high = np.quantile(found, (0.025, 0.975), method="higher")
    return Measure(
        float(np.quantile(array, part, method="higher")), float(low), float(high), len(array)
    )


def loop_figures(loops: Sequence[LoopResult], row: Row) -> dict[str, Measure]:
    """The figures of one row over runs that ring; nan where the row says nothing of the kind."""
    judged = [loop for loop in loops if loop.facts.judged]
    scores = [loop.scores[row] for loop in judged]
    delays_s = howl_delays_s(loops, row)
    warnings_s = ringing_delays_s(loops, row)
    warns = row[0] in get_args(Way)
    if not warns:  # a detector without a first degree
        warnings_s = []
    caught_s = [delay_s for delay_s in delays_s if math.isfinite(delay_s)]
    loud = [loop for loop in judged if loop.facts.louder_s is not None]
    cents = [score.cents for score in scores if score.cents is not None]
    bands = [score.right_band for score in scores if score.right_band is not None]
    closes_s = [close_s for loop in loops for close_s in loop.scores[row].close_s]
    lit = [score.lit_part for score in scores if score.lit_part is not None]
    hours = sum(loop.facts.length_s for loop in loops) / 3600.0
    return {
        "caught": share(len(caught_s), len(judged)),
        "howl_median_s": quantile(delays_s, 0.5),
        "howl_95_s": quantile(delays_s, 0.95),
        "caught_95_s": quantile(caught_s, 0.95),
        "before_louder": share(sum(_before_louder(loop, row) for loop in loud), len(loud)),
        "ringing_before": share(sum(delay_s < 0.0 for delay_s in warnings_s), len(warnings_s)),
        "ringing_median_s": quantile(warnings_s, 0.5),
        "ringing_95_s": quantile(warnings_s, 0.95),
        "right_band": share(sum(bands), len(bands)),
        "cents_median": quantile(cents, 0.5),
        "cents_95": quantile(cents, 0.95),
        "closed_in_time": share(sum(s <= CLOSES_WITHIN_S for s in closes_s), len(closes_s)),
        "close_median_s": quantile(closes_s, 0.5),
        "close_95_s": quantile(closes_s, 0.95),
        "lit_whole": share(sum(part > 0.99 for part in lit), len(lit)),
        "false_howls": rate(sum(loop.scores[row].false_howls for loop in loops), hours),
        "false_ringings": rate(
            sum(loop.scores[row].false_ringings for loop in loops) if warns else 0,
            hours if warns else 0.0,
        ),
    }


def howl_delays_s(loops: Sequence[LoopResult], row: Row) -> list[float]:
    """From overtake to howl of every judged loop, s; negative: before it, ``inf``: never."""
    return [_since_overtake(loop, loop.scores[row].howl_s) for loop in loops if loop.facts.judged]


def ringing_delays_s(loops: Sequence[LoopResult], row: Row) -> list[float]:
    """From overtake to ringing of every judged loop, s."""
    return [
        _since_overtake(loop, loop.scores[row].ringing_s) for loop in loops if loop.facts.judged
    ]


def _since_overtake(loop: LoopResult, at_s: float | None) -> float:
    overtake_s = loop.facts.overtake_s
    return math.inf if at_s is None or overtake_s is None else at_s - overtake_s


def _before_louder(loop: LoopResult, row: Row) -> bool:
    howl_s, louder_s = loop.scores[row].howl_s, loop.facts.louder_s
    return howl_s is not None and louder_s is not None and howl_s < louder_s


def false_rates(sounds: Sequence[SoundResult], row: Row) -> tuple[Measure, Measure]:
    """Howls and ringings an hour in sounds without feedback."""
    flagged = [ring for sound in sounds for ring in sound.flagged[row]]
    hours = sum(sound.hours for sound in sounds)
    return (
        rate(sum(ring.howl_s is not None for ring in flagged), hours),
        rate(sum(ring.ringing_s is not None for ring in flagged), hours),
    )


def by(
    sounds: Sequence[SoundResult], key: Callable[[SoundResult], str]
) -> dict[str, list[SoundResult]]:
    """The sounds under each key, in the order in which the keys come."""
    found: dict[str, list[SoundResult]] = {}
    for sound in sounds:
        found.setdefault(key(sound), []).append(sound)
    return found


def precision(caught: float, false_an_hour: float) -> float:
    """Part of all howls shown that are howls, percent, with ``HOWLS_AN_HOUR`` to be found."""
    right = HOWLS_AN_HOUR * caught / 100.0
    return 100.0 * right / (right + false_an_hour) if right + false_an_hour > 0.0 else math.nan


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis the runs are drawn along: its name and the bin, in words, that a run falls in."""

    name: str
    bins: tuple[str, ...]
    bin_of: Callable[[LoopFacts], str]


def _ranges(
    name: str, unit: str, edges: Sequence[float], value_of: Callable[[LoopFacts], float]
) -> Axis:
    bins = tuple(f"{a:g} to {b:g} {unit}" for a, b in itertools.pairwise(edges))

    def bin_of(facts: LoopFacts) -> str:
        place = int(np.searchsorted(edges, value_of(facts), side="right")) - 1
        return bins[min(max(place, 0), len(bins) - 1)]

    return Axis(name, bins, bin_of)


def axes_of(loops: Sequence[LoopResult]) -> list[Axis]:
    """The axes of random runs; those with names have the names that occur."""

    def names(name: str, value_of: Callable[[LoopFacts], str]) -> Axis:
        return Axis(name, tuple(sorted({value_of(loop.facts) for loop in loops})), value_of)

    return [
        _ranges("T60", "s", (0.2, 0.4, 0.7, 1.0, 1.5), lambda f: f.t60_s),
        names("loudspeaker", lambda f: f.place),
        names("programme", lambda f: f.programme),
        names("provoked by", lambda f: f.provocation),
        _ranges("excess", "dB", (0.3, 0.6, 1.2, 2.5, 6.0), lambda f: f.peak_excess_db),
        _ranges("compressed to", "dB", (-9.0, 0.0, 0.3, 1.2, 6.0), lambda f: f.held_excess_db),
        names("limiter", lambda f: f.limiter),
        names(
            "compressor",
            lambda f: "none" if f.compressor_ratio <= 1.0 else f"{f.compressor_ratio:g} to 1",
        ),
        _ranges("box below", "m", (0.15, 0.4, 0.65, 0.9), lambda f: f.box_below_m),
        _ranges("box noise", "dBFS", (-85.0, -72.0, -60.0, -48.0), lambda f: f.box_noise_dbfs),
        names("rate", lambda f: f"{f.sample_rate_hz} Hz"),
    ]
