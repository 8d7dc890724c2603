"""Single changes to a stage, each tried by moving the thing and reckoning the whole loop again."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import chain
from typing import Any

from monitor.placing.loop import Loop, Reckoner, performers_of
from monitor.placing.mains_moves import mains_moves
from monitor.placing.microphone_moves import microphone_moves
from monitor.placing.moves import Move, scene_of
from monitor.placing.stage import Stage
from monitor.placing.stage_file import stage_fields
from monitor.placing.wedge_moves import wedge_moves

LEAST_DB = 1.0
"""A smaller gain is nothing to carry a loudspeaker for: on 25 simulated stages one in three of the
changes that promised 0.5 to 1 dB brought nothing, of those that promised more one in fifteen."""
ENOUGH = 0.8
"""Of the steps of one kind the smallest is taken that brings this part of what the best brings."""
WORTH_DB_PER_MIN = 0.5
"""What a minute before the doors is worth: a change of four minutes is put behind a quick one that
brings 2 dB less (common practice, no source)."""
_SPREAD_DB = 1.5
_SPREAD_PART = 0.3
"""Half the range of a change's gain: a fixed part, and a part of the gain itself.  On these stages
more than four of five changes lay within it; a real room has more to it, so it is not narrower."""


@dataclass(frozen=True, slots=True)
class Change:
    """One change: what to do, the gain it brings in dB with its range, and the stage with it."""

    id: str
    words: str
    gain_db: float
    low_db: float
    high_db: float
    microphones: tuple[str, ...]
    loudspeakers: tuple[str, ...]
    stage: Stage

    def fields(self) -> dict[str, Any]:
        """Return it ready for JSON; a thing that it is not about is left out."""
        found: dict[str, Any] = {
            "id": self.id,
            "words": self.words,
            "gain_db": round(self.gain_db, 1),
            "low_db": round(self.low_db, 1),
            "high_db": round(self.high_db, 1),
        }
        if self.microphones:
            found["microphone"] = self.microphones[0]
            found["microphones"] = list(self.microphones)
        if self.loudspeakers:
            found["loudspeaker"] = self.loudspeakers[0]
            found["loudspeakers"] = list(self.loudspeakers)
        found["stage"] = stage_fields(self.stage)
        return found


def changes_of(stage: Stage, reckoner: Reckoner, loop: Loop) -> tuple[Change, ...]:
    """Return the changes that bring something, one of each kind and thing.

    First comes what is worth most: what it brings, for as long as it holds, less its trouble.
    """
    tried = tried_moves(stage, reckoner, loop)
    found = [(gain_db, move) for gain_db, move in tried if gain_db >= LEAST_DB]
    found.sort(key=lambda one: -worth_db(*one))
    return tuple(_change(gain_db, move) for gain_db, move in found)


def worth_db(gain_db: float, move: Move) -> float:
    """Return what a move that brings so much is worth beside others, in dB."""
    return gain_db * move.lasting - WORTH_DB_PER_MIN * move.minutes


def tried_moves(stage: Stage, reckoner: Reckoner, loop: Loop) -> list[tuple[float, Move]]:
    """Return the chosen move of every kind and thing with what it brings in dB, losses included."""
    families: dict[str, list[tuple[float, Move]]] = {}
    scene = scene_of(stage, reckoner, loop)
    performers = performers_of(stage)
    for move in chain(mains_moves(scene), wedge_moves(scene), microphone_moves(scene)):
        # A wedge that came to be another's would look like a gain: it is turned down for that one.
        if performers_of(move.stage) != performers:
            continue
        gain_db = reckoner.loop(move.stage).spare_db - loop.spare_db
        families.setdefault(move.family, []).append((gain_db, move))
    return [_chosen(tried) for tried in families.values()]


def _chosen(tried: list[tuple[float, Move]]) -> tuple[float, Move]:
    """Return the move that goes least far of those that bring nearly as much as the best."""
    best_db = max(gain_db for gain_db, _ in tried)
    if best_db <= 0.0:
        return max(tried, key=lambda one: one[0])
    enough = [one for one in tried if one[0] >= ENOUGH * best_db]
    return min(enough, key=lambda one: (one[1].minutes, -one[0]))


def spread_db(gain_db: float) -> float:
    """Return half the range of a change's gain in dB."""
    return _SPREAD_DB + _SPREAD_PART * abs(gain_db)


def _change(gain_db: float, move: Move) -> Change:
    spread = spread_db(gain_db)
    return Change(
        id=move.family,
        words=move.words,
        gain_db=gain_db,
        low_db=gain_db - spread,
        high_db=gain_db + spread,
        microphones=move.microphones,
        loudspeakers=move.loudspeakers,
        stage=move.stage,
    )
