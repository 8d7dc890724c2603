"""The whole job: what a ring-out wins when a performer does what it says and nothing else.

Run with ``python -m tests.bench.ring_out [--rooms N] [--sounding N] [--json FILE]``.  Rooms from
seed ``ROOM_SEEDS_FROM`` on: no constant was chosen on them.  Beside it the plain habit (nearest
slider, 3 dB at a time) with the same hands, and the best that the same equaliser could have done
in that room at the same total tone cost, the response known.

Conventions
-----------
Won is how much further the fader may go than with all sliders flat before the loop's Nyquist
criterion says that it rings.  Most rooms are reckoned from the loop's response (``ring_out_room``),
a handful are played and listened to (``ring_out_sound``).
"""

from __future__ import annotations

from tests.bench import one_thread  # noqa: F401

# isort: split

import argparse
import json
import math
import os
from collections import Counter
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from monitor.advice.equaliser import Equaliser
from tests.bench.pool import run_all
from tests.bench.ring_out_best import best_gain_db, frontier, handled_gain_db
from tests.bench.ring_out_hands import (
    ALL_HANDS,
    STEADY,
    Hands,
    Outcome,
    advised,
    habit,
)
from tests.bench.ring_out_room import HEARD_ERRORS, BenchRoom
from tests.bench.ring_out_sound import sounded

ROOM_SEEDS_FROM = 100_000
PLAYS = ("silence", "talk")
"""What goes on at the microphone of a ring-out: nothing, or somebody counts into it."""
KINDS = ("31", "15", "9", "5", "parametric")
WORSE_DB = 0.25
"""Less than this is less than a slider can be set to."""
WITHIN_DB = 1.0
PUBLISHED_DB = (5.0, 8.0)
"""Manual notching plus third-octave equalisation in practice: T. van Waterschoot, M. Moonen, Proc.
IEEE 99(2), 2011, section III, citing its reference 6."""


@dataclass(frozen=True)
class Job:
    """One room, one equaliser, one pair of hands."""

    seed: int
    kind: str
    hands: str
    advised: Outcome
    habit: Outcome
    habit_as_far: Outcome
    """The habit carried on until it has won as much, or cannot."""
    best_db: float
    """The best gain at the tone cost that the advice came to ..."""
    handled_db: float
    """... and what these hands would have left of it."""


def score(seed: int) -> list[Job]:
    """One room with all equalisers and all hands."""
    room = BenchRoom(seed)
    return [job for kind in KINDS for job in _scored(room, kind)]


def _scored(room: BenchRoom, kind: str) -> list[Job]:
    equaliser = Equaliser.from_settings(kind)
    told = [(hands, advised(room, equaliser, hands, _rng(room, hands))) for hands in ALL_HANDS]
    best = frontier(
        room,
        equaliser,
        from_db=min(outcome.won_db for _, outcome in told) - 1.0,
        up_to_cost_db=max(outcome.tone_cost_db for _, outcome in told),
    )
    return [
        Job(
            room.seed,
            kind,
            hands.name,
            outcome,
            habit(room, equaliser, hands, _rng(room, hands)),
            habit(room, equaliser, hands, _rng(room, hands), until_db=outcome.won_db),
            best_gain_db(best, outcome.tone_cost_db),
            handled_gain_db(room, best, outcome.tone_cost_db, hands, _rng(room, hands)),
        )
        for hands, outcome in told
    ]


def _rng(room: BenchRoom, hands: Hands) -> np.random.Generator:
    """The same chances for advice and habit."""
    return np.random.default_rng([room.seed, len(hands.name)])


# Tables.


def _median(values: list[float]) -> float:
    return float(np.median(values)) if values else math.nan


def _share(hits: list[bool]) -> float:
    return 100.0 * float(np.mean(hits)) if hits else math.nan


