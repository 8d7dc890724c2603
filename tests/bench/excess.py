"""How well the excess of a ring is known before any pull and after the first.

Run with ``python -m tests.bench.excess [--runs N] [--from SEED] [--json FILE]``.  Each run is a
closed loop of the practice stage that the listening hears.  0.8 s after the first right howl
somebody pulls by what is advised then (rounded up to half a decibel) and 1.2 s later the same
ring's excess before that pull is asked again.  Truth comes from the Nyquist criterion on the
loop's own response.

Conventions
-----------
Seeds from ``EXCESS_SEEDS_FROM`` on: no constant was chosen on them or on their rooms.  Factors
are on the excess, needed is what gives the wanted margin.  Compressors are left out: one that
squeezes hides part of the excess.
"""

from __future__ import annotations

from tests.bench import one_thread  # noqa: F401

# isort: split

import argparse
import json
import math
import os
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np

from monitor.advice.growth import LineTrace, Slope
from monitor.advice.margin import (
    WANTED_MARGIN_DB,
    Excess,
    LoopTimes,
    advised_pull_db,
)
from monitor.listening.listener import Listener
from monitor.listening.rings import RingEvent
from monitor.stage.nyquist import Critical
from monitor.stage.provoke import Run, render_run
from monitor.stage.run_spec import RunSpec, random_spec
from tests.bench.pool import run_all
from tests.bench.scoring import NEAR_HZ, NEAR_PART

EXCESS_SEEDS_FROM = 180_000
DURATION_S = 13.0
REACTION_S = 0.8
"""From the howl to the hand on the slider: someone waiting for it."""
WATCHED_S = 1.2
"""How long the answer is listened to."""
STEP_DB = 0.5
FACTOR = 1.5
WITHIN_DB = 1.0


@dataclass(frozen=True)
class Told:
    """What was told with or without the room's T60: before the pull and after it."""

    before: Excess
    pull_db: float
    after: Excess
    others_before: float | None
    others_after: float | None
    """Mean of |log| of the loop time told over the true one, at the room's other rings (None:
    there are none)."""


@dataclass(frozen=True)
class Case:
    """One run; ``told`` by whether the T60 was known, empty where nothing could be told."""

    seed: int
    place: str
    provocation: str
    t60_s: float
    heard: bool
    frequency_hz: float = 0.0
    excess_db: float = 0.0
    slope_db_per_s: float = 0.0
    growth_db_per_s: float = 0.0
    ring_growth_db_per_s: float = 0.0
    answered: bool = False
    told: dict[str, Told] | None = None


