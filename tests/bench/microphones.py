"""The listening through microphones that are not good: the same howls, the same music.

``python -m tests.bench.microphones [--loops N] [--sounds N]``: loops and music of the scoring part,
each heard as it is and through every fault of ``MICROPHONES``.  Truth is the loop's own, whatever
the box hears of it.  What the faults are is common practice, no source.
"""

from __future__ import annotations

from tests.bench import one_thread  # noqa: F401

# isort: split

import argparse
import sys
from collections.abc import Callable
from typing import get_args

import numpy as np
from scipy.signal import butter, sosfilt

from monitor.listening.rings import Way
from monitor.stage.filters import peaking_response
from tests.bench.figures import LoopResult, Row, loop_figures
from tests.bench.material import Sound, at_rate, sounds
from tests.bench.pool import run_all
from tests.bench.replay import PLAIN, listen
from tests.bench.report import print_table
from tests.bench.scoring import Truth, facts_of, score_loop
from tests.bench.sources import SCORED_SEEDS_FROM
from tests.bench.trials import render, samples_of

LOOPS = 120
SOUNDS = 60
SECONDS = 60.0
LOW_RATE_HZ = 16000
HIGH_PASS_HZ = 250.0
PEAK_HZ = 4000.0
PEAK_DB = 12.0
QUIET_DBFS = -55.0
BITS_16 = 32768.0
LEVELLED_DBFS = -20.0
MOST_LEVELLING_DB = 30.0
ATTACK_S = 0.02
RELEASE_S = 1.5
STEP_S = 0.005

Heard = tuple[np.ndarray, int]
"""Samples, float32 [n], and their rate in Hz."""
Through = Callable[[np.ndarray, int], Heard]


def clipped(over_db: float) -> Through:
    """A gain that brings the loudest sample so far over full scale."""

    def through(samples: np.ndarray, rate_hz: int) -> Heard:
        gain = 10.0 ** (over_db / 20.0) / max(float(np.abs(samples).max()), 1e-9)
        return np.clip(samples * np.float32(gain), -1.0, 1.0), rate_hz

    return through


def quiet(samples: np.ndarray, rate_hz: int) -> Heard:
    """A gain so low that the loudest sample is at ``QUIET_DBFS``, in 16 bits."""
    gain = 10.0 ** (QUIET_DBFS / 20.0) / max(float(np.abs(samples).max()), 1e-9)
    return np.round(samples * (gain * BITS_16)).astype(np.float32) / np.float32(BITS_16), rate_hz


def levelled(samples: np.ndarray, rate_hz: int) -> Heard:
    """Automatic gain: down within ``ATTACK_S``, up again within ``RELEASE_S``."""
    step = round(STEP_S * rate_hz)
    wanted, most = 10.0 ** (LEVELLED_DBFS / 20.0), 10.0 ** (MOST_LEVELLING_DB / 20.0)
    heard = np.empty_like(samples)
    level, gain = 1e-4, 1.0
    for first in range(0, len(samples), step):
        part = samples[first : first + step]
        now = float(np.sqrt(np.mean(np.square(part)) + 1e-12))
        level += (now - level) * (1.0 - np.exp(-STEP_S / (ATTACK_S if now > level else RELEASE_S)))
        after = min(wanted / level, most)
        heard[first : first + step] = part * np.linspace(gain, after, len(part))
        gain = after
    return np.clip(heard, -1.0, 1.0), rate_hz


def thin(samples: np.ndarray, rate_hz: int) -> Heard:
    """Nothing below ``HIGH_PASS_HZ`` (12 dB an octave), as small capsules for speech."""
    cut = butter(2, HIGH_PASS_HZ, "high", fs=rate_hz, output="sos")
    return sosfilt(cut, samples).astype(np.float32), rate_hz


