"""What would tell a ring's loop time before any pull: T60, distance, spacing of the lines, place.

Run with ``python -m tests.bench.excess_grounds [--rooms N] [--processes N]``.  In each room one
excess is drawn as in ``run_spec.random_spec``; of all frequencies that are unstable there the one
that grows fastest stands for the one heard first.  Its loop time is explained by its frequency and
by what else somebody may know, by least squares on the logarithm; the errors printed are those of
rooms left out one by one.  An excess within a factor of 1.5 in 80 % of rooms would need a spread
of 0.32 (normal errors).

Conventions
-----------
Rooms from seed ``GROUNDS_SEEDS_FROM`` on, scored by no other bench.  Loop times from the loop's own
response (``ring_out_room``).
"""

from __future__ import annotations

from tests.bench import one_thread  # noqa: F401

# isort: split

import argparse
import math
import os
from typing import NamedTuple

import numpy as np

from monitor.advice.equaliser import Equaliser
from monitor.stage.images import SOUND_SPEED_M_S
from monitor.stage.room import random_room
from tests.bench.pool import run_all
from tests.bench.ring_out_room import LATENCY_S, BenchRoom

GROUNDS_SEEDS_FROM = 60_000
FACTOR = 1.5
MOST_MODES = 200
EXCESS_DB = (0.3, 6.0)
LINGERS_DB = 3.0
"""Lines so near to ringing stand out of the programme, too."""
SETS: tuple[tuple[str, ...], ...] = (
    ("frequency",),
    ("frequency", "distance"),
    ("frequency", "delay"),
    ("frequency", "spacing of rings"),
    ("frequency", "spacing of lines"),
    ("frequency", "T60"),
    ("frequency", "T60", "distance"),
    ("frequency", "T60", "spacing of rings"),
    ("frequency", "T60", "spacing of lines"),
    ("frequency", "T60", "mains", "wedge"),
)


class Ground(NamedTuple):
    """One room: the logarithm of the loop time in s, and of what may explain it; NaN unknown."""

    log_time: float
    known: dict[str, float]


def ground(seed: int) -> Ground:
    """Return what there is to know of one room's first ring."""
    rng = np.random.default_rng([seed, 99])
    room, loop = random_room(seed), BenchRoom(seed)
    flat = Equaliser.from_settings("31")
    hz, margin_db, times_s = loop.modes(flat, [0.0] * len(flat.sliders), most=MOST_MODES)
    above_db = margin_db - margin_db.min()
    excess_db = float(np.exp(rng.uniform(*np.log(EXCESS_DB))))
    growth = np.where(above_db < excess_db, (excess_db - above_db) / times_s, 0.0)
    first = int(np.argmax(growth))
    metres = math.dist(room.loudspeakers[0].position_m, room.microphone.position_m)
    return Ground(
        math.log(times_s[first]),
        {
            "frequency": math.log(hz[first] / 1000.0),
            "T60": math.log(room.t60_s),
            "distance": math.log(metres),
            "delay": math.log(metres / SOUND_SPEED_M_S + LATENCY_S),
            "spacing of rings": _spacing(hz, first, above_db < excess_db),
            "spacing of lines": _spacing(hz, first, above_db < excess_db + LINGERS_DB),
            "mains": float(room.description.startswith("mains")),
            "wedge": float(room.description.startswith("wedge")),
        },
    )


def _spacing(hz: np.ndarray, first: int, heard: np.ndarray) -> float:
    others = heard & (np.arange(len(hz)) != first)
    if not others.any():
        return math.nan
    return math.log(float(np.abs(hz[others] - hz[first]).min()))


def left_out_errors(log_time: np.ndarray, known: np.ndarray) -> np.ndarray:
    """Return each room's error by the least squares over all other rooms."""
    columns = np.column_stack([np.ones(len(log_time)), known])
    hat = columns @ np.linalg.pinv(columns)
    errors: np.ndarray = (log_time - hat @ log_time) / (1.0 - np.diag(hat))
    return errors


def table(grounds: list[Ground]) -> list[tuple[str, int, float, float]]:
    """Return for each set of grounds its name, rooms, spread, and share within the factor."""
    rows = []
    log_time = np.array([one.log_time for one in grounds])
    for names in SETS:
        known = np.array([[one.known[name] for name in names] for one in grounds])
        told = np.isfinite(known).all(axis=1)
        errors = left_out_errors(log_time[told], known[told])
        within = 100.0 * float(np.mean(np.abs(errors) <= math.log(FACTOR)))
        rows.append((" + ".join(names), int(told.sum()), float(errors.std()), within))
    return rows


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument("--rooms", type=int, default=300, help="default 300")
    parser.add_argument("--processes", type=int, default=os.cpu_count())
    asked = parser.parse_args()
    seeds = [(GROUNDS_SEEDS_FROM + i,) for i in range(asked.rooms)]
    grounds = run_all(ground, seeds, name="rooms", processes=asked.processes)
    print(f"{'known beside the slope':42s}{'rooms':>8s}{'spread':>8s}{'in 1.5, %':>11s}")
    for name, count, spread, within in table(grounds):
        print(f"{name:42s}{count:8d}{spread:8.2f}{within:11.0f}")


if __name__ == "__main__":
    main()