class Heard:
    """A sound as the listening heard it: its events, and the level of any line at every hop."""

    def __init__(self, samples: np.ndarray, sample_rate_hz: int) -> None:
        self._listener = Listener(sample_rate_hz=sample_rate_hz, way="soundcheck")
        self.events: list[RingEvent] = []
        self._hops: list[list[tuple[float, np.ndarray, np.ndarray]]] = [[], []]
        step = self._listener._hop_input_samples
        for number in range(1, len(samples) // step + 1):
            self.events += self._listener.push(samples[(number - 1) * step : number * step])
            for layer, hops in zip(self._listener._layers, self._hops, strict=True):
                if number % layer.resolution.stride == 0:
                    power = np.exp(layer.history.level_db(1)[0] * (math.log(10.0) / 10.0))
                    floor_db = layer.history.floor_db(1)[0].copy()
                    hops.append((self._listener.clock_s, power, floor_db))

    def trace(self, frequency_hz: float, until_s: float) -> LineTrace:
        """The line at a frequency up to a moment, as the watcher would feed it."""
        layers = self._listener._layers
        k = next(k for k, one in enumerate(layers) if frequency_hz <= one.resolution.highest_hz)
        place = round(frequency_hz / layers[k].history.bin_hz)
        trace = LineTrace()
        for at_s, power, floor_db in self._hops[k]:
            if at_s <= until_s:
                level = 10.0 * math.log10(float(power[place - 1 : place + 2].sum()))
                trace.push(at_s, level, float(floor_db[place]))
        return trace


def mode_of(frequency_hz: float, truth: tuple[Critical, ...]) -> Critical | None:
    """The unstable frequency that a flag is at, or None."""
    near = [
        mode
        for mode in truth
        if abs(mode.frequency_hz - frequency_hz) <= max(NEAR_HZ, NEAR_PART * mode.frequency_hz)
    ]
    return min(near, key=lambda mode: abs(mode.frequency_hz - frequency_hz), default=None)


def _spec(seed: int) -> RunSpec:
    spec = random_spec(seed, duration_s=DURATION_S)
    return replace(spec, compressor_ratio=1.0, acts_s=None)


def _first_howl(run: Run, heard: Heard) -> tuple[RingEvent, Critical] | None:
    for event in heard.events:
        mode = mode_of(event.ring.frequency_hz, run.truth)
        if event.kind == "howl" and mode is not None and run.excess_at(event.at_s) > 0.0:
            return event, mode
    return None


def score(seed: int) -> Case:
    """Render a run, listen, pull by what is advised, listen to the answer."""
    spec = _spec(seed)
    run = render_run(spec)
    nothing = Case(seed, spec.place, spec.provocation, spec.t60_s, heard=False)
    heard = Heard(run.closed, run.sample_rate_hz)
    found = _first_howl(run, heard)
    if found is None or found[0].at_s + REACTION_S + WATCHED_S > DURATION_S:
        return nothing
    event, mode = found
    acts_s = event.at_s + REACTION_S
    offset_db = mode.margin_db - run.truth[0].margin_db
    whole_db = float(run.excess_at(acts_s))
    case = replace(
        nothing,
        heard=True,
        frequency_hz=event.ring.frequency_hz,
        excess_db=whole_db - offset_db,
        growth_db_per_s=mode.growth_db_per_s,
        ring_growth_db_per_s=event.ring.growth_db_per_s,
    )
    slope = heard.trace(case.frequency_hz, acts_s).climb(acts_s)
    if slope is None or case.excess_db <= 0.0:
        return case
    # Whoever pushed the fader leaves it there when it howls.
    left = replace(spec, excess_db=whole_db) if spec.provocation == "push" else spec
    told, answered = {}, False
    rendered: dict[float, tuple[LineTrace, Slope | None]] = {}
    for name, t60_s in (("unknown", None), ("known", spec.t60_s)):
        times = LoopTimes(t60_s=t60_s)
        before = times.estimate(slope, frequency_hz=case.frequency_hz)
        pull_db = math.ceil(advised_pull_db(before) / STEP_DB) * STEP_DB
        if pull_db not in rendered:
            pulled = render_run(replace(left, acts_s=acts_s, acts_db=pull_db))
            until_s = acts_s + WATCHED_S
            trace = Heard(pulled.closed, run.sample_rate_hz).trace(case.frequency_hz, until_s)
            rendered[pull_db] = (trace, trace.answer(acts_s, until_s))
        told[name], learnt = _told(case, run, times, slope, before, pull_db, *rendered[pull_db])
        answered = answered or learnt
    return replace(case, slope_db_per_s=slope.db_per_s, answered=answered, told=told)


def _told(
    case: Case,
    run: Run,
    times: LoopTimes,
    slope: Slope,
    before: Excess,
    pull_db: float,
    trace: LineTrace,
    answer: Slope | None,
) -> tuple[Told, bool]:
    own_hz = case.frequency_hz
    others = [c for c in run.truth if abs(c.frequency_hz - own_hz) > NEAR_PART * own_hz]

    def off() -> float | None:
        logs = [abs(math.log(times.at(c.frequency_hz)[0] / c.loop_time_s)) for c in others]
        return float(np.mean(logs)) if logs else None

    off_before, in_vain_db = off(), None
    if answer is not None and answer.db_per_s < 0.0:
        times.learn(frequency_hz=own_hz, before=slope, after=answer, moved_db=-pull_db)
    elif answer is None and trace.stands(math.inf):
        in_vain_db = pull_db
    after = times.estimate(slope, frequency_hz=own_hz, at_least_db=in_vain_db)
    return Told(before, pull_db, after, off_before, off()), times.answers > 0


# Tables.


def _share(hits: list[bool]) -> float:
    return 100.0 * float(np.mean(hits)) if hits else math.nan


def figures(cases: list[Case], name: str) -> dict[str, float]:
    """The shares in per cent that the table shows; ``name`` is "known" or "unknown"."""
    pairs = [(case.excess_db, case.told[name]) for case in cases if case.told]
    return {
        "runs": len(pairs),
        "factor 1.5": _share(
            [abs(math.log(t.before.db / x)) <= math.log(FACTOR) for x, t in pairs]
        ),
        "holds": _share([t.before.low_db <= x <= t.before.high_db for x, t in pairs]),
        "1 dB after": _share([abs(t.after.db - x) <= WITHIN_DB for x, t in pairs]),
        "holds after": _share([t.after.low_db <= x <= t.after.high_db for x, t in pairs]),
        "stops": _share([t.pull_db > x for x, t in pairs]),
        "< 2x needed": _share([t.pull_db < 2.0 * (x + WANTED_MARGIN_DB) for x, t in pairs]),
        "pull/needed": float(np.median([t.pull_db / (x + WANTED_MARGIN_DB) for x, t in pairs]))
        if pairs
        else math.nan,
    }


KINDS: dict[str, Callable[[Case], str]] = {
    "place": lambda case: case.place,
    "provocation": lambda case: case.provocation,
    "T60": lambda case: (
        "< 0.4 s" if case.t60_s < 0.4 else "< 0.8 s" if case.t60_s < 0.8 else "more"
    ),
    "excess": lambda case: (
        "< 1 dB" if case.excess_db < 1.0 else "< 3 dB" if case.excess_db < 3.0 else "more"
    ),
}
GOALS = {"factor 1.5": 80, "1 dB after": 80, "stops": 90, "< 2x needed": 80}


def print_tables(cases: list[Case]) -> None:
    """Print what was reached, by kind of run."""
    heard = [case for case in cases if case.heard]
    told = [case for case in cases if case.told]
    print(f"{len(cases)} runs; a right howl in time in {len(heard)}, a slope in {len(told)}")
    print(f"the pull was answered by a slope in {_share([c.answered for c in told]):.0f} %")
    names = list(figures([], "known"))
    print(f"{'in %, the last column a ratio':34s}" + "".join(f"{name:>13s}" for name in names))
    for known in ("unknown", "known"):
        _row(f"all, T60 {known}", figures(told, known))
    print(f"{'goal':34s}" + "".join(f"{GOALS.get(name, ''):>13}" for name in names))
    for kind, of in KINDS.items():
        for value in sorted({of(case) for case in told}):
            part = [case for case in told if of(case) == value]
            _row(f"{kind} {value}, T60 unknown", figures(part, "unknown"))
    _print_slopes(told)


def _row(name: str, values: dict[str, float]) -> None:
    print(f"{name:34s}" + "".join(f"{value:13.3g}" for value in values.values()))


def _print_slopes(told: list[Case]) -> None:
    print("slopes within a factor of 1.5 of the loop's own at its worst moment:", end=" ")
    for name, of in (
        ("straight stretch", lambda case: case.slope_db_per_s),
        ("ring's growth at howl", lambda case: case.ring_growth_db_per_s),
    ):
        near = [
            of(c) > 0.0 and abs(math.log(of(c) / c.growth_db_per_s)) <= math.log(FACTOR)
            for c in told
        ]
        print(f"{name} {_share(near):.0f} %", end="; ")
    print()
    for known in ("unknown", "known"):
        pairs = [
            (case.told[known].others_before, case.told[known].others_after)
            for case in told
            if case.told and case.answered and case.told[known].others_before is not None
        ]
        if pairs:
            before, after = np.median(np.array(pairs, float), axis=0)
            print(
                f"loop times at other rings of the room, T60 {known}: off by a factor of "
                f"{math.exp(before):.2f} before the first answer, {math.exp(after):.2f} after "
                f"(medians of {len(pairs)})"
            )


def main() -> None:
    """Score, print the table, write what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument("--runs", type=int, default=160, help="default 160")
    parser.add_argument("--from", type=int, default=EXCESS_SEEDS_FROM, dest="first", help="seed")
    parser.add_argument("--processes", type=int, default=os.cpu_count())
    parser.add_argument("--json", type=Path, metavar="FILE", help="write all results here")
    asked = parser.parse_args()
    cases = run_all(
        score,
        [(asked.first + i,) for i in range(asked.runs)],
        name="pulls",
        processes=asked.processes,
    )
    print_tables(cases)
    if asked.json:
        asked.json.parent.mkdir(parents=True, exist_ok=True)
        asked.json.write_text(json.dumps([asdict(case) for case in cases], indent=1), "utf-8")


if __name__ == "__main__":
    main()
