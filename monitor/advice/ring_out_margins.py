"""What margin each ring has left, and how sure that is.

Conventions
-----------
The margin is how far the fader could go up before the ring would come back, from where it stood
highest; backed off as asked it is larger by ``ring_out_words.BACK_OFF_DB``.  Intervals hold 80 %.
"""

from __future__ import annotations

import math

from monitor.advice.margin import USUAL_EXCESS_DB, Excess
from monitor.advice.ring_out_rings import OFF_DB, KnownRing
from monitor.advice.ring_out_state import MarginLeft

UNMARKED_DB = 2.0
"""Without fader marks the gain is guessed, and hands that raise faster than was asked for are
higher than that; nobody is much lower."""
GUESSED_PART = 0.5
"""Of the gain guessed since a ring was last heard, so much may be missing or too much.  The three
together held 80 % of margins with marks and 78 % without, half steady and half clumsy hands (12
simulated rooms, seeds 50024 to 50035, 31 and 9 sliders); steady hands alone 97 and 99 %, clumsy
ones 63 and 57: nobody tells the box whose hands they are."""


def margin_left(
    ring: KnownRing, depth_db: float, gain_db: float, *, is_marked: bool
) -> MarginLeft | None:
    """Return the margin of a ring that has gone; None where it still rings or was left alone.

    Parameters
    ----------
    ring : KnownRing
    depth_db : float
        What the pulls take away there.
    gain_db : float
        Where the fader stood highest, on the ladder.
    is_marked : bool
        Whether fader marks told the gain.
    """
    if ring.open or ring.skipped or ring.fate in ("rings", "left"):
        return None
    heard = ring.excess or Excess(USUAL_EXCESS_DB, 0.0, 3.0 * USUAL_EXCESS_DB, "")
    # It is quiet at this gain, so no margin is less than none.
    db = max(ring.limit_db + depth_db - gain_db, 0.0)
    guessed_db = 0.0 if is_marked else GUESSED_PART * max(gain_db - ring.placed_gain_db, 0.0)
    higher_db = 0.0 if is_marked else UNMARKED_DB + guessed_db
    below_db = math.hypot(max(heard.high_db - heard.db, 0.0), higher_db, OFF_DB)
    above_db = math.hypot(max(heard.db - heard.low_db, 0.0), guessed_db, OFF_DB)
    return MarginLeft(db, db - below_db, db + above_db)
