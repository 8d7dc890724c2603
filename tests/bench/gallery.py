"""The worst misses and the worst false alarms: which they are, and a picture of each."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.bench.figures import LoopResult, SoundResult
from tests.bench.material import Sound
from tests.bench.replay import PLAIN
from tests.bench.report import WAYS
from tests.bench.results import Results
from tests.bench.scoring import Flagged
from tests.bench.spectrograms import draw_case
from tests.bench.trials import detectors, render, samples_of

BEFORE_S, AFTER_S = 4.0, 4.0
"""Around a false alarm: its past is what misled."""


@dataclass(frozen=True, slots=True)
class FalseAlarm:
    """A ring flagged in a sound without feedback, by which row, and what all rows flagged there."""

    sound: str
    row: str
    ring: Flagged
    flagged: dict[str, list[Flagged]]

    @property
    def stem(self) -> str:
        """The sound's name without what a file name should not hold."""
        return re.sub(r"[^A-Za-z0-9]+", "-", Path(self.sound).stem).strip("-")


def worst_misses(results: Results, count: int) -> list[LoopResult]:
    """Judged loops that the set never called a howl, longest overtaken first; then the latest."""

    def badness(loop: LoopResult) -> tuple[bool, float]:
        overtake_s = loop.facts.overtake_s or 0.0
        howl_s = loop.scores["set", PLAIN].howl_s
        return howl_s is None, (loop.facts.end_s if howl_s is None else howl_s) - overtake_s

    judged = [loop for loop in results.loops if loop.facts.judged]
    return sorted(judged, key=badness, reverse=True)[:count]


def worst_false_alarms(sounds: Sequence[SoundResult], count: int) -> list[FalseAlarm]:
    """The longest false howl of each sound, the set's before soundcheck's; then false ringing.

    Sounds that are no music, speech, singing or instrument stand apart and are not drawn.
    """
    found: list[FalseAlarm] = []
    for degree in ("howl_s", "ringing_s"):
        for row in reversed(WAYS):
            alarms = []
            for sound in sounds:
                rings = [r for r in sound.flagged[row, PLAIN] if getattr(r, degree) is not None]
                known = {alarm.sound for alarm in found}
                if rings and sound.group != "apart" and sound.name not in known:
                    plain = {
                        name: rings for (name, f), rings in sound.flagged.items() if f == PLAIN
                    }
                    alarms.append(FalseAlarm(sound.name, row, max(rings, key=_lasted_s), plain))
            found += sorted(alarms, key=lambda alarm: -_lasted_s(alarm.ring))
    return found[:count]


def _lasted_s(ring: Flagged) -> float:
    begin_s = ring.howl_s if ring.howl_s is not None else ring.ringing_s
    return ring.end_s - (begin_s or 0.0)


def in_words(loop: LoopResult) -> str:
    """A run's spec in words."""
    facts = loop.facts
    squeezed = facts.compressor_ratio > 1.0
    return ", ".join(
        [
            facts.place if facts.place.startswith("badly") else f"{facts.place} loudspeaker",
            f"T60 {facts.t60_s:.2f} s",
            "silence" if facts.programme == "silence" else f"{facts.programme} through it",
            {"push": "slow push", "step": "sudden step", "hand": "hand on the grille"}.get(
                facts.provocation, "someone walking"
            ),
            f"{facts.peak_excess_db:.1f} dB over",
            "no limiter" if facts.limiter == "none" else f"{facts.limiter} limiter",
            f"compressor {facts.compressor_ratio:g} to 1" if squeezed else "no compressor",
            f"box noise {facts.box_noise_dbfs:.0f} dBFS",
        ]
    )


def draw_miss(loop: LoopResult, path: Path) -> Path:
    """Draw a loop that was missed or caught late."""
    run, _ = render(loop.facts.seed, stable=loop.facts.stable)
    howl_s = loop.scores["set", PLAIN].howl_s
    late = (
        "never called a howl in set"
        if howl_s is None
        else f"a howl in set {howl_s - (loop.facts.overtake_s or 0.0):.2f} s after the overtake"
    )
    flagged = {
        name: detector(run.closed, sample_rate_hz=run.sample_rate_hz)[PLAIN]
        for name, detector in detectors().items()
    }
    return draw_case(
        run.closed,
        run.sample_rate_hz,
        flagged,
        title=f"Loop {loop.facts.seed}: {late}",
        words=in_words(loop),
        run=run,
        hz=run.critical_frequency_hz,
        span_s=(0.0, loop.facts.length_s),
        path=path,
    )


def draw_false_alarm(alarm: FalseAlarm, sound: Sound, seconds: float, path: Path) -> Path:
    """Draw what misled a detector in a sound without feedback."""
    samples, rate_hz = samples_of(sound, seconds)
    ring = alarm.ring
    degree = "ringing" if ring.howl_s is None else "howl"
    at_s = ring.howl_s if ring.howl_s is not None else ring.ringing_s or 0.0
    lasted = "" if math.isinf(ring.end_s) else f", shown for {_lasted_s(ring):.1f} s"
    return draw_case(
        samples,
        rate_hz,
        alarm.flagged,
        title=f"{sound.path.stem}: a false {degree} at {ring.frequency_hz:.0f} Hz{lasted}",
        words=f"{sound.group}, {sound.kind}, package {sound.package}; flagged at {alarm.row}",
        run=None,
        hz=ring.frequency_hz,
        span_s=(max(0.0, at_s - BEFORE_S), min(len(samples) / rate_hz, at_s + AFTER_S)),
        path=path,
    )
