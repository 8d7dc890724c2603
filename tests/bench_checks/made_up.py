"""Runs, scores and results made up so that the answer is known by construction."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from monitor.stage.nyquist import Critical
from monitor.stage.provoke import Run
from monitor.stage.run_spec import RunSpec
from tests.bench.figures import LoopResult, Row, SoundResult
from tests.bench.replay import PLAIN
from tests.bench.results import Results
from tests.bench.scoring import Flagged, LoopFacts, LoopScore

RATE_HZ = 8000
RINGS_HZ = 1000.0
ONSET_S, OVERTAKE_S, ACTS_S, OFF_S, LENGTH_S = 2.0, 3.0, 6.0, 6.1, 9.0


def howling(*, decay_db_per_s: float = 40.0, programme_db: float = -60.0) -> Run:
    """A ring at 1 kHz that stands at full level until the loop is stable, then decays straight."""
    t = np.arange(int(LENGTH_S * RATE_HZ)) / RATE_HZ
    level_db = np.where(t < ONSET_S, -90.0, np.minimum(-60.0 + 60.0 * (t - ONSET_S), -6.0))
    level_db -= decay_db_per_s * np.maximum(t - OFF_S, 0.0)
    feedback = 10.0 ** (level_db / 20.0) * np.sin(2.0 * np.pi * RINGS_HZ * t)
    opened = 10.0 ** (programme_db / 20.0) * np.sin(2.0 * np.pi * 1.02 * RINGS_HZ * t)
    time_s = np.arange(0.0, LENGTH_S, 0.01)
    mode = Critical(RINGS_HZ, margin_db=-2.0, loop_time_s=0.01, growth_db_per_s=60.0)
    return Run(
        spec=RunSpec(seed=1, room_seed=1, t60_s=0.5, place="wedge"),
        sample_rate_hz=RATE_HZ,
        closed=(opened + feedback).astype(np.float32),
        opened=opened.astype(np.float32),
        feedback=feedback.astype(np.float32),
        excess_time_s=time_s,
        excess_db=np.where((time_s >= ONSET_S) & (time_s < OFF_S), 2.0, -6.0),
        peak_excess_db=2.0,
        truth=(mode,),
        near=(replace(mode, frequency_hz=1700.0, margin_db=1.0),),
        critical_frequency_hz=RINGS_HZ,
        onset_s=ONSET_S,
        off_s=OFF_S,
        overtake_s=OVERTAKE_S,
        louder_than_programme_s=OVERTAKE_S + 0.5,
        acts_s=ACTS_S,
    )


FACTS = LoopFacts(
    seed=7,
    stable=False,
    t60_s=0.5,
    place="wedge",
    programme="music",
    provocation="push",
    peak_excess_db=2.0,
    held_excess_db=1.5,
    limiter="soft",
    compressor_ratio=1.0,
    box_below_m=0.3,
    box_noise_dbfs=-70.0,
    sample_rate_hz=48000,
    length_s=36.0,
    onset_s=2.0,
    overtake_s=3.0,
    louder_s=4.0,
    end_s=8.0,
)
SCORE = LoopScore(
    howl_s=3.2,
    ringing_s=2.9,
    cents=1.0,
    right_band=True,
    false_howls=0,
    false_ringings=1,
    close_s=(0.1, 0.5),
    lit_part=1.0,
)
MISSED = LoopScore(None, None, None, None, 1, 1, (), None)
ROWS = [(name, PLAIN) for name in ("soundcheck", "set", "hand rule")]


def _flagged(ring: Flagged) -> dict[Row, list[Flagged]]:
    return {row: [ring] for row in ROWS}


def results() -> Results:
    """Three runs, two of them judged, one of these missed; two sounds with a false flag each."""
    late = replace(FACTS, seed=8, overtake_s=7.9)
    loops = [
        LoopResult(FACTS, dict.fromkeys(ROWS, SCORE)),
        LoopResult(replace(FACTS, place="mains"), dict.fromkeys(ROWS, MISSED)),
        LoopResult(late, dict.fromkeys(ROWS, SCORE)),
    ]
    howl = Flagged(440.0, -4, 1.0, 2.0, math.inf)
    sounds = [
        SoundResult("a", "packed", "music", "band", 0.5, _flagged(howl)),
        SoundResult("b", "other", "music", "drums", 1.5, _flagged(replace(howl, howl_s=None))),
    ]
    return Results(loops, [LoopResult(FACTS, dict.fromkeys(ROWS, MISSED))], sounds)
