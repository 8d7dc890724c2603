"""The waits of a ring-out: for a hand, for a ring to die, for a fader to come down."""

from __future__ import annotations

import math

from monitor.advice.ring_out_state import Phase

HOLD_S = 1.0
"""So long an advice may still be mended by what is heard; then the hand is on its way."""
REACTION_S = 0.7
"""Nobody reads and pulls sooner (our choice): a ring that is gone by then went by itself, or of the
pull before."""
PATIENCE_S = 6.0
"""A ring that has stayed so long was pulled too little, or the wrong slider was pulled."""
LISTEN_S = 2.0
"""After a pull: for the hand to leave the slider and the ring to die, or not."""
BACK_OFF_S = 20.0


class Waits:
    """How long a phase has lasted, and how long the fader has been raised.

    ``last_s`` is the time last told, ``raise_s`` the time spent raising since the last pull or
    fader mark, ``unmarked_s`` the time since the last mark: infinite where the fader may have been
    moved with nobody listening.
    """

    def __init__(self) -> None:
        self.last_s = -math.inf
        self.raise_s = self.unmarked_s = 0.0
        self._since_s = self._asked_s = 0.0

    @property
    def waited_s(self) -> float:
        """How long the phase has lasted, or the time since ``again``."""
        return self.last_s - self._since_s

    @property
    def asked_s(self) -> float:
        """How long nothing more has been asked for."""
        return self.last_s - self._asked_s

    def tick(self, at_s: float, *, is_raising: bool) -> None:
        """Time went by; a time before the last one is no news."""
        if is_raising:
            self.raise_s += max(at_s - self.last_s, 0.0)
            self.unmarked_s += max(at_s - self.last_s, 0.0)
        self.last_s = max(at_s, self.last_s)

    def enter(self, phase: Phase) -> None:
        """Another phase begins."""
        self.again()
        if phase == "raise":
            self.raise_s = 0.0

    def marked(self) -> None:
        """The fader stands where it was just marked."""
        self.raise_s = self.unmarked_s = 0.0

    def again(self) -> None:
        """Wait once more from the beginning."""
        self._since_s = self._asked_s = self.last_s

    def asked(self) -> None:
        """Something more is asked for: a hand has the time for that too."""
        self._asked_s = self.last_s
