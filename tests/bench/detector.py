"""Score the detector: closed loops it has not seen, and sound without feedback.

Run with ``python -m tests.bench.detector [--runs N] [--seconds S]``.  Truth comes from the
Nyquist criterion and the twin run with the loop opened, never from the detector.  Loops are
drawn from seeds, and sounds from packages, that training never uses.
"""

from __future__ import annotations

import argparse
import sys
import zlib
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from typing import Any, get_args

import numpy as np

from monitor.listening.bands import third_octave_of
from monitor.listening.listener import Listener
from monitor.listening.rings import RingEvent, Way
from monitor.stage.provoke import random_spec, render_run
from tests.bench.handrule import flags
from tests.bench.material import SAMPLE_RATE_HZ, Sound, programme_for, sounds, varied
from tests.bench.train import SCORED_SEEDS_FROM

HAND_RULE = "hand rule"
ROWS = (*get_args(Way), HAND_RULE)
NEAR_PART = 0.012
"""A flag is for a frequency when it lies this near: less than a quarter tone, more than drift."""


@dataclass(frozen=True, slots=True)
class LoopScore:
    """What one way of listening made of one closed loop; times in seconds, None: never."""

    overtake_s: float
    louder_s: float | None
    howl_s: float | None
    ringing_s: float | None
    cents: float | None
    right_band: bool | None
    false_howls: int


def _events(samples: np.ndarray, rate_hz: int, way: Way) -> list[RingEvent]:
    listener = Listener(sample_rate_hz=rate_hz, way=way)
    return listener.push(samples) + listener.reset()


def score_loop(seed: int) -> dict[str, LoopScore] | None:
    """Render loop ``seed`` and listen to it both ways and by the hand rule.

    None if its feedback never overtakes the programme.
    """
    pool = [sound for sound in sounds() if sound.scored]
    sound = programme_for(seed, 13.0, pool)
    spec = random_spec(seed, programmes=("silence",) if sound is None else ("given",))
    run = render_run(spec, sound)
    end_s = run.acts_s or len(run.closed) / run.sample_rate_hz
    if run.overtake_s is None or run.overtake_s > end_s - 0.5:
        return None
    true_hz = np.array([mode.frequency_hz for mode in run.truth])
    near_hz = np.array([mode.frequency_hz for mode in (*run.truth, *run.near)])
    scores: dict[str, LoopScore] = {}
    for way in get_args(Way):
        events = _events(run.closed, run.sample_rate_hz, way)
        howls = [e for e in events if e.kind == "howl"]
        right = [e for e in howls if _is_at(e, true_hz) and e.at_s <= end_s + 0.1]
        rings = [e for e in events if e.kind == "ringing" and _is_at(e, true_hz)]
        cents = band = None
        if right:
            flagged_hz = right[0].ring.frequency_hz
            nearest_hz = float(true_hz[np.argmin(np.abs(true_hz - flagged_hz))])
            cents = 1200.0 * abs(np.log2(flagged_hz / nearest_hz))
            true_band = third_octave_of(nearest_hz)
            inside = true_band.lower_hz * 1.01 < nearest_hz < true_band.upper_hz / 1.01
            band = right[0].ring.band == true_band if inside else None
        scores[way] = LoopScore(
            overtake_s=run.overtake_s,
            louder_s=run.louder_than_programme_s,
            howl_s=right[0].at_s if right else None,
            ringing_s=rings[0].at_s if rings else None,
            cents=cents,
            right_band=band,
            false_howls=sum(not _is_at(e, near_hz) for e in howls),
        )
    flagged = flags(run.closed, sample_rate_hz=run.sample_rate_hz)
    hits_s = [at_s for at_s, hz in flagged if _near(hz, true_hz) and at_s <= end_s + 0.1]
    scores[HAND_RULE] = LoopScore(
        overtake_s=run.overtake_s,
        louder_s=run.louder_than_programme_s,
        howl_s=hits_s[0] if hits_s else None,
        ringing_s=None,
        cents=None,
        right_band=None,
        false_howls=sum(not _near(hz, near_hz) for _, hz in flagged),
    )
    return scores


def _is_at(event: RingEvent, places_hz: np.ndarray) -> bool:
    return _near(event.ring.frequency_hz, places_hz)


