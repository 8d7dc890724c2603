"""How much further the fader went in the last ring-out at a venue than in the one before it.

Two evenings compare where both ring-outs were done with fader marks, and surely only where the
loudest sung line before the fader is known too: a fader 3 dB higher behind an input gain 3 dB lower
is no gain won.  What was won by the pulls alone can be set side by side, but not called more gain.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from monitor.advice.labels import decibels
from monitor.memory.gig_memory import GigMemory

ALIKE_DB = 2.0
"""Fader marks are read to a decibel or so and steps of a ring-out are as large; our choice."""
_LAST = "the last ring-out here"
"""Not "last time": it is read on the evening itself, on arriving for the next, and years later."""


@dataclass(frozen=True, slots=True)
class GainChange:
    """The last two ring-outs here; ``change_db`` positive is louder, None is not comparable."""

    last_db: float | None
    before_db: float | None
    change_db: float | None
    words: str

    def fields(self) -> dict[str, Any]:
        """Return it as it goes over the link; what is not known is absent."""
        values = {
            "last_db": self.last_db,
            "before_db": self.before_db,
            "change_db": self.change_db,
        }
        known: dict[str, Any] = {k: round(v, 1) for k, v in values.items() if v is not None}
        return {**known, "words": self.words}


def gain_change(gigs: Sequence[GigMemory]) -> GainChange | None:
    """Return the change from the last ring-out but one to the last, None without any.

    ``gigs`` are of one venue, oldest first.
    """
    rung_out = [(gig.ring_out, gig.voice_dbfs) for gig in gigs if gig.ring_out is not None]
    if not rung_out:
        return None
    last, voice_dbfs = rung_out[-1]
    won_db = last.gain_won_db
    if len(rung_out) == 1:
        return _first(won_db)
    before, voice_was_dbfs = rung_out[-2]
    was_db = before.gain_won_db
    if last.top_fader_db is not None and before.top_fader_db is not None:
        voice_db = None
        if voice_dbfs is not None and voice_was_dbfs is not None:
            voice_db = voice_dbfs - voice_was_dbfs
        return _compared(last.top_fader_db, before.top_fader_db, voice_db)
    words = "the last two ring-outs here do not compare: give fader marks each time"
    if won_db is not None and was_db is not None:
        words = (
            f"{_LAST} won {decibels(won_db)} dB, the one before it {decibels(was_db)} dB; "
            "how loud they went does not compare without fader marks of both"
        )
    return GainChange(won_db, was_db, None, words)


def _first(won_db: float | None) -> GainChange:
    if won_db is None:
        return GainChange(None, None, None, "one ring-out here, without fader marks")
    words = f"the ring-out here won {decibels(won_db)} dB; nothing earlier to compare with"
    return GainChange(won_db, None, None, words)


def _compared(top_db: float, was_db: float, voice_db: float | None) -> GainChange:
    """Compare the marks, and with them how the voice's level changed where that is known."""
    change_db = top_db - was_db + (voice_db or 0.0)
    given = "if the input gain was the same" if voice_db is None else "input gain counted"
    if abs(change_db) < ALIKE_DB:
        words = f"{_LAST} went about as loud as the one before it ({given})"
    else:
        way = "louder" if change_db > 0.0 else "quieter"
        words = f"{_LAST} went {decibels(abs(change_db))} dB {way} than the one before it ({given})"
    return GainChange(top_db, was_db, change_db, words)
