"""The protocol of a published comparison (NINOS, 2025): every bin of every frame asked.

Run with ``python -m tests.bench.protocol [--excerpts N] [--over DB ...] [--json FILE]``.  The test
signals stand in ``excerpts.py``, labels and scores in ``framewise.py``.  As in the paper's Tables 3
and 4 each feature is given its best threshold afterwards (F1) and all of them (average precision),
once over the whole excerpts and once without what comes later than 5 s after howling began.  Our
chain is asked the same question: its evidence as it ships, nothing tuned to these signals.

Two tables by default: with the gain a little over the limit, where a loop grows, and as good as at
the limit, the paper to the letter, where a howl may take longer to be heard than early lasts.  The
row that is given the truth as soon as the howl stands out says what can be reached by hearing.

Over the limit PTPR and PAPR do better than in the paper: a howl held by an end stop stands out by
its level alone, and all excerpts are brought to one peak.
"""

from __future__ import annotations

from tests.bench import one_thread  # noqa: F401

# isort: split

import argparse
import json
import os
from collections.abc import Sequence
from pathlib import Path
from typing import get_args

from monitor.listening.rings import Way
from tests.bench.excerpts import OVER_DB, programme, render
from tests.bench.framewise import (
    Grid,
    Tally,
    features,
    labels,
    once_it_stands_out,
    ours,
)
from tests.bench.pool import run_all

GROUPS = ("speech", "music")
SPANS = ("full", "early")
EARLY_S = 5.0
AT_LIMIT_DB = 0.02
"""As good as at the limit, and yet beyond what rounding does to it."""

Tallies = dict[tuple[str, str], Tally]
"""By feature and span."""
Figures = dict[str, dict[str, dict[str, dict[str, float]]]]
"""By feature, group, span and figure."""


def tallies_of(group: str, number: int, over_db: float) -> Tallies:
    """Render one excerpt and count what each feature gives its bins."""
    excerpt = render(number, programme(group, number), over_db=over_db)
    found: Tallies = {}
    scored = [ours(excerpt.samples, way) for way in get_args(Way)]
    scored.append(once_it_stands_out(excerpt, Grid(1024)))
    for name, grid, score in (*scored, *features(excerpt.samples, music=group == "music")):
        howls, counted = labels(excerpt, grid, len(score))
        found[name, "full"] = Tally.of(score[counted], howls[counted])
        counted[grid.ends_s(len(score)) > excerpt.onset_s + EARLY_S] = False
        found[name, "early"] = Tally.of(score[counted], howls[counted])
    return found


def figures_of(excerpts: Sequence[tuple[str, Tallies]]) -> Figures:
    """Pool the excerpts of each group, and work out the figures."""
    pooled: dict[tuple[str, str, str], Tally] = {}
    for group, tallies in excerpts:
        for (name, span), tally in tallies.items():
            pooled[name, group, span] = pooled.get((name, group, span), Tally()) + tally
    found: Figures = {}
    for (name, group, span), tally in pooled.items():
        found.setdefault(name, {}).setdefault(group, {})[span] = tally.figures()
    return found


def print_figures(found: Figures, over_db: float) -> None:
    """Print the table, first what is best on early howling in music."""
    columns = [(group, span) for group in GROUPS for span in SPANS]
    print(f"the published protocol, the gain going {over_db:g} dB over the limit")
    print("best F1 / average precision over all bins of all frames")
    print(" " * 22 + "".join(f"{f'{group} {span}':>16}" for group, span in columns))
    order = sorted(found, key=lambda name: -found[name]["music"]["early"]["average_precision"])
    for name in order:
        cells = [found[name][group][span] for group, span in columns]
        print(
            f"  {name:<20}"
            + "".join(f"{c['f1']:10.2f} /{c['average_precision']:5.2f}" for c in cells)
        )


def main() -> None:
    """Score, print the table, write what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument(
        "--excerpts", type=int, default=28, help="of speech and of music (default 28)"
    )
    parser.add_argument(
        "--over",
        type=float,
        nargs="+",
        default=[OVER_DB, AT_LIMIT_DB],
        metavar="DB",
        help=f"the gain ends above the limit (default {OVER_DB:g} and {AT_LIMIT_DB:g})",
    )
    parser.add_argument("--processes", type=int, default=os.cpu_count())
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the figures here")
    asked = parser.parse_args()
    if asked.excerpts < 1 or min(asked.over) <= 0.0:
        parser.error("excerpts must be at least 1, over more than 0 dB")
    tables = {}
    for over_db in asked.over:
        jobs = [(group, i, over_db) for i in range(asked.excerpts) for group in GROUPS]
        tallies = run_all(tallies_of, jobs, name="excerpts", processes=asked.processes)
        found = figures_of([(job[0], one) for job, one in zip(jobs, tallies, strict=True)])
        print_figures(found, over_db)
        tables[f"{over_db:g} dB over the limit"] = found
    if asked.json:
        asked.json.parent.mkdir(parents=True, exist_ok=True)
        asked.json.write_text(json.dumps(tables, indent=1, allow_nan=False) + "\n", "utf-8")


if __name__ == "__main__":
    main()