def figures(jobs: list[Job]) -> dict[str, float]:
    """The columns of the table for some jobs; shares in per cent."""
    won = [job.advised.won_db for job in jobs]
    far = [job for job in jobs if job.habit_as_far.why_ended == "as much"]
    tries = [hit for job in jobs for hit in job.advised.first_tries]
    ratios = [ratio for job in jobs for ratio in job.advised.ratios]
    return {
        "won": _median(won),
        "mean": float(np.mean(won)) if won else math.nan,
        "10 %": float(np.quantile(won, 0.1)) if won else math.nan,
        "best": _median([job.best_db for job in jobs]),
        "so handled": _median([job.handled_db for job in jobs]),
        "within 1 dB": _share([j.advised.won_db >= j.best_db - WITHIN_DB for j in jobs]),
        "as handled": _share([j.advised.won_db >= j.handled_db - WITHIN_DB for j in jobs]),
        "habit": _median([job.habit.won_db for job in jobs]),
        "worse": _share([j.advised.won_db < j.habit.won_db - WORSE_DB for j in jobs]),
        "habit 10 %": float(np.quantile([j.habit.won_db for j in jobs], 0.1)) if jobs else math.nan,
        "pulls": _median([job.advised.pulls for job in jobs]),
        "sliders": _median([job.advised.sliders for job in jobs]),
        "cut": _median([job.advised.total_cut_db for job in jobs]),
        "tone": _median([job.advised.tone_cost_db for job in jobs]),
        "as far": 100.0 * len(far) / len(jobs) if jobs else math.nan,
        "pulls there": _median([job.advised.pulls for job in far]),
        "its pulls": _median([job.habit_as_far.pulls for job in far]),
        "cut there": _median([job.advised.total_cut_db for job in far]),
        "its cut": _median([job.habit_as_far.total_cut_db for job in far]),
        "stops": _share(tries),
        "< 2x": _share([ratio < 2.0 for ratio in ratios]),
        "ratio": _median(ratios),
        "margins": _share([held for job in jobs for held in job.advised.margins_held]),
    }


def goals(jobs: list[Job]) -> list[tuple[str, bool, str]]:
    """Each goal, whether it is met, and the figures; 31 bands and steady hands unless said."""
    rows = []
    for hands in (STEADY.name, "clumsy"):
        of = figures([job for job in jobs if (job.kind, job.hands) == ("31", hands)])
        rows += [
            (f"31 bands, {hands}: won >= 6 dB in the middle", of["won"] >= 6.0, f"{of['won']:.1f}"),
            (
                f"31 bands, {hands}: within 1 dB of the best in 80 % of rooms",
                of["within 1 dB"] >= 80.0,
                f"{of['within 1 dB']:.0f} %",
            ),
            (
                f"31 bands, {hands}: within 1 dB of what these hands leave of the best, in 80 %",
                of["as handled"] >= 80.0,
                f"{of['as handled']:.0f} %",
            ),
            (
                f"31 bands, {hands}: fewer pulls than the habit that wins as much",
                of["pulls there"] < of["its pulls"],
                f"{of['pulls there']:.0f} and {of['its pulls']:.0f}",
            ),
            (
                f"31 bands, {hands}: less total cut than the habit that wins as much",
                of["cut there"] < of["its cut"],
                f"{of['cut there']:.0f} and {of['its cut']:.0f} dB",
            ),
        ]
    for kind in KINDS:
        of = figures([job for job in jobs if job.kind == kind])
        worse = of["won"] < of["habit"] or of["10 %"] < of["habit 10 %"]
        shown = f"{of['won']:.1f} and {of['habit']:.1f} dB, "
        shown += f"at 10 % {of['10 %']:.1f} and {of['habit 10 %']:.1f} dB"
        rows += [
            (f"{kind}: not worse than the habit", not worse, shown),
            (
                f"{kind}: in no room worse than the habit",
                of["worse"] == 0.0,
                f"in {of['worse']:.1f} % of runs",
            ),
        ]
    whole = figures(jobs)
    rows += [
        (
            "all: the advised pull stops the ring in 90 %",
            whole["stops"] >= 90.0,
            f"{whole['stops']:.0f} %",
        ),
        (
            "all: by less than twice the need in 80 %",
            whole["< 2x"] >= 80.0,
            f"{whole['< 2x']:.0f} %",
        ),
    ]
    return rows


