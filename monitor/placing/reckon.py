"""What a stage plan comes to: the gain it leaves, which pair limits it, and what to move.

The gain is reckoned as ``loop.py`` says; the textbooks' strict formulas are in ``acoustics.py``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from monitor.placing.acoustics import SPEECH_BANDS, critical_distance_m
from monitor.placing.changes import Change, changes_of
from monitor.placing.directivity import (
    directivity_factors,
    half_mean_deg,
    loudspeaker_tables,
    microphone_tables,
)
from monitor.placing.loop import Loop, Part, Reckoner
from monitor.placing.stage import FOOT_M, Stage, Units
from monitor.placing.words import cautions_of, sentence_of, unknown_of

SPREAD_DB = 4.0
"""Half the range of the spare gain: four of five rooms of the practice stage lie within it
(``tests/bench/placing.py``)."""
_BAND_1K = 3
MOST_CHANGES = 12


@dataclass(frozen=True, slots=True)
class Gain:
    """The stage's gain in dB; ``spare_db`` is potential less needed, the 6 dB margin kept."""

    potential_db: float
    needed_db: float
    spare_db: float
    low_db: float
    high_db: float
    open_microphones: int
    critical_distance_m: float


@dataclass(frozen=True, slots=True)
class Pair:
    """One open microphone and one loudspeaker.

    ``off_microphone_db`` and ``off_loudspeaker_db`` are what both lose away from their axes at
    1 kHz; ``feedback_db`` is how strongly the pair is heard beside the one that limits (0 dB).
    """

    microphone: str
    loudspeaker: str
    distance_m: float
    off_microphone_db: float
    off_loudspeaker_db: float
    feedback_db: float
    limits: bool


@dataclass(frozen=True, slots=True)
class Reckoning:
    """Everything that is reckoned of one stage; lengths in metres, ``fields`` in its units."""

    units: Units
    gain: Gain
    pairs: tuple[Pair, ...]
    changes: tuple[Change, ...]
    sentence: str
    unknown: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def limiting(self) -> Pair:
        """The pair that is heard most strongly."""
        return next(pair for pair in self.pairs if pair.limits)

    def fields(self) -> dict[str, Any]:
        """Return it ready for JSON, lengths in the stage's own units."""
        scale = FOOT_M if self.units == "feet" else 1.0
        gain = self.gain
        return {
            "units": self.units,
            "gain": {
                "potential_db": round(gain.potential_db, 1),
                "needed_db": round(gain.needed_db, 1),
                "spare_db": round(gain.spare_db, 1),
                "low_db": round(gain.low_db, 1),
                "high_db": round(gain.high_db, 1),
                "open_microphones": gain.open_microphones,
                "critical_distance": round(gain.critical_distance_m / scale, 2),
            },
            "pairs": [
                {
                    "microphone": pair.microphone,
                    "loudspeaker": pair.loudspeaker,
                    "distance": round(pair.distance_m / scale, 2),
                    "off_microphone_db": round(pair.off_microphone_db, 1),
                    "off_loudspeaker_db": round(pair.off_loudspeaker_db, 1),
                    "feedback_db": round(pair.feedback_db, 1),
                    "limits": pair.limits,
                }
                for pair in self.pairs
            ],
            "changes": [change.fields() for change in self.changes],
            "sentence": self.sentence,
            "unknown": list(self.unknown),
            "cautions": list(self.cautions),
        }


def reckon(stage: Stage) -> Reckoning:
    """Return what a checked stage comes to, every single change reckoned again."""
    reckoner = Reckoner(stage.room)
    loop = reckoner.loop(stage)
    pairs = pairs_of(stage, reckoner, loop)
    changes = changes_of(stage, reckoner, loop)[:MOST_CHANGES]
    spare_db = loop.spare_db
    gain = Gain(
        potential_db=spare_db + loop.needed_db,
        needed_db=loop.needed_db,
        spare_db=spare_db,
        low_db=spare_db - SPREAD_DB,
        high_db=spare_db + SPREAD_DB,
        open_microphones=len(stage.open_microphones()),
        critical_distance_m=_critical_distance_m(stage),
    )
    limiting = next(pair for pair in pairs if pair.limits)
    return Reckoning(
        units=stage.units,
        gain=gain,
        pairs=pairs,
        changes=changes,
        sentence=sentence_of(stage, spare_db, limiting.microphone, limiting.loudspeaker, changes),
        unknown=unknown_of(stage),
        cautions=cautions_of(stage),
    )


def pairs_of(stage: Stage, reckoner: Reckoner, loop: Loop) -> tuple[Pair, ...]:
    """Return every open microphone with every loudspeaker, the strongest first."""
    alone = [20.0 * math.log10(level) for level in reckoner.alone(loop)]
    most = max(alone)
    first = alone.index(most)
    pairs = [
        _pair(stage, part, level - most, limits=i == first)
        for i, (part, level) in enumerate(zip(loop.parts, alone, strict=True))
    ]
    return tuple(sorted(pairs, key=lambda pair: (-pair.feedback_db, not pair.limits)))


def _pair(stage: Stage, part: Part, feedback_db: float, *, limits: bool) -> Pair:
    microphone = stage.microphones[part.microphone]
    loudspeaker = stage.loudspeakers[part.loudspeaker]
    ways = part.paths
    heard = microphone_tables(microphone.pattern)[_BAND_1K][round(ways.off_receiver_deg)]
    sent = loudspeaker_tables(half_mean_deg(loudspeaker.coverage_deg))[_BAND_1K][
        round(ways.off_loudspeaker_deg)
    ]
    return Pair(
        microphone=microphone.name,
        loudspeaker=loudspeaker.name,
        distance_m=ways.distance_m,
        off_microphone_db=10.0 * math.log10(heard),
        off_loudspeaker_db=10.0 * math.log10(sent),
        feedback_db=feedback_db,
        limits=limits,
    )


def _critical_distance_m(stage: Stage) -> float:
    """Return the critical distance of the mains (the first loudspeaker where there are none)."""
    mains = [one for one in stage.loudspeakers if one.kind == "mains"] or [stage.loudspeakers[0]]
    quality = directivity_factors(half_mean_deg(mains[0].coverage_deg))
    return critical_distance_m(
        directivity_factor=sum(quality[band] for band in SPEECH_BANDS) / len(SPEECH_BANDS),
        volume_m3=stage.room.volume_m3,
        t60_s=stage.room.t60_s,
    )
