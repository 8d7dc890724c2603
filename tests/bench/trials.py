"""The trials: what is played, and every detector that listens to it.

Loops are drawn from seeds and sounds from packages that training never uses.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any, get_args

import numpy as np

from monitor.listening.rings import Way
from monitor.stage.provoke import Run, render_run
from monitor.stage.run_spec import random_spec
from tests.bench.figures import LoopResult, SoundResult
from tests.bench.handrule import flags
from tests.bench.material import SAMPLE_RATE_HZ, Sound, at_rate, programme_for, sounds, varied
from tests.bench.replay import PLAIN, listen
from tests.bench.scoring import Flagged, Truth, facts_of, moments, score_loop
from tests.bench.sources import SCORED_SEEDS_FROM

STABLE_SEEDS_FROM = SCORED_SEEDS_FROM + 50_000
"""Rooms of their own for the loops that never ring."""
RATES_HZ = (48000, 44100)
PROGRAMME_S = 13.0
"""Longer than the longest run."""

HAND_RULE = "hand rule"
Detector = Callable[..., dict[float, list[Flagged]]]


def _by_hand(samples: np.ndarray, *, sample_rate_hz: int) -> dict[float, list[Flagged]]:
    return {PLAIN: moments(flags(samples, sample_rate_hz=sample_rate_hz))}


def detectors() -> dict[str, Detector]:
    """What is scored, by name: from samples [n] and ``sample_rate_hz`` to what it flagged, for
    each setting; ``PLAIN`` is the setting the tables show, all of them make the curve.
    """
    ways: dict[str, Detector] = {way: partial(listen, way=way) for way in get_args(Way)}
    return {**ways, HAND_RULE: _by_hand}


@dataclass
class _Noted:
    """A sound that notes when it is read: what was played through the loop."""

    sound: Sound
    read_from: list[Sound]

    def __getattr__(self, name: str) -> Any:
        return getattr(self.sound, name)

    def read(self) -> np.ndarray:
        self.read_from.append(self.sound)
        return self.sound.read()


def render(seed: int, *, stable: bool) -> tuple[Run, str]:
    """Run ``seed`` with a sound of the scoring part through it, and the sound's group."""
    read_from: list[Sound] = []
    pool = [_Noted(sound, read_from) for sound in sounds() if sound.scored]
    sound = programme_for(seed, PROGRAMME_S, pool)  # type: ignore[arg-type]
    programmes = ("silence",) if sound is None else ("given",)
    spec = random_spec(seed, programmes=programmes, stable=stable)
    return render_run(spec, sound), read_from[0].group if read_from else "silence"


def score_run(seed: int, stable: bool) -> LoopResult:
    """Render a run and score all detectors on it."""
    run, programme = render(seed, stable=stable)
    return scored(run, programme=programme)


def scored(run: Run, *, programme: str) -> LoopResult:
    """What all detectors make of a run with such a programme."""
    truth = Truth(run)
    scores = {
        (name, move): score_loop(truth, found)
        for name, detector in detectors().items()
        for move, found in detector(run.closed, sample_rate_hz=run.sample_rate_hz).items()
    }
    return LoopResult(facts_of(run, programme=programme), scores)


def samples_of(sound: Sound, seconds: float) -> tuple[np.ndarray, int]:
    """The beginning of a sound as it is scored, and its rate in Hz.

    It is in another place than it was recorded in, and every second one at the other of the rates
    at which loops are listened to.
    """
    number = zlib.crc32(sound.path.name.encode())
    wanted = int(min(seconds, sound.duration_s + 1.0) * SAMPLE_RATE_HZ)
    samples = varied(sound.read()[:wanted], np.random.default_rng(number + 1000))
    rate_hz = RATES_HZ[number % len(RATES_HZ)]
    return at_rate(samples, SAMPLE_RATE_HZ, rate_hz), rate_hz


def score_sound(sound: Sound, seconds: float) -> SoundResult:
    """All that the detectors flag in a sound without feedback."""
    samples, rate_hz = samples_of(sound, seconds)
    flagged = {
        (name, move): found
        for name, detector in detectors().items()
        for move, found in detector(samples, sample_rate_hz=rate_hz).items()
    }
    hours = len(samples) / rate_hz / 3600.0
    return SoundResult(sound.path.name, sound.package, sound.group, sound.kind, hours, flagged)
