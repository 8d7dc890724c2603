"""What the journal may be told and asked: plain frozen values, safe to hand between threads.

Told with ``Journal.tell``: ``RingRow``, ``GigChange``, ``GigJoin``, ``VenueChange``, ``Happening``,
``ClockWord``.  Asked with ``Journal.ask``: the questions below, each of which names what its
answer is.

Conventions
-----------
An instant is a boot of the machine and the seconds since it; dates are worked out when they are
read, so that a clock that is set right later puts earlier things right as well.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args

EndedBy = Literal["quiet", "button", "new", "plug"]
Dated = Literal["network", "phone", "believed"]
Kind = Literal[
    "way", "pull", "level", "desk_level", "low_cut", "ring_out", "plan", "check", "song",
    "deaf", "hears", "note", "equaliser",
]  # fmt: skip
KINDS: tuple[Kind, ...] = get_args(Kind)
PLACED = frozenset({"at_s", "kind", "boot", "uptime_s"})
"""What stands beside a happening's content in a record, and so cannot be a key of it."""
MOST_CONTENT_CHARS = 36_864
"""Of one happening as JSON: the largest stage plan (32 KiB), and what is said with it."""


@dataclass(frozen=True, slots=True)
class Instant:
    """``uptime_s`` seconds (``CLOCK_BOOTTIME``) after the boot ``boot_id``."""

    boot_id: str
    uptime_s: float


# --- what it is told -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class GigChange:
    """A gig begins (``begun`` is given, once), or something about it is now so.

    What is None stays as it is; an empty ``venue_uid`` or ``title`` takes it away.  ``goes_on``
    takes back an end.
    """

    uid: str
    begun: Instant | None = None
    ended: Instant | None = None
    ended_by: EndedBy | None = None
    venue_uid: str | None = None
    title: str | None = None
    goes_on: bool = False


@dataclass(frozen=True, slots=True)
class GigJoin:
    """A gig turns out to be a part of another: all that is of it goes ``into`` that one."""

    uid: str
    into: str


@dataclass(frozen=True, slots=True)
class VenueChange:
    """A venue is made, or has another name."""

    uid: str
    name: str


@dataclass(frozen=True, slots=True)
class Happening:
    """Something that is kept of a gig besides rings; ``content`` becomes JSON at once.

    Raises
    ------
    ValueError
        If the kind is unknown, or the content is no JSON object (NaN included), too long, or has a
        key of ``PLACED``.
    """

    gig: str
    kind: Kind
    boot_id: str
    uptime_s: float
    content: Mapping[str, Any]

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"a happening {self.kind!r}; known: {', '.join(KINDS)}")
        if taken := PLACED & self.content.keys():
            raise ValueError(f"a happening {self.kind!r} with its own {min(taken)!r}: not possible")
        self.text()

    def text(self) -> str:
        """Return the content as compact JSON, keys in order, so that equal ones look equal."""
        try:
            text = content_text(self.content)
            text.encode()  # half a surrogate pair is text for JSON and not for the disk
        except (TypeError, ValueError, RecursionError) as error:
            raise ValueError(f"a happening {self.kind!r} that is no JSON: {error}") from error
        if len(text) > MOST_CONTENT_CHARS:
            raise ValueError(
                f"a happening {self.kind!r} of {len(text)} characters, "
                f"at most {MOST_CONTENT_CHARS} are kept"
            )
        return text


@dataclass(frozen=True, slots=True)
class ClockWord:
    """Somebody says what date it was at an instant; the network's word stands over a phone's."""

    boot_id: str
    uptime_s: float
    utc_s: float
    source: Dated = "phone"


# --- what it is asked ----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ListGigs:
    """The newest gigs, of those begun before ``before`` (a gig) if that is given.

    Answer: list of dicts ``{uid, title?, venue?: {uid, name}, begun: {utc?, dated}, lasted_s?,
    ring_count, howl_count, on}``.
    """

    limit: int
    before: str | None = None


@dataclass(frozen=True, slots=True)
class NewestGig:
    """How this box's newest gig stands, to know after a restart whether it goes on.

    ``but`` is a gig that is left out.  Answer: ``GigStanding`` or None if there is none.
    """

    but: str | None = None


@dataclass(frozen=True, slots=True)
class GigStanding:
    """A gig and its last doing; ``last`` is the end of the latest ring or happening.

    ``last_age_s`` is how long ago that was, None where no clock can tell.  ``song`` is the highest
    block marked.  ``stood`` is how things stood when they were last told: kind and content, the
    latest last.
    """

    uid: str
    title: str | None
    venue_uid: str | None
    venue_name: str | None
    begun: Instant
    begun_age_s: float | None
    ended: Instant | None
    ended_by: EndedBy | None
    last: Instant
    last_age_s: float | None
    ring_count: int
    song: int | None
    stood: Mapping[str, Mapping[str, Any]]


@dataclass(frozen=True, slots=True)
class GigRings:
    """The newest rings of one gig.  Answer: list of ``RingRow``, oldest first."""

    uid: str
    limit: int = 500


@dataclass(frozen=True, slots=True)
class GetRecord:
    """Everything of one gig.  Answer: the record (``monitor.journal.record``)."""

    uid: str


@dataclass(frozen=True, slots=True)
class ListVenues:
    """Every venue, the one played last first.

    Answer: list of dicts ``{uid, name, gig_count, last_utc?, dated?}``.
    """


@dataclass(frozen=True, slots=True)
class Recollect:
    """What the memory says, for a venue or over all; ``but`` is a gig that is left out: tonight's.

    ``equaliser`` is the name of the one in use, ``sliders`` their labels and places in Hz.
    Answer: a ``Recollection`` of ``monitor.memory.recollect``.
    """

    venue: str | None = None
    but: str | None = None
    equaliser: str | None = None
    sliders: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class NameGig:
    """Give a gig that is over another title.  Answer: ``{"gig": its uid}``."""

    uid: str
    title: str


@dataclass(frozen=True, slots=True)
class DeleteGig:
    """Take away a gig with its rings and happenings.  Answer: ``{"rings": how many}``."""

    uid: str


@dataclass(frozen=True, slots=True)
class DeleteVenue:
    """Take away a venue; its gigs stay, without one.  Answer: ``{"gigs": how many}``."""

    uid: str


@dataclass(frozen=True, slots=True)
class MergeRecords:
    """Take in records that ``check_record`` has let through.

    Answer: ``{"gigs": how many were new, "rings": how many were new}``.
    """

    records: Sequence[Mapping[str, Any]]


Question = (
    ListGigs
    | NewestGig
    | GigRings
    | GetRecord
    | ListVenues
    | Recollect
    | NameGig
    | DeleteGig
    | DeleteVenue
    | MergeRecords
)


def content_of(happening: Mapping[str, Any]) -> dict[str, Any]:
    """Return the content of a happening in a record, without what stands beside it."""
    return {key: value for key, value in happening.items() if key not in PLACED}


def content_text(content: Mapping[str, Any]) -> str:
    """Return a happening's content as it is kept."""
    return json.dumps(
        dict(content), allow_nan=False, ensure_ascii=False, sort_keys=True, separators=(",", ":")
    )
