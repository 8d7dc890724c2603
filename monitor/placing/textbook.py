"""The same stage by the textbooks' strict formulas: round microphones, distances, one loudspeaker.

It stands beside the reckoning for comparison only; no change is chosen by it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from monitor.placing.acoustics import (
    SPEECH_BANDS,
    critical_distance_m,
    indoor_needed_db,
    indoor_potential_db,
)
from monitor.placing.directivity import directivity_factors, half_mean_deg
from monitor.placing.stage import Loudspeaker, Microphone, Stage

_LEAST_M = 0.05
"""Things at one place would make a logarithm of nothing."""


@dataclass(frozen=True, slots=True)
class Strict:
    """Potential and needed acoustic gain in dB (Ballou eq. 34-22 and 34-24), margin of 6 dB."""

    potential_db: float
    needed_db: float


def strict_gain(stage: Stage) -> Strict | None:
    """Return the worst pair of an open microphone and mains by the formulas; None without mains."""
    found = [
        _of_pair(stage, microphone, one)
        for _, microphone in stage.open_microphones()
        for one in stage.mains
    ]
    return min(found, key=lambda one: one.potential_db - one.needed_db, default=None)


def _of_pair(stage: Stage, microphone: Microphone, loudspeaker: Loudspeaker) -> Strict:
    listener, mouth = stage.listener.position_m, microphone.mouth_at_m
    away_m = max(_LEAST_M, math.dist(mouth, listener))
    critical_m = stage_critical_distance_m(stage)
    return Strict(
        potential_db=indoor_potential_db(
            talker_to_microphone=microphone.mouth_m,
            talker_to_listener=away_m,
            microphone_to_loudspeaker=math.dist(microphone.position_m, loudspeaker.position_m),
            loudspeaker_to_listener=max(_LEAST_M, math.dist(loudspeaker.position_m, listener)),
            critical_distance=critical_m,
            open_count=len(stage.open_microphones()),
        ),
        needed_db=indoor_needed_db(
            talker_to_listener=away_m, ead=stage.ead_m, critical_distance=critical_m
        ),
    )


def stage_critical_distance_m(stage: Stage) -> float:
    """Return the critical distance of the mains (of the first loudspeaker where there are none)."""
    first, *_ = stage.mains or stage.loudspeakers
    quality = directivity_factors(half_mean_deg(first.coverage_deg))
    return critical_distance_m(
        directivity_factor=sum(quality[band] for band in SPEECH_BANDS) / len(SPEECH_BANDS),
        volume_m3=stage.room.volume_m3,
        t60_s=stage.room.t60_s,
    )