def peaked(samples: np.ndarray, rate_hz: int) -> Heard:
    """A capsule in a hole of its case: ``PEAK_DB`` up at ``PEAK_HZ``."""
    response = peaking_response(
        centre_hz=PEAK_HZ,
        gain_db=PEAK_DB,
        q=3.0,
        frequency_hz=np.fft.rfftfreq(2 * len(samples), 1.0 / rate_hz),
        sample_rate_hz=rate_hz,
    )
    heard = np.fft.irfft(np.fft.rfft(samples, 2 * len(samples)) * response)[: len(samples)]
    return heard.astype(np.float32), rate_hz


def slow(samples: np.ndarray, rate_hz: int) -> Heard:
    """A card that runs at ``LOW_RATE_HZ`` and no faster."""
    return at_rate(samples, rate_hz, LOW_RATE_HZ), LOW_RATE_HZ


MICROPHONES: dict[str, Through] = {
    "as it is": lambda samples, rate_hz: (samples, rate_hz),
    "clipped by 6 dB": clipped(6.0),
    "clipped by 18 dB": clipped(18.0),
    "set far too low": quiet,
    "automatic gain": levelled,
    "no low end": thin,
    "a peak at 4 kHz": peaked,
    "16 kHz": slow,
}


def row(microphone: str, way: str) -> Row:
    """Where the figures of a microphone, listened to in a way, are kept."""
    return f"{microphone}, {way}", PLAIN


def of_loop(seed: int) -> LoopResult:
    """One loop through every microphone, both ways."""
    run, programme = render(seed, stable=False)
    truth = Truth(run)
    scores = {}
    for name, through in MICROPHONES.items():
        samples, rate_hz = through(run.closed, run.sample_rate_hz)
        for way in get_args(Way):
            found = listen(samples, sample_rate_hz=rate_hz, way=way)[PLAIN]
            scores[row(name, way)] = score_loop(truth, found)
    return LoopResult(facts_of(run, programme=programme), scores)


def of_sound(place: int) -> tuple[float, dict[Row, int]]:
    """Hours of the sound at a place of the scoring part, and howls found in it by each row."""
    heard, heard_rate_hz = samples_of(_music()[place], SECONDS)
    howls = {}
    for name, through in MICROPHONES.items():
        samples, rate_hz = through(heard, heard_rate_hz)
        for way in get_args(Way):
            found = listen(samples, sample_rate_hz=rate_hz, way=way)[PLAIN]
            howls[row(name, way)] = sum(one.howl_s is not None for one in found)
    return len(heard) / heard_rate_hz / 3600.0, howls


def _music() -> list[Sound]:
    return [sound for sound in sounds() if sound.scored and sound.group == "music"]


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument("--loops", type=int, default=LOOPS, help=f"(default {LOOPS})")
    parser.add_argument("--sounds", type=int, default=SOUNDS, help=f"(default {SOUNDS})")
    asked = parser.parse_args()
    loops = run_all(of_loop, [(SCORED_SEEDS_FROM + i,) for i in range(asked.loops)], name="loops")
    music = _music()
    places = np.linspace(0, len(music) - 1, min(asked.sounds, len(music))).astype(int)
    calm = run_all(of_sound, [(int(place),) for place in places], name="music")
    hours = sum(one_hours for one_hours, _ in calm)
    lines = []
    for name in MICROPHONES:
        cells = []
        for way in get_args(Way):
            figures = loop_figures(loops, row(name, way))
            false = sum(howls[row(name, way)] for _, howls in calm) / hours if hours else 0.0
            cells += [
                f"{figures['caught'].value:.1f}",
                f"{figures['howl_median_s'].value:.2f}",
                f"{false:.1f}",
            ]
        lines.append((name, *cells))
    each = ("caught %", "median s", "false/h")
    print_table(
        f"{asked.loops} loops, {sum(loop.facts.judged for loop in loops)} of them judged, and "
        f"{hours:.2f} h of music: soundcheck, then set",
        ("microphone", *each, *each),
        lines,
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
