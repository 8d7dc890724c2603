"""What the listening and the watcher cost: speed of the chain, memory, time to listen.

Run with ``python -m tests.bench.cost``.  Times are process CPU times on one thread, so that a
busy machine changes them little; still compare as ratios within one run.
"""

from __future__ import annotations

import os

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ[_name] = "1"

import subprocess  # noqa: E402
import sys  # noqa: E402
import time  # noqa: E402

import numpy as np  # noqa: E402

from monitor.listening.listener import Listener  # noqa: E402

RATES_HZ = (16000, 44100, 48000, 96000)
SECONDS = 30.0


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


def chain_speed(sample_rate_hz: int, *, block_samples: int) -> tuple[float, int]:
    """Times real time, in CPU time of this thread, and how many rings were found."""
    samples = programme(sample_rate_hz)
    listener = Listener(sample_rate_hz=sample_rate_hz)
    rings = 0
    start_s = time.thread_time()
    for first in range(0, len(samples), block_samples):
        rings += sum(
            event.kind == "howl" for event in listener.push(samples[first : first + block_samples])
        )
    return SECONDS / (time.thread_time() - start_s), rings


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
    """Print the table."""
    print("the whole listening chain, one thread (median of 3)")
    print("  rate       block      times real time   howls found of 2")
    for rate_hz in RATES_HZ:
        runs = [chain_speed(rate_hz, block_samples=rate_hz // 94) for _ in range(3)]
        speed = float(np.median([run[0] for run in runs]))
        print(f"  {rate_hz:6d} Hz  {rate_hz // 94:5d}    {speed:10.1f}       {runs[0][1]}")
    seconds, megabytes = fresh_import()
    print(
        f"listening chain alone, new process: first block after {seconds:.2f} s, {megabytes:.0f} MB"
    )


if __name__ == "__main__":
    main()
