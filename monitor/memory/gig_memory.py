"""What the memory needs of one gig: few values, so that hundreds of gigs are looked at together.

Conventions
-----------
``at_s`` counts seconds since the gig began.  Pulls are positive.  What is not known is None or an
empty tuple; a memory of any gig, however little is known of it, can be made.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Degree = Literal["ringing", "howl"]
Dated = Literal["network", "phone", "believed"]
LIKELY_HEARD_S = 7200.0
"""Taken for a gig of which no minute of sound is kept: two sets of three quarters of an hour and
a soundcheck, common practice, no source."""


@dataclass(frozen=True, slots=True)
class RingMemory:
    """One ring; ``way`` soundcheck or set."""

    frequency_hz: float
    degree: Degree
    way: str
    at_s: float


@dataclass(frozen=True, slots=True)
class PullMemory:
    """One slider as it stood when the gig ended, and when it was first pulled in that gig.

    ``first_at_s`` 0 means that it stood pulled from the beginning: it may have kept quiet what
    would have rung.  ``begun_db`` is how deep it was then, None where that is not told: as deep
    as in the end.  ``reach_octaves``, where ``q`` is not told: half the way to the next slider.
    """

    label: str
    centre_hz: float
    pull_db: float
    q: float | None = None
    first_at_s: float = 0.0
    reach_octaves: float | None = None
    begun_db: float | None = None


@dataclass(frozen=True, slots=True)
class RingOutMemory:
    """How the gig's last ring-out ended.

    ``gain_won_db`` is how much higher the fader was in the end than at the first ring, and
    ``top_fader_db`` where it stood then by the marks on the desk; both only where marks were
    given.
    """

    gain_won_db: float | None = None
    top_fader_db: float | None = None


@dataclass(frozen=True, slots=True)
class SongMemory:
    """One block between two presses of "next song", ``n`` counts from 1.

    ``heard_s`` is how many seconds of it had sound and a box that heard.
    """

    n: int
    at_s: float
    heard_s: float


@dataclass(frozen=True, slots=True)
class GigMemory:
    """One gig.

    Parameters
    ----------
    uid : str
        The gig's.
    venue_uid, venue_name : str or None
        None where nobody said where it was.
    utc_s : float or None
        When it began, in seconds since 1970; None where no clock can tell.
    dated : str
        Whose word ``utc_s`` is.
    rings, pulls, songs : tuple
        In order of time; ``pulls`` are the sliders that stood away from flat at the end.
    hours_heard_s : tuple of float
        Seconds with sound and a box that heard in each hour since the gig began, the first hour
        first; empty where it is not kept.
    hours_set_s : tuple of float
        The same, of the time in the way of the set only: rings of a ring-out are made on purpose
        and say nothing of the hour.
    ring_out : RingOutMemory or None
        The last one that ended.
    voice_dbfs : float or None
        The loudest sung line before the fader (RMS), where the soundcheck's level was taken: it
        tells whether two evenings had the same input gain.
    equaliser : str or None
        Its name, to know whether two gigs had the same one.
    sliders : tuple
        Their labels and where they stand in Hz: two of one name may have others.  Empty where they
        are not kept.
    is_whole : bool
        Whether all its rings are still kept; where old ones have gone, that nothing rang at a
        place is no longer known.
    """

    uid: str
    venue_uid: str | None = None
    venue_name: str | None = None
    utc_s: float | None = None
    dated: Dated = "believed"
    rings: tuple[RingMemory, ...] = ()
    pulls: tuple[PullMemory, ...] = ()
    ring_out: RingOutMemory | None = None
    hours_heard_s: tuple[float, ...] = ()
    hours_set_s: tuple[float, ...] = ()
    songs: tuple[SongMemory, ...] = ()
    voice_dbfs: float | None = None
    equaliser: str | None = None
    sliders: tuple[tuple[str, float], ...] = ()
    is_whole: bool = True

    @property
    def heard_s(self) -> float:
        """How long there was sound and a box that heard; the usual length where it is not kept."""
        return sum(self.hours_heard_s) or LIKELY_HEARD_S
