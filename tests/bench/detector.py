"""Score the detector: closed loops it has not seen, and sound without feedback.

Run with ``python -m tests.bench.detector [--loops N] [--json FILE] [--pictures DIR]``.  Truth
comes from the Nyquist criterion and the twin run with the loop opened, never from the detector.
Loops are drawn from seeds, and sounds from packages, that training never uses.  What counts as
right, false and stopped stands at the top of ``scoring.py``.
"""

from __future__ import annotations

import argparse
import os
import sys
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from importlib.util import find_spec
from pathlib import Path
from typing import Any, get_args

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # the pool's processes share the cores already

import numpy as np  # noqa: E402

from monitor.listening.rings import Way  # noqa: E402
from monitor.stage.provoke import Run, random_spec, render_run  # noqa: E402
from tests.bench import report  # noqa: E402
from tests.bench.figures import LoopResult, SoundResult  # noqa: E402
from tests.bench.handrule import flags  # noqa: E402
from tests.bench.material import (  # noqa: E402
    SAMPLE_RATE_HZ,
    Sound,
    programme_for,
    sounds,
    varied,
)
from tests.bench.pool import run_all  # noqa: E402
from tests.bench.replay import PLAIN, listen  # noqa: E402
from tests.bench.results import Results, as_json  # noqa: E402
from tests.bench.scoring import Flagged, Truth, facts_of, moments, score_loop  # noqa: E402
from tests.bench.train import SCORED_SEEDS_FROM  # noqa: E402

STABLE_SEEDS_FROM = SCORED_SEEDS_FROM + 50_000
"""Rooms of their own for the loops that never ring."""
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
    truth = Truth(run)
    scores = {
        (name, factor): score_loop(truth, found)
        for name, detector in detectors().items()
        for factor, found in detector(run.closed, sample_rate_hz=run.sample_rate_hz).items()
    }
    return LoopResult(facts_of(run, programme=programme), scores)


def samples_of(sound: Sound, seconds: float) -> np.ndarray:
    """The beginning of a sound as it is scored: in another place than it was recorded in."""
    rng = np.random.default_rng(zlib.crc32(sound.path.name.encode()) + 1000)
    return varied(sound.read()[: int(min(seconds, sound.duration_s + 1.0) * SAMPLE_RATE_HZ)], rng)


def score_sound(sound: Sound, seconds: float) -> SoundResult:
    """All that the detectors flag in a sound without feedback."""
    samples = samples_of(sound, seconds)
    flagged = {
        (name, factor): found
        for name, detector in detectors().items()
        for factor, found in detector(samples, sample_rate_hz=SAMPLE_RATE_HZ).items()
    }
    hours = len(samples) / SAMPLE_RATE_HZ / 3600.0
    return SoundResult(sound.path.name, sound.package, sound.group, sound.kind, hours, flagged)


def main() -> None:
    """Score, print the tables, write what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument("--loops", type=int, default=320, help="that ring (default 320)")
    parser.add_argument("--stable", type=int, help="that do not (default: a quarter as many)")
    parser.add_argument("--seconds", type=float, default=np.inf, help="of each sound (default all)")
    parser.add_argument("--processes", type=int, default=os.cpu_count())
    parser.add_argument("--json", type=Path, metavar="FILE", help="write all results here")
    parser.add_argument("--pictures", type=Path, metavar="DIR", help="draw curves and worst cases")
    parser.add_argument("--worst", type=int, default=6, help="cases of a kind drawn (default 6)")
    asked = parser.parse_args()
    if asked.pictures and find_spec("matplotlib") is None:
        sys.exit("--pictures needs matplotlib: pip install 'howl-lantern[bench]', or leave it out")
    stable = asked.loops // 4 if asked.stable is None else asked.stable
    material = sounds()
    scored = [sound for sound in material if sound.scored]
    runs = run_all(
        score_run,
        [(SCORED_SEEDS_FROM + i, False) for i in range(asked.loops)]
        + [(STABLE_SEEDS_FROM + i, True) for i in range(stable)],
        name="closed loops",
        processes=asked.processes,
    )
    loops, calm = runs[: asked.loops], runs[asked.loops :]
    heard = run_all(
        score_sound,
        [(sound, asked.seconds) for sound in scored],
        name="sounds",
        processes=asked.processes,
        weights=[min(sound.duration_s, asked.seconds) for sound in scored],
    )
    results = Results(loops, calm, heard)
    report.print_all(results, material, rows=tuple(detectors()))
    if asked.json:
        asked.json.parent.mkdir(parents=True, exist_ok=True)
        asked.json.write_text(as_json(results), "utf-8")
        print(f"wrote {asked.json}", file=sys.stderr)


if __name__ == "__main__":
    main()