def print_sounded(outcomes: list[Outcome]) -> None:
    """Print what was reached in full sound."""
    print(f"{len(outcomes)} rooms in full sound, 31 bands, heard by the real listening:")
    for outcome in outcomes:
        print(
            f"  won {outcome.won_db:4.1f} dB, {outcome.pulls} pulls, {outcome.sliders} sliders, "
            f"cut {outcome.total_cut_db:.0f} dB, tone {outcome.tone_cost_db:.1f} dB, "
            f"{outcome.took_s:.0f} s; {outcome.why_ended}"
        )
    tries = [hit for outcome in outcomes for hit in outcome.first_tries]
    ratios = [ratio for outcome in outcomes for ratio in outcome.ratios]
    print(
        f"  won {_median([o.won_db for o in outcomes]):.1f} dB in the middle; the advised pull "
        f"stops {_share(tries):.0f} %, less than twice the need in "
        f"{_share([ratio < 2.0 for ratio in ratios]):.0f} % of {len(tries)}"
    )


def print_tables(jobs: list[Job]) -> None:
    """Print what was reached, by equaliser and hands, and the goals."""
    rooms = len({job.seed for job in jobs})
    (climb, spread), (fall, fall_spread) = HEARD_ERRORS.climb, HEARD_ERRORS.fall
    print(
        f"{rooms} rooms from the loop's response; slopes heard off by a factor of "
        f"{math.exp(climb):.2f} (spread {spread:.2f} by the logarithm), answers by "
        f"{math.exp(fall):.2f} ({fall_spread:.2f})"
    )
    names = list(figures([]))
    print(f"{'dB, counts, shares in %':26s}" + "".join(f"{name:>13s}" for name in names))
    for kind in KINDS:
        for hands in ALL_HANDS:
            part = [job for job in jobs if (job.kind, job.hands) == (kind, hands.name)]
            if part:
                values = figures(part).values()
                print(f"{kind + ', ' + hands.name:26s}" + "".join(f"{v:13.3g}" for v in values))
    for kind in KINDS:
        ends = Counter(job.advised.why_ended for job in jobs if job.kind == kind)
        print(f"{kind} ended: " + "; ".join(f"{n} {why}" for why, n in ends.most_common(5)))
    won = figures([j for j in jobs if j.kind == "31" and j.hands == STEADY.name])["mean"]
    low_db, high_db = PUBLISHED_DB
    print(f"31 bands, steady: mean gain {won:.1f} dB; published {low_db:g} to {high_db:g} dB")
    for name, met, value in goals(jobs):
        print(f"{'met  ' if met else 'SHORT'} {name}: {value}")


def main() -> None:
    """Score, print the tables, write what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument("--rooms", type=int, default=200, help="default 200")
    parser.add_argument("--sounding", type=int, default=8, help="rooms in full sound, default 8")
    parser.add_argument("--from", type=int, default=ROOM_SEEDS_FROM, dest="first", help="room seed")
    parser.add_argument("--processes", type=int, default=os.cpu_count())
    parser.add_argument("--json", type=Path, metavar="FILE", help="write all results here")
    asked = parser.parse_args()
    rooms = [(asked.first + i,) for i in range(asked.rooms)]
    jobs = [
        job
        for found in run_all(score, rooms, name="rooms", processes=asked.processes)
        for job in found
    ]
    print_tables(jobs)
    played = [
        (asked.first + i, "31", ALL_HANDS[i % len(ALL_HANDS)], PLAYS[i // 2 % len(PLAYS)])
        for i in range(asked.sounding)
    ]
    outcomes = run_all(sounded, played, name="in full sound", processes=asked.processes)
    if outcomes:
        print_sounded(outcomes)
    if asked.json:
        asked.json.parent.mkdir(parents=True, exist_ok=True)
        both = {
            "reckoned": [asdict(job) for job in jobs],
            "sounded": [asdict(outcome) for outcome in outcomes],
        }
        asked.json.write_text(json.dumps(both, indent=1), "utf-8")


if __name__ == "__main__":
    main()