def _near(frequency_hz: float, places_hz: np.ndarray) -> bool:
    return bool(np.any(np.abs(places_hz - frequency_hz) <= np.maximum(NEAR_PART * frequency_hz, 6)))


def score_sound(sound: Sound, seconds: float) -> tuple[str, float, dict[str, tuple[int, int]]]:
    """Group, hours, and for each way the howls and ringings flagged where there is no feedback."""
    rng = np.random.default_rng(zlib.crc32(sound.path.name.encode()) + 1000)
    samples = varied(sound.read()[: int(seconds * SAMPLE_RATE_HZ)], rng)
    counts: dict[str, tuple[int, int]] = {}
    for way in get_args(Way):
        kinds = [event.kind for event in _events(samples, SAMPLE_RATE_HZ, way)]
        counts[way] = (kinds.count("howl"), kinds.count("ringing"))
    counts[HAND_RULE] = (len(flags(samples, sample_rate_hz=SAMPLE_RATE_HZ)), 0)
    return sound.group, len(samples) / SAMPLE_RATE_HZ / 3600.0, counts


def _all(work: Callable[..., Any], jobs: Sequence[tuple[Any, ...]], name: str) -> list[Any]:
    results = []
    with ProcessPoolExecutor() as pool:
        for done, future in enumerate([pool.submit(work, *job) for job in jobs], start=1):
            results.append(future.result())
            print(f"\r   {name} {done} of {len(jobs)}", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return results


def _loop_table(scores: list[dict[str, LoopScore]]) -> None:
    print(f"closed loops never trained on: {len(scores)}")
    for row in ROWS:
        mine = [score[row] for score in scores]
        delays_s = np.array([s.howl_s - s.overtake_s for s in mine if s.howl_s is not None])
        early = [s.ringing_s is not None and s.ringing_s < s.overtake_s for s in mine]
        loud = [s for s in mine if s.louder_s is not None]
        before = [s.howl_s is not None and s.howl_s < (s.louder_s or 0.0) for s in loud]
        cents = [s.cents for s in mine if s.cents is not None]
        bands = [s.right_band for s in mine if s.right_band is not None]
        print(f"  {row}")
        print(
            f"    howls caught                           {100 * len(delays_s) / len(mine):6.1f} %"
        )
        print(
            "    after the overtake, median / 95 %      "
            f"{np.median(delays_s):6.2f} / {np.quantile(delays_s, 0.95):.2f} s"
        )
        print(f"    before louder than the whole programme {100 * np.mean(before):6.1f} %")
        if row != HAND_RULE:
            print(f"    ringing flagged before the overtake    {100 * np.mean(early):6.1f} %")
            print(f"    right third octave                     {100 * np.mean(bands):6.1f} %")
            print(
                "    frequency error, median / 95 %         "
                f"{np.median(cents):6.2f} / {np.quantile(cents, 0.95):.2f} cents"
            )
        print(f"    howls at frequencies that do not ring  {sum(s.false_howls for s in mine):6d}")


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument("--runs", type=int, default=120, help="closed loops (default 120)")
    parser.add_argument("--seconds", type=float, default=60.0, help="of each sound (default 60)")
    asked = parser.parse_args()
    loops = _all(score_loop, [(SCORED_SEEDS_FROM + i,) for i in range(asked.runs)], "closed loops")
    _loop_table([score for score in loops if score is not None])
    pool = [sound for sound in sounds() if sound.scored]
    results = _all(score_sound, [(sound, asked.seconds) for sound in pool], "sounds")
    print("false flags an hour, on packages never trained on: howl (ringing)")
    for group in ("music", "speech", "steady"):
        mine = [result for result in results if result[0] == group]
        hours = sum(result[1] for result in mine)
        parts = []
        for row in ROWS:
            howls, rings = (sum(result[2][row][i] for result in mine) for i in range(2))
            ringing = f" ({rings / hours:.1f})" if row != HAND_RULE else ""
            parts.append(f"{row} {howls / hours:.1f}{ringing}")
        print(f"  {group:<7} {hours:5.2f} h   {'   '.join(parts)}")


if __name__ == "__main__":
    main()
