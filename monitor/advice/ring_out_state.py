"""What a ring-out shows and what it is told: values only."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from monitor.advice.growth import Slope
from monitor.advice.hints import Hint
from monitor.advice.margin import Excess
from monitor.advice.moves import Move
from monitor.advice.pulls import Pull

Phase = Literal["ready", "raise", "pull", "listen", "back_off", "done", "paused"]
Fate = Literal["rings", "gone", "came back", "left"]
Sure = Literal["sure", "about", "a guess"]
CommandName = Literal[
    "begin",
    "pulled",
    "turned_down",
    "skip",
    "undo",
    "pause",
    "go_on",
    "stop",
    "fader",
]

LEADING: tuple[Phase, ...] = ("raise", "pull", "listen", "back_off")
"""It tells what to do; in the other phases the advice of a set does."""

SURE_DB = 4.0
ABOUT_DB = 7.0
"""Margins whose intervals are no wider are called sure, and about: known to 2 dB to either side one
is used like a number, to 3.5 dB like a rough one.  Our choice."""


@dataclass(frozen=True, slots=True)
class RingNews:
    """One thing heard of a ring.

    ``opened`` and ``howl`` when it reaches that degree, ``slope`` when its growth is known (again),
    ``closed`` when it is gone.  ``slope`` is how it grew before anything limited it, or with
    ``closed`` how it died; ``excess`` takes its place where somebody else reckoned it.
    ``fell_db`` with ``closed``: by how much all the rest fell in the same moment (a fader that
    was turned down takes everything with it).
    """

    kind: Literal["opened", "howl", "slope", "closed"]
    id: int
    frequency_hz: float
    level_dbfs: float
    at_s: float
    slope: Slope | None = None
    excess: Excess | None = None
    fell_db: float = 0.0


@dataclass(frozen=True, slots=True)
class MarginLeft:
    """The margin of one ring in dB and the interval that holds it in 80 % of cases."""

    db: float
    low_db: float
    high_db: float

    @property
    def sure(self) -> Sure:
        """How sure it is, in a word."""
        width_db = self.high_db - self.low_db
        if width_db <= SURE_DB:
            return "sure"
        return "about" if width_db <= ABOUT_DB else "a guess"

    def backed_off(self, by_db: float) -> MarginLeft:
        """Return the margin with the fader that much lower."""
        return MarginLeft(self.db + by_db, self.low_db + by_db, self.high_db + by_db)


@dataclass(frozen=True, slots=True)
class RingSoFar:
    """One frequency that rang; ``depth_db`` is what the pulls take away there now.

    ``margin`` is what it has left with the fader backed off, once the ring-out has ended.
    """

    frequency_hz: float
    fate: Fate
    times: int
    excess: Excess | None
    depth_db: float
    margin: MarginLeft | None = None


@dataclass(frozen=True, slots=True)
class RingOutState:
    """Where the ring-out stands.

    ``say`` are the big words, ``detail`` one more line.  ``pulls_now`` is what to do at the
    sliders now (with ``pull_db`` from flat and ``more_db`` from where it stands), ``pulls`` all
    that is taken to stand, ``pulled_count`` how many of them were pulled since it began.
    ``hints`` are those of the newest pull that was asked for.  ``asks`` is true where "pulled"
    and "turned_down" should be offered as two buttons; the default is that it was pulled.
    ``put_back`` is what a hand has to put back: what was undone, or moved and not asked for.
    ``asks_twice`` is true where ``pulls_now`` were asked for before and are only to be looked at.
    ``gain_won_db`` is None unless fader marks tell it, and ``top_fader_db`` is the highest of them.
    ``may`` are the commands that make sense now.  ``why_ended`` is "" until it has.
    ``back_off_db`` is how far the fader is to come down, 0 in other phases.
    """

    phase: Phase
    say: str
    detail: str
    pulls_now: tuple[Move, ...]
    pulls: tuple[Pull, ...]
    rings: tuple[RingSoFar, ...]
    gain_won_db: float | None
    tone_cost_db: float
    why_ended: str
    cautions: tuple[str, ...]
    hints: tuple[Hint, ...]
    asks: bool
    may: tuple[CommandName, ...]
    back_off_db: float = 0.0
    pulled_count: int = 0
    top_fader_db: float | None = None
    asks_twice: bool = False
    put_back: tuple[Move, ...] = ()

    @property
    def leads(self) -> bool:
        """Whether it tells what to do, and the advice of a set is silent."""
        return self.phase in LEADING
