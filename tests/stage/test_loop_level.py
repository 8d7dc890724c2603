"""Whether the practice stage's loop rings aloud, and what it says then."""

from __future__ import annotations

from monitor.stage.loop_level import LoopLevel
from monitor.stage.telling import next_step

BLOCK_S = 0.01


def said(level: LoopLevel, drive_dbfs: float, margin_db: float, *, for_s: float) -> str:
    for _ in range(round(for_s / BLOCK_S)):
        level.note(drive_dbfs, BLOCK_S, margin_db=margin_db)
    return next_step(
        fader_db=0.0,
        fader_max_db=12.0,
        pulled=False,
        margin_db=margin_db,
        is_loud=level.is_loud,
        is_dying=level.is_dying,
    )


def test_only_what_rang_is_said_to_die_away() -> None:
    level = LoopLevel()
    assert said(level, -40.0, 6.0, for_s=3.0).startswith("Push the fader up")
    # Ten decibels more of the fader, and half a decibel below the point where it rings.
    assert said(level, -30.0, 0.5, for_s=2.0).startswith("Push the fader up")
    assert said(level, -10.0, -2.0, for_s=2.0).startswith("It rings")
    assert said(level, -28.0, 0.5, for_s=1.0).startswith("It is dying away")
    assert said(level, -40.0, 0.5, for_s=3.0).startswith("Push the fader up")
