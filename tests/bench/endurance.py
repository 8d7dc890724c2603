"""Whether the listening keeps its memory over a long night: a day of sound, pushed as it comes.

Run with ``python -m tests.bench.endurance``; a day of sound takes about half an hour, with
``--hours 1`` a minute or two.  Memory is what proc(5) says is resident of this process, in which
nothing but the listening and the making of its sound runs.
"""

from __future__ import annotations

import argparse
import math
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from monitor.listening.listener import Listener
from monitor.listening.rings import RingEvent

RATE_HZ = 48000
BLOCK_S = 0.1
ROWS_H = (0.0, 1.0, 6.0, 12.0, 24.0)
SETTLED_S = 60.0
"""What "after 0 h" means: everything is loaded and every past is full."""
MOST_GROWTH_MB = 1.0
LOOP_S = 60.0
RING_EVERY_S = 10.0


def music(sample_rate_hz: int) -> np.ndarray:
    """A minute of invented music that can be looped: chords with overtones over a little noise."""
    rng = np.random.default_rng(11)
    sound = 0.002 * rng.standard_normal(int(LOOP_S * sample_rate_hz))
    n = int(0.5 * sample_rate_hz)
    times_s = np.arange(n) / sample_rate_hz
    for first in range(0, len(sound) - n, n):
        for note in rng.choice(36, 3, replace=False):
            for harmonic in range(1, 6):
                frequency_hz = 82.4 * 2.0 ** (note / 12.0) * harmonic
                if frequency_hz < 0.45 * sample_rate_hz:
                    sound[first : first + n] += (
                        0.06
                        / harmonic
                        * np.exp(-3.0 * times_s)
                        * np.sin(2.0 * math.pi * frequency_hz * times_s)
                    )
    return sound.astype(np.float32)


def evening(*, sample_rate_hz: int, seconds: float, seed: int = 1) -> Iterator[np.ndarray]:
    """Blocks of float32 [n]: music at changing gains, silence, and a ring in every 10 s.

    Each ring climbs along a straight line at a frequency and pace of its own, stands and stops.
    """
    rng = np.random.default_rng(seed)
    loop = music(sample_rate_hz)
    n = round(BLOCK_S * sample_rate_hz)
    within_s = np.arange(n) / sample_rate_hz
    blocks_a_ring = round(RING_EVERY_S / BLOCK_S)
    for block in range(round(seconds / BLOCK_S)):
        if block % blocks_a_ring == 0:
            gain = rng.choice([0.0, 0.05, 0.3, 1.0])
            start = rng.integers(len(loop) - n * blocks_a_ring)
            top_hz = min(10000.0, 0.4 * sample_rate_hz)
            frequency_hz = 80.0 * (top_hz / 80.0) ** rng.uniform()
            growth_db_per_s = rng.uniform(15.0, 80.0)
        number = block % blocks_a_ring
        first = start + number * n
        sound = gain * loop[first : first + n]
        times_s = number * BLOCK_S + within_s
        if 2.0 <= number * BLOCK_S < 8.0:
            level_dbfs = np.minimum(-90.0 + growth_db_per_s * (times_s - 2.0), -14.0)
            sound = sound + 10.0 ** (level_dbfs / 20.0) * np.sin(
                2.0 * math.pi * frequency_hz * times_s
            )
        yield sound.astype(np.float32)


def listen(*, sample_rate_hz: int, seconds: float) -> Iterator[tuple[float, list[RingEvent]]]:
    """Listen to an evening as the watcher does; yields seconds heard and the events of a block.

    Levels are asked for once a second; every five minutes the way is changed and some samples
    are lost.
    """
    listener = Listener(sample_rate_hz=sample_rate_hz)
    a_second, five_minutes = round(1.0 / BLOCK_S), round(300.0 / BLOCK_S)
    for number, block in enumerate(evening(sample_rate_hz=sample_rate_hz, seconds=seconds), 1):
        events = listener.push(block)
        if number % a_second == 0:
            listener.levels()
        if number % five_minutes == 0:
            events += listener.reset()
            listener.set_way("soundcheck" if listener.way == "set" else "set")
        yield number * BLOCK_S, events


def resident_mb() -> float:
    """Memory of this process that is resident."""
    status = Path("/proc/self/status").read_text()
    return int(status.split("VmRSS:")[1].split()[0]) / 1024.0


def main() -> int:
    """Print the table; 1 if memory grew by more than the goal."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=24.0, help="how much sound (24)")
    hours = parser.parse_args().hours
    rows_s = [max(h * 3600.0, SETTLED_S) for h in ROWS_H if h < hours] + [hours * 3600.0]
    print(f"{hours:g} h of sound through the listening, {RATE_HZ} Hz")
    print("   after   resident     growth   ringing   howls   closed   times real time")
    counts: Counter[str] = Counter()
    first_mb, growth_mb = 0.0, 0.0
    start_s = time.process_time()
    for heard_s, events in listen(sample_rate_hz=RATE_HZ, seconds=hours * 3600.0):
        counts.update(event.kind for event in events)
        if rows_s and heard_s >= rows_s[0] - 0.5 * BLOCK_S:
            now_mb = resident_mb()
            first_mb = first_mb or now_mb
            growth_mb = now_mb - first_mb
            speed = heard_s / (time.process_time() - start_s)
            print(
                f"{rows_s.pop(0) / 3600.0:6.2f} h{now_mb:8.2f} MB{growth_mb:8.2f} MB"
                f"{counts['ringing']:10d}{counts['howl']:8d}{counts['closed']:9d}{speed:18.1f}",
                flush=True,
            )
    print(f"goal: under {MOST_GROWTH_MB:g} MB growth")
    return 1 if growth_mb >= MOST_GROWTH_MB else 0


if __name__ == "__main__":
    raise SystemExit(main())
