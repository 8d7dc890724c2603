"""What the listening costs: speed of the chain, beside it that of libraries, memory, start.

Run with ``python -m tests.bench.cost``.  Times are CPU times of this process with one thread;
a busy machine still stretches them, so compare as ratios within one run.
"""

from __future__ import annotations

from tests.bench import one_thread  # noqa: F401

# isort: split

import subprocess
import sys
import time
from collections.abc import Callable

import numpy as np

from monitor.listening.listener import Listener
from tests.bench import trackers

RATES_HZ = (16000, 44100, 48000, 96000)
BESIDE_HZ = 48000
SECONDS = 30.0
REPEATS = 3
LEAST_SPEED = 100.0
LEAST_RATIO = 3.0
"""The goals: times real time, and how much quicker than the quicker library."""


def programme(sample_rate_hz: int) -> np.ndarray:
    """A dense invented programme: moving chords with overtones, noise bursts, and two howls."""
    rng = np.random.default_rng(7)
    t = np.arange(int(SECONDS * sample_rate_hz)) / sample_rate_hz
    x = np.zeros(len(t))
    for start_s in np.arange(0.0, SECONDS, 0.5):
        part = slice(int(start_s * sample_rate_hz), int((start_s + 0.5) * sample_rate_hz))
        local = t[part] - start_s
        for note in rng.choice(24, 4, replace=False):
            for harmonic in range(1, 7):
                frequency_hz = 110.0 * 2.0 ** (note / 12.0) * harmonic
                x[part] += (
                    0.05
                    / harmonic
                    * np.exp(-2.0 * local)
                    * np.sin(2 * np.pi * frequency_hz * t[part])
                )
    x += 0.003 * rng.standard_normal(len(t))
    for frequency_hz, start_s in ((1800.0, 8.0), (420.0, 18.0)):
        level_db = np.minimum(-70.0 + 25.0 * (t - start_s), -14.0)
        on = (t >= start_s) & (t < start_s + 5.0)
        x += on * 10.0 ** (level_db / 20.0) * np.sin(2 * np.pi * frequency_hz * t)
    return x.astype(np.float32)


def howls(samples: np.ndarray, *, sample_rate_hz: int) -> int:
    """Listen in blocks of about 11 ms; how many howls were found."""
    listener = Listener(sample_rate_hz=sample_rate_hz)
    block_samples = sample_rate_hz // 94
    return sum(
        event.kind == "howl"
        for first in range(0, len(samples), block_samples)
        for event in listener.push(samples[first : first + block_samples])
    )


def cpu_s(work: Callable[[], int]) -> tuple[float, int]:
    """CPU seconds of this process for one go, and what came of it."""
    start_s = time.process_time()
    result = work()
    return time.process_time() - start_s, result


def print_speeds() -> None:
    """Print the chain's speed at each rate."""
    print(f"the whole listening chain, one thread (median of {REPEATS}, goal {LEAST_SPEED:.0f})")
    print("     rate   times real time   howls found of 2")
    for rate_hz in RATES_HZ:
        samples = programme(rate_hz)
        runs = [
            cpu_s(lambda sound=samples, rate=rate_hz: howls(sound, sample_rate_hz=rate))
            for _ in range(REPEATS)
        ]
        speed = SECONDS / float(np.median([took_s for took_s, _ in runs]))
        print(f"{rate_hz:6d} Hz   {speed:15.1f}   {runs[0][1]}")


def print_beside() -> None:
    """Print the libraries' peak tracking beside the chain, taking turns on the same sound."""
    samples = programme(BESIDE_HZ)
    contenders: dict[str, Callable[[], int]] = {
        "the whole chain, hop by hop": lambda: howls(samples, sample_rate_hz=BESIDE_HZ)
    }
    for how, run in (("hop by hop", trackers.hop_by_hop), ("all at once", trackers.whole)):
        for name, tracker in trackers.trackers().items():
            contenders[f"{name}, {how}"] = lambda run=run, tracker=tracker: run(
                tracker, samples, sample_rate_hz=BESIDE_HZ
            )
    contenders["numpy's FFT of each window, no more"] = lambda: trackers.hop_by_hop(
        trackers.bare_fft, samples, sample_rate_hz=BESIDE_HZ
    )
    for work in contenders.values():
        work()  # once for nothing: libraries load and compile at their first call
    took_s: dict[str, list[float]] = {title: [] for title in contenders}
    for turn in range(REPEATS):
        for title in list(contenders)[:: -1 if turn % 2 else 1]:
            took_s[title].append(cpu_s(contenders[title])[0])
    medians_s = {title: float(np.median(runs)) for title, runs in took_s.items()}
    ours_s = next(iter(medians_s.values()))
    print(f"beside it spectral peaks by libraries, the same windows and hops, {BESIDE_HZ} Hz")
    print(f"  times real time   ours is quicker by (goal {LEAST_RATIO:.0f} to the quicker)")
    for title, median_s in medians_s.items():
        ratio = "" if median_s == ours_s else f"{median_s / ours_s:.2f}"
        print(f"  {SECONDS / median_s:15.1f}   {ratio:>6s}   {title}")
    if trackers.librosa is None:
        print("  left out: librosa (not installed; it is in the extra `bench`)")


def fresh_import() -> tuple[float, float]:
    """Seconds until a new process has analysed its first block, and its resident MB."""
    code = (
        "import time; start = time.monotonic()\n"
        "import numpy\n"
        "from monitor.listening.listener import Listener\n"
        "Listener(sample_rate_hz=48000).push(numpy.zeros(1024, dtype=numpy.float32))\n"
        "took = time.monotonic() - start\n"
        "status = open('/proc/self/status').read()\n"
        "print(took, int(status.split('VmRSS:')[1].split()[0]) / 1024)\n"
    )
    runs = []
    for _ in range(5):
        out = subprocess.run(
            [sys.executable, "-c", code], check=True, capture_output=True, text=True
        ).stdout.split()
        runs.append((float(out[0]), float(out[1])))
    return float(np.median([r[0] for r in runs])), float(np.median([r[1] for r in runs]))


def main() -> None:
    """Print the tables."""
    print_speeds()
    print_beside()
    seconds, megabytes = fresh_import()
    print(
        f"listening chain alone, new process: first block after {seconds:.2f} s, {megabytes:.0f} MB"
    )


if __name__ == "__main__":
    main()
