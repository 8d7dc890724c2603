"""What a stage plan comes to: the gain it leaves, which pair limits it, and what to move.

The gain is reckoned as ``loop.py`` says; the textbooks' strict formulas are in ``acoustics.py``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from monitor.placing.changes import Change, changes_of
from monitor.placing.directivity import (
    half_mean_deg,
    loudspeaker_tables,
    microphone_tables,
)
from monitor.placing.loop import Loop, Part, Reckoner
from monitor.placing.stage import UNIT_M, Stage, Units
from monitor.placing.textbook import Strict, stage_critical_distance_m, strict_gain
from monitor.placing.words import cautions_of, sentence_of, unknown_of

SPREAD_DB = 4.0
"""Half the range of the spare gain.  Four of five simulated stages lay within 3 dB
(``tests/bench/placing.py``); real devices and walls are less even."""
_BAND_1K = 3
MOST_CHANGES = 12


@dataclass(frozen=True, slots=True)
class Gain:
    """The stage's gain in dB; ``spare_db`` is potential less needed, the 6 dB margin kept.

    ``strict`` is what the textbooks' formulas alone say, None where there are no mains.
    """

    potential_db: float
    needed_db: float
    spare_db: float
    low_db: float
    high_db: float
    open_microphones: int
    critical_distance_m: float
    strict: Strict | None

    def fields(self, scale_m: float) -> dict[str, Any]:
        """Return it ready for JSON, lengths in units of ``scale_m`` metres."""
        found: dict[str, Any] = {
            "potential_db": round(self.potential_db, 1),
            "needed_db": round(self.needed_db, 1),
            "spare_db": round(self.spare_db, 1),
            "low_db": round(self.low_db, 1),
            "high_db": round(self.high_db, 1),
            "open_microphones": self.open_microphones,
            "critical_distance": round(self.critical_distance_m / scale_m, 2),
        }
        if self.strict is not None:
            found["strict"] = {
                "potential_db": round(self.strict.potential_db, 1),
                "needed_db": round(self.strict.needed_db, 1),
            }
        return found


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

    def fields(self, scale_m: float) -> dict[str, Any]:
        """Return it ready for JSON, lengths in units of ``scale_m`` metres."""
        return {
            "microphone": self.microphone,
            "loudspeaker": self.loudspeaker,
            "distance": round(self.distance_m / scale_m, 2),
            "off_microphone_db": round(self.off_microphone_db, 1),
            "off_loudspeaker_db": round(self.off_loudspeaker_db, 1),
            "feedback_db": round(self.feedback_db, 1),
            "limits": self.limits,
        }


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
        scale = UNIT_M[self.units]
        return {
            "units": self.units,
            "gain": self.gain.fields(scale),
            "pairs": [pair.fields(scale) for pair in self.pairs],
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
        critical_distance_m=stage_critical_distance_m(stage),
        strict=strict_gain(stage),
    )
    limiting = next(pair for pair in pairs if pair.limits)
    return Reckoning(
        units=stage.units,
        gain=gain,
        pairs=pairs,
        changes=changes,
        sentence=sentence_of(spare_db, limiting.microphone, limiting.loudspeaker, changes),
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
