"""What the memory has to say on arriving at a venue, and over all venues."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from monitor.clock import utc_text
from monitor.counted import counted
from monitor.memory.begin_with import LEAST_EVENINGS, BeginWith, begin_with
from monitor.memory.clusters import Cluster, clusters_of
from monitor.memory.gain_change import GainChange, gain_change
from monitor.memory.gig_memory import GigMemory
from monitor.memory.last_time import LastTime, last_time
from monitor.memory.phrases import band_of, name_of, of_evenings
from monitor.memory.recent import has_date, in_order
from monitor.memory.same_evening import evenings_of
from monitor.memory.verdicts import BandVerdict, by_venue, verdicts_of
from monitor.memory.when import When, when_it_rang

MOST_GIGS = 300
"""The newest are looked at: two evenings a week for three years, and a bound on the work."""
MOST_LINES = 3
MOST_RANG = 12
"""Places that are told of one venue, those of most evenings; more is no help between two songs."""


@dataclass(frozen=True, slots=True)
class Rang:
    """What rang at a venue, in one place on the axis: on how many of its evenings."""

    frequency_hz: float
    evening_count: int
    of: int
    howl_count: int

    def fields(self) -> dict[str, Any]:
        """Return it as it goes over the link."""
        howls = f", {counted(self.howl_count, 'howl')}" if self.howl_count else ""
        return {
            "band": band_of(self.frequency_hz),
            "frequency_hz": round(self.frequency_hz, 1),
            "evenings": self.evening_count,
            "of": self.of,
            "howls": self.howl_count,
            "words": (
                f"{name_of(self.frequency_hz)} on {of_evenings(self.evening_count, self.of)}{howls}"
            ),
        }


@dataclass(frozen=True, slots=True)
class VenueMemory:
    """What is known of one venue."""

    uid: str
    name: str
    gig_count: int
    last_utc_s: float | None
    last: LastTime | None
    rang: tuple[Rang, ...]
    begin_with: tuple[BeginWith, ...]
    gain: GainChange | None
    words: tuple[str, ...]

    def fields(self) -> dict[str, Any]:
        """Return it as it goes over the link; what is not known is absent."""
        fields: dict[str, Any] = {"uid": self.uid, "name": self.name, "gig_count": self.gig_count}
        if self.last_utc_s is not None:
            fields["last_utc"] = utc_text(self.last_utc_s)
        if self.last is not None:
            fields["last"] = self.last.fields()
        fields["rang"] = [rang.fields() for rang in self.rang[:MOST_RANG]]
        fields["begin_with"] = [pull.fields() for pull in self.begin_with]
        if self.gain is not None:
            fields["gain"] = self.gain.fields()
        fields["words"] = list(self.words)
        return fields


@dataclass(frozen=True, slots=True)
class Recollection:
    """All that the memory says; ``enough`` is whether rig or room could be told of anything."""

    gig_count: int
    venue_count: int
    venue: VenueMemory | None
    bands: tuple[BandVerdict, ...]
    when: When
    words: tuple[str, ...]

    @property
    def enough(self) -> bool:
        """Whether there is a verdict on any place."""
        return any(band.verdict != "unsure" for band in self.bands)

    def fields(self) -> dict[str, Any]:
        """Return it as it goes over the link; what is not known is absent."""
        fields: dict[str, Any] = {"gig_count": self.gig_count, "venue_count": self.venue_count}
        if self.venue is not None:
            fields["venue"] = self.venue.fields()
        fields["bands"] = [band.fields() for band in self.bands]
        fields["when"] = self.when.fields()
        fields["words"] = list(self.words)
        fields["enough"] = self.enough
        return fields

    def on_arriving(self) -> dict[str, Any]:
        """Return the short part of it: the venue and what is sure over all."""
        left_out = ("bands", "when")
        return {key: value for key, value in self.fields().items() if key not in left_out}


def recollect(
    gigs: Sequence[GigMemory],
    *,
    venue: str | None,
    equaliser: str | None = None,
    sliders: Sequence[tuple[str, float]] = (),
    tonight: GigMemory | None = None,
) -> Recollection:
    """Return what the memory says.

    Parameters
    ----------
    gigs : sequence of GigMemory
        In the order they were played, without the one that goes on now.
    venue : str or None
        The uid of the venue that is asked about; None for what holds over all.
    equaliser : str, optional
        The name of the one in use, for the pulls to begin with.
    sliders : sequence of (str, float), optional
        Its labels and places in Hz: one of the same name with others is another equaliser.
    tonight : GigMemory, optional
        The one that goes on now, to know which was the last evening before it.
    """
    known = [_by_sliders(gig, equaliser, tuple(sliders)) for gig in in_order(gigs)[-MOST_GIGS:]]
    evenings = evenings_of(known)
    venues = by_venue(evenings)
    bands = tuple(verdicts_of(evenings, venue))
    here = None
    if venue is not None and venue in venues:
        apart = by_venue(known)[venue]
        last = last_time(apart, equaliser, tonight)
        here = _venue_memory(venue, venues[venue], len(apart), last, equaliser, bands)
    nowhere_count = sum(gig.venue_uid is None for gig in evenings)
    return Recollection(
        len(known),
        len(venues),
        here,
        bands,
        when_it_rang(evenings),
        _words(len(evenings), len(venues), nowhere_count, bands, venue),
    )


def _by_sliders(
    gig: GigMemory, equaliser: str | None, sliders: tuple[tuple[str, float], ...]
) -> GigMemory:
    """Return the gig; an equaliser of the name in use but with other sliders is called another."""
    is_other = bool(sliders and gig.sliders) and gig.sliders != sliders
    if gig.equaliser != equaliser or not is_other:
        return gig
    return replace(gig, equaliser=f"{equaliser} at other places")


def _venue_memory(
    uid: str,
    gigs: Sequence[GigMemory],
    gig_count: int,
    last: LastTime | None,
    equaliser: str | None,
    bands: Sequence[BandVerdict],
) -> VenueMemory:
    rang = tuple(_rang(cluster, gigs) for cluster in clusters_of(uid, gigs))
    pulls = tuple(begin_with(gigs, equaliser, bands))
    named = [gig.venue_name for gig in gigs if gig.venue_name]
    dates = [gig.utc_s for gig in gigs if gig.utc_s is not None and has_date(gig)]
    return VenueMemory(
        uid,
        named[-1] if named else "this venue",
        gig_count,
        max(dates, default=None),
        last,
        tuple(sorted(rang, key=lambda each: (-each.evening_count, each.frequency_hz))),
        pulls,
        gain_change(gigs),
        _venue_words(gigs, rang, pulls, equaliser or gigs[-1].equaliser),
    )


def _rang(cluster: Cluster, gigs: Sequence[GigMemory]) -> Rang:
    return Rang(cluster.frequency_hz, len(cluster.rings), len(gigs), cluster.howl_count)


def _venue_words(
    gigs: Sequence[GigMemory],
    rang: Sequence[Rang],
    pulls: Sequence[BeginWith],
    equaliser: str | None,
) -> tuple[str, ...]:
    lines = []
    often = [each for each in rang if each.evening_count * 2 > len(gigs)]
    if not rang:
        lines.append(f"nothing rang here on {of_evenings(len(gigs), len(gigs))}")
    elif often and len(gigs) > 1:
        listed = ", ".join(name_of(each.frequency_hz) for each in often[:5])
        lines.append(f"on most of {counted(len(gigs), 'evening')} here rang {listed}")
    other = sum(gig.equaliser != equaliser for gig in gigs)
    alike = len(gigs) - other
    if 0 < alike < LEAST_EVENINGS:
        lines.append("one evening is too few to say which pulls to begin with")
    elif alike and not pulls:
        lines.append("no slider stood pulled on enough evenings here to begin with it")
    if other:
        whose = "its" if other == 1 else "their"
        lines.append(
            f"{counted(other, 'evening')} had another equaliser: {whose} pulls do not count"
        )
    return tuple(lines)


def _words(
    evening_count: int,
    venue_count: int,
    nowhere_count: int,
    bands: Sequence[BandVerdict],
    venue: str | None,
) -> tuple[str, ...]:
    """Return what is sure, the rig first, then the rooms (of the venue asked about, if any)."""
    if not evening_count:
        return ("nothing is kept yet",)
    lines = [band.words for band in bands if band.verdict == "rig"]
    rooms = sorted(
        (b for b in bands if b.verdict == "room" and venue in (None, b.venue_uid)),
        key=lambda band: -band.chance,
    )
    lines += [band.words for band in rooms[:MOST_LINES]]
    if not lines:
        where = (
            f"{counted(evening_count - nowhere_count, 'evening')} at "
            f"{counted(venue_count, 'venue')}"
        )
        lines.append(f"{where}: not enough evenings yet to tell the rig from the room")
    if nowhere_count:
        lines.append(f"{counted(nowhere_count, 'evening')} without a venue: not used for that")
    return tuple(lines)
