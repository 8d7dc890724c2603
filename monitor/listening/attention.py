"""Which lines are measured at a look and which are passed over for a while.

Measuring is what costs most, and most lines are plainly no feedback.
"""

from __future__ import annotations

import numpy as np

ALL_EVERY_LOOKS = 6
"""Lines that the scorer was sure are no feedback are looked at again only this often, all of them
at the same look: one measuring of many lines costs little more than of one."""

NEIGHBOURS = np.array([[-1], [0], [1]])
"""Added to bins [n]: each with the one below and the one above, [3, n]."""


class Attention:
    """Remembers what to pass over in a spectrum of ``n_bins`` bins."""

    def __init__(self, n_bins: int) -> None:
        self._dismissed = np.zeros(n_bins, dtype=bool)
        self._only: np.ndarray | None = None
        self._only_now: np.ndarray | None = None
        self.looks = 0
        """How many there have been."""

    def reset(self) -> None:
        """Pass over nothing."""
        self._dismissed[:] = False
        self._only = self._only_now = None
        self.looks = 0

    def next_look(self) -> None:
        """Begin another look."""
        self.looks += 1
        if self.looks % ALL_EVERY_LOOKS == 0:
            self._dismissed[:] = False
        self._only_now, self._only = self._only, None

    @property
    def is_closed(self) -> bool:
        """Whether no bin at all is to be measured at this look."""
        return self._only_now is not None and len(self._only_now) == 0

    def seen(self, bins: np.ndarray) -> np.ndarray:
        """Which of these bins [n] are to be measured at this look, bool [n]."""
        if self._only_now is None:
            return ~self._dismissed[bins]
        near: np.ndarray = (np.abs(bins[:, None] - self._only_now) <= 1).any(axis=1)
        return near

    def attend(self, bins: np.ndarray) -> None:
        """Measure only these bins and their neighbours next time, if this look was for all."""
        if self._only_now is None:
            self._only = bins

    def dismiss(self, bins: np.ndarray) -> None:
        """Pass over these bins and their neighbours until the next look that is for all."""
        self._dismissed[bins + NEIGHBOURS] = True
