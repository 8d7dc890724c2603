"""What decides a run on the practice stage: room, programme, provocation, electronics, the box."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from monitor.stage.dynamics import LIMITERS, LimiterKind
from monitor.stage.performer import PROGRAMMES
from monitor.stage.room import PLACES, Place

Provocation = Literal["push", "step", "hand", "walk"]
PROVOCATIONS: tuple[Provocation, ...] = ("push", "step", "hand", "walk")


@dataclass(frozen=True)
class RunSpec:
    """Everything that decides a run; the same spec gives the same samples.

    ``programme`` is one of the performer's, or "given" when the caller supplies the sound.
    ``excess_db`` is where the loop ends up; negative for runs that never ring.  ``onset_s`` is
    when the provocation begins; ``acts_s`` when somebody pulls the fader down again (None:
    nobody).  ``programme_db`` is the programme's loud level at the loudspeaker beside its end
    stop, with the fader at the limit.
    """

    seed: int
    room_seed: int
    t60_s: float
    place: Place
    programme: str = "song"
    provocation: Provocation = "push"
    excess_db: float = 2.0
    onset_s: float = 2.0
    push_db_per_s: float = 3.0
    acts_s: float | None = None
    acts_db: float = 9.0
    limiter: LimiterKind = "soft"
    compressor_ratio: float = 1.0
    compressor_threshold_db: float = -18.0
    low_cut_hz: float = 100.0
    latency_s: float = 0.002
    programme_db: float = -20.0
    box_below_m: float | None = None
    box_peak_dbfs: float = -9.0
    box_noise_dbfs: float = -70.0
    sample_rate_hz: int = 48000
    duration_s: float = 10.0

    @property
    def moves(self) -> bool:
        """Whether the loop itself is moved, and not only its fader."""
        return self.provocation in ("hand", "walk")


def random_spec(
    seed: int,
    *,
    programmes: Sequence[str] = PROGRAMMES,
    stable: bool = False,
    duration_s: float | None = None,
) -> RunSpec:
    """Return a run with every axis drawn at random.

    Parameters
    ----------
    seed : int
        The same seed gives the same run.
    programmes : sequence of str
        What to choose from; "given" for sound that the caller supplies to `render_run`.
    stable : bool
        True for a run whose excess stays below 0 dB (-8 to -0.7 dB).
    duration_s : float, optional
        8 to 12 s by default.
    """
    rng = np.random.default_rng([seed, 4711])
    length_s = float(rng.uniform(8.0, 12.0)) if duration_s is None else duration_s
    excess_db = float(np.exp(rng.uniform(math.log(0.3), math.log(6.0))))
    stable_db = -float(rng.uniform(0.7, 8.0))
    acts = rng.random() < 0.7
    acts_s = length_s - float(rng.uniform(0.8, 2.0))
    return RunSpec(
        seed=seed,
        room_seed=seed,
        t60_s=float(np.exp(rng.uniform(math.log(0.2), math.log(1.5)))),
        place=PLACES[int(rng.integers(len(PLACES)))],
        programme=str(programmes[int(rng.integers(len(programmes)))]),
        provocation=PROVOCATIONS[int(rng.choice(4, p=[0.4, 0.25, 0.2, 0.15]))],
        excess_db=stable_db if stable else excess_db,
        onset_s=float(rng.uniform(0.15, 0.3)) * length_s,
        push_db_per_s=float(np.exp(rng.uniform(math.log(0.7), math.log(8.0)))),
        acts_s=acts_s if acts else None,
        acts_db=float(rng.uniform(4.0, 14.0)),
        limiter=LIMITERS[int(rng.choice(3, p=[0.5, 0.3, 0.2]))],
        compressor_ratio=float(rng.choice([1.0, 1.0, 1.0, 2.0, 4.0, 10.0])),
        compressor_threshold_db=float(rng.uniform(-24.0, -8.0)),
        low_cut_hz=float(rng.choice([0.0, 80.0, 100.0, 120.0])),
        latency_s=float(rng.choice([0.0, 0.0, 0.001, 0.002, 0.004, 0.006])),
        programme_db=float(rng.uniform(-32.0, -10.0)),
        box_below_m=float(rng.uniform(0.15, 0.9)),
        box_peak_dbfs=float(rng.uniform(-26.0, 2.0)),
        box_noise_dbfs=float(rng.uniform(-85.0, -48.0)),
        sample_rate_hz=int(rng.choice([44100, 48000])),
        duration_s=length_s,
    )
