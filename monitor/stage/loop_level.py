"""Whether the practice stage's loop is louder than the singer makes it: does it ring aloud?"""

from __future__ import annotations

_RING_DB = 6.0
_HISTORY_S = 0.25
_SILENT_DB = -120.0


class LoopLevel:
    """Follows the loop's level, and the loud programme's level while it is stable.

    The calm level rises at once and falls within some ten seconds, and only where the loop
    cannot ring; it follows the fader by itself.
    """

    def __init__(self) -> None:
        self._level_db = _SILENT_DB
        self._calm_db = _SILENT_DB
        self._has_rung = False

    @property
    def is_loud(self) -> bool:
        """Whether it is much louder than the programme was while nothing could ring."""
        return self._level_db > self._calm_db + _RING_DB

    @property
    def is_dying(self) -> bool:
        """Whether it is loud still from ringing; a fader that was raised makes it loud as well."""
        return self.is_loud and self._has_rung

    def note(self, drive_dbfs: float, block_s: float, *, margin_db: float) -> None:
        """Take in the level of one block; ``margin_db`` below 0 rings."""
        self._level_db += (drive_dbfs - self._level_db) * min(1.0, block_s / _HISTORY_S)
        self._has_rung = self.is_loud and (self._has_rung or margin_db < 0.0)
        if margin_db > 1.0:
            fall_db = 2.0 * block_s
            self._calm_db = max(self._level_db, self._calm_db - fall_db)
