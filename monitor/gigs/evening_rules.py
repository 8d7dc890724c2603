"""When a gig begins by itself, when it ends, and when another one begins.  Pure.

Rules
-----
A gig begins with the first doing in ``BEGINS``.  It goes on with every doing.  It ends when there
was none for ``quiet_ends_s`` (its end is then the last doing, not the end of the waiting), by the
button, or because another begins.  After the button it stays over: what is heard while things are
packed up, for ``PACKING_S``, begins nothing; what a person does begins at once.

Choosing another venue later than ``ANOTHER_VENUE_S`` into a gig that has one means that this is
another gig; earlier it puts a slip right.

Times are seconds of one clock that never jumps (time since boot); a gig from before this boot has
negative ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

EndedBy = Literal["quiet", "button", "new", "plug"]
Doing = Literal["ring", "sound", "soundcheck", "ring_out", "venue", "pull", "way", "mark"]

BEGINS: tuple[Doing, ...] = ("ring", "sound", "soundcheck", "ring_out", "venue")
"""The others ("mark" is a song, a tick, a note) only keep a gig going."""
HEARD: tuple[Doing, ...] = ("ring", "sound")
"""Doings that nobody has to mean."""
PACKING_S = 15 * 60.0
"""From the last song's end until the stage is clear in a small room: common practice, no source."""
ANOTHER_VENUE_S = 3 * 3600.0
"""Two gigs on one day are further apart; a slip is seen sooner."""


@dataclass(frozen=True, slots=True)
class Begun:
    """A gig begins."""

    at_s: float


@dataclass(frozen=True, slots=True)
class Ended:
    """A gig ends; ``by`` says why."""

    at_s: float
    by: EndedBy


Turn = Begun | Ended


class Evening:
    """Follows one gig after another; every method returns what turns, in order.

    Parameters
    ----------
    quiet_ends_s : float
        A gig ends after so long without any doing.

    Attributes
    ----------
    begun_s, last_s : float or None
        When the gig that is on began and when it was last done something; None without one.
    """

    def __init__(self, *, quiet_ends_s: float) -> None:
        self._quiet_ends_s = quiet_ends_s
        self.begun_s: float | None = None
        self.last_s: float | None = None
        self._ended_s: float | None = None
        self._stays_over_until_s: float | None = None

    @property
    def on(self) -> bool:
        """Whether a gig is on."""
        return self.begun_s is not None

    def goes_on(self, begun_s: float, last_s: float) -> None:
        """Take back a gig from before a restart."""
        self.begun_s, self.last_s = begun_s, max(begun_s, last_s)

    def did(self, what: Doing, at_s: float) -> Sequence[Turn]:
        """Take in a doing; one that comes late counts where it belongs."""
        turns = [*self.passed(at_s)]
        if self.last_s is not None:
            self.last_s = max(self.last_s, at_s)
        elif what in BEGINS and not self._stays_over(what, at_s):
            turns.append(self._begin(at_s))
        return turns

    def passed(self, now_s: float) -> Sequence[Turn]:
        """End what has been quiet for too long by now."""
        if self.last_s is None or now_s - self.last_s <= self._quiet_ends_s:
            return ()
        return (self._end(self.last_s, "quiet"),)

    def begin(self, now_s: float) -> Sequence[Turn]:
        """By the button: another gig, whatever was on."""
        turns = [*self.passed(now_s)]
        if self.on:
            turns.append(self._end(now_s, "new"))
        return [*turns, self._begin(now_s)]

    def end(self, now_s: float) -> Sequence[Turn]:
        """By the button."""
        turns = [*self.passed(now_s)]
        if self.on:
            turns.append(self._end(now_s, "button"))
        self._stays_over_until_s = now_s + PACKING_S
        return turns

    def chose_venue(self, now_s: float, *, is_another: bool) -> Sequence[Turn]:
        """A venue was chosen; ``is_another`` if the gig that is on has one and not this."""
        turns = [*self.passed(now_s)]
        if self.begun_s is not None and is_another and now_s - self.begun_s > ANOTHER_VENUE_S:
            return [*turns, *self.begin(now_s)]
        return [*turns, *self.did("venue", now_s)]

    def stays_over_for_s(self, now_s: float) -> float:
        """How much longer what is heard begins nothing; zero where it would begin a gig."""
        until_s = self._stays_over_until_s
        return 0.0 if self.on or until_s is None else max(0.0, until_s - now_s)

    def _stays_over(self, what: Doing, at_s: float) -> bool:
        return what in HEARD and self.stays_over_for_s(at_s) > 0.0

    def _begin(self, at_s: float) -> Begun:
        # A ring is told with its beginning, which may lie before the last gig's end.
        at_s = at_s if self._ended_s is None else max(at_s, self._ended_s)
        self.begun_s = self.last_s = at_s
        self._stays_over_until_s = None
        return Begun(at_s)

    def _end(self, at_s: float, by: EndedBy) -> Ended:
        self.begun_s = self.last_s = None
        self._ended_s = at_s
        return Ended(at_s, by)


@dataclass(frozen=True, slots=True)
class Resumed:
    """Whether a gig that the journal has as on goes on after a restart.

    ``by`` is why it has ended if not.  ``in_doubt`` where no clock can tell: then it is taken for
    over, and it may turn out to go on once somebody has told the time.
    """

    goes_on: bool
    by: EndedBy = "quiet"
    in_doubt: bool = False


def resumed(last_age_s: float | None, *, same_boot: bool, quiet_ends_s: float) -> Resumed:
    """Return whether a gig goes on that was last done something ``last_age_s`` ago.

    A box that is switched off by pulling its plug leaves every gig on.  Where no clock can tell
    (None), a gig that is cut in two can be put together again, two evenings that have run into one
    cannot be taken apart: so it is over, in doubt.
    """
    if last_age_s is None:
        return Resumed(False, "plug", in_doubt=True)
    if last_age_s <= quiet_ends_s:
        return Resumed(True)
    return Resumed(False, "quiet" if same_boot else "plug")
