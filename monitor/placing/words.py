"""The plan's sentences: what limits, what is not known, what to beware of."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from monitor.placing.stage import Stage

if TYPE_CHECKING:
    from monitor.placing.changes import Change

BEHIND_M = 0.5
"""Mains this much nearer to the back wall than a microphone stand behind it."""


def spare_words(spare_db: float) -> str:
    """Return what is left or missing in whole decibels: "3 dB to spare", "3 dB short"."""
    whole = round(abs(spare_db))
    if whole == 0:
        return "just enough"
    return f"{whole} dB to spare" if spare_db > 0.0 else f"{whole} dB short"


def sentence_of(
    spare_db: float,
    microphone: str,
    loudspeaker: str,
    changes: Sequence[Change],
) -> str:
    """Return one line: what limits the gain, how it stands, and the best change."""
    limit = f"'{loudspeaker}' into '{microphone}' limits the gain"
    state = f"{'about ' if round(spare_db) else ''}{spare_words(spare_db)}"
    if not changes:
        return f"{limit}: {state}; no single move is sure to bring a decibel."
    best = changes[0]
    return f"{limit}: {state}. Best: {best.words}, about {best.gain_db:.0f} dB."


def unknown_of(stage: Stage) -> tuple[str, ...]:
    """Return what the reckoning does not know, a line each.

    The 4 to 6 dB: J. Eargle, Sound System Design Reference Manual, p. 4-3.
    """
    lines = [
        "Below about 250 Hz patterns and cabinets hear and send nearly all round and the room has "
        "its own notes: from aiming, few get more than 4 to 6 dB in all.",
        "Walls are taken as alike; a bare wall or window near a microphone makes it worse.",
        "Your devices' own peaks are not known; every microphone is taken to be in every "
        "loudspeaker, equaliser flat.",
    ]
    if isinstance(stage.room.reverberation, str):
        lines.append(
            f"The room's reverberation is a guess: {stage.room.t60_s:g} s; "
            "people in it make it shorter."
        )
    return tuple(lines)


def cautions_of(stage: Stage) -> tuple[str, ...]:
    """Return what to beware of on this stage, a line each."""
    lines = []
    for one in stage.mains:
        behind = [m.name for _, m in stage.open_microphones() if one.y_m < m.y_m - BEHIND_M]
        if behind:
            lines.append(f"'{one.name}' stands behind '{behind[0]}' and plays into it.")
        x, y, z = (b - a for a, b in zip(one.position_m, stage.listener.position_m, strict=True))
        away = math.sqrt(x * x + y * y + z * z)
        forward = sum(a * b for a, b in zip(one.aim, (x, y, z), strict=True))
        if away == 0.0 or forward <= 0.0:
            lines.append(f"The farthest listener is behind '{one.name}'; turn it or move the mark.")
    if not stage.mains:
        lines.append("There are no mains: only what the performers hear is reckoned.")
    lines.append(
        "Loud feedback harms hearing: faders down while things move. Stands need weight and "
        "space, electricity and anything overhead follow local codes and licensed people."
    )
    return tuple(lines)
