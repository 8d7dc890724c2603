"""The guided ring-out: raise, it rings, pull, gone, raise again; until the room has no more.

A state machine without a clock: every call says when it is.  It never waits for a button where
the ear of the box can tell: a ring that has gone was pulled, one that stays is asked deeper.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from monitor.advice.equaliser import Equaliser
from monitor.advice.margin import WANTED_MARGIN_DB, LoopTimes
from monitor.advice.pulls import Pull
from monitor.advice.ring_out_state import RingNews, RingOutState

MOST_CUTS = 7
"""Five to seven sliders are a room's limit: common practice, no source."""


class RingOut:
    """One guided ring-out.

    Parameters
    ----------
    equaliser : Equaliser
        The person's own.
    margin_db : float
        What each ring's frequency is left below ringing.
    standing : sequence of Pull
        What is pulled already.
    most_cuts : int
        After so many sliders it ends.
    loop_times : LoopTimes, optional
        What is believed of this room's loops; it learns.

    Raises
    ------
    ValueError
        For standing pulls that cannot be, or figures out of range; one clear line.
    """

    def __init__(
        self,
        equaliser: Equaliser,
        *,
        margin_db: float = WANTED_MARGIN_DB,
        standing: Sequence[Pull] = (),
        most_cuts: int = MOST_CUTS,
        loop_times: LoopTimes | None = None,
    ) -> None:
        raise NotImplementedError

    @classmethod
    def restored(
        cls, kept: dict[str, Any], equaliser: Equaliser, *, loop_times: LoopTimes | None = None
    ) -> RingOut:
        """Return the ring-out that ``kept`` came from, paused.

        Raises
        ------
        ValueError
            If it is damaged, or of another equaliser; one clear line.
        """
        raise NotImplementedError

    @property
    def state(self) -> RingOutState:
        """Where it stands."""
        raise NotImplementedError

    def kept(self) -> dict[str, Any]:
        """Return all that is needed to go on after a restart, ready for JSON."""
        raise NotImplementedError

    def command(self, name: str, at_s: float, **values: float) -> None:
        """Take in what the person did; ``fader`` wants ``fader_db``.

        Raises
        ------
        ValueError
            For a command that makes no sense now; one clear line, and nothing has changed.
        """
        raise NotImplementedError

    def heard(self, news: RingNews) -> None:
        """Take in what was heard of a ring."""
        raise NotImplementedError

    def passed(self, at_s: float) -> None:
        """Time went by; call it about ten times a second."""
        raise NotImplementedError
