"""Whose a frequency is: the rig's, one venue's, or not known yet; with the evidence in numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from monitor.memory.chances import Chances, Evening, Evenings, chances_of
from monitor.memory.clusters import Group, clusters_of, groups_of
from monitor.memory.evidence import Evidence, evidence_of
from monitor.memory.exposure import exposure, exposure_times
from monitor.memory.gig_memory import GigMemory
from monitor.memory.phrases import MOST_ODDS, band_of, name_of
from monitor.memory.verdict_words import rig_words, room_words, unsure_words

Verdict = Literal["rig", "room", "unsure"]

SURE: dict[str, float] = {"rig": 0.95, "room": 0.9}
"""From here on it is said.  To call it the rig's sends a person to change something everywhere; to
call it a room's costs one slider there, so one in ten may be wrong at the border.  Over all that
was called in 1,000 tuning histories 2 % were wrong; 0.95 for both left 1 % and said an eighth
less, 0.9 for both had 4 % of what was called the rig's wrong."""


@dataclass(frozen=True, slots=True)
class BandVerdict:
    """What is likely of one place on the axis.

    ``venue_uid`` is the room's, or where it rang most.  ``chance`` is the posterior probability of
    the verdict (of the likelier one where it is unsure), ``rate`` the chance that it rings on a
    usual evening without pulls: anywhere for the rig, at that venue otherwise.
    """

    group: Group
    verdict: Verdict
    venue_uid: str
    venue_name: str
    likelier: Literal["rig", "room"]
    chance: float
    rate: float
    evidence: Evidence

    @property
    def words(self) -> str:
        """One line: what was counted, then what follows."""
        what = name_of(self.group.frequency_hz)
        if self.verdict == "rig":
            return rig_words(what, self.evidence, self.odds)
        if self.verdict == "room":
            return room_words(what, self.venue_name, self.evidence, self.odds)
        return unsure_words(what, self.venue_name, self.evidence, self.likelier, self.odds)

    @property
    def odds(self) -> float:
        """The chance as odds to one, as far as they can be trusted."""
        return min(self.chance / max(1.0 - self.chance, 1e-9), MOST_ODDS)

    def fields(self) -> dict[str, Any]:
        """Return it as it goes over the link."""
        return {
            "band": band_of(self.group.frequency_hz),
            "frequency_hz": round(self.group.frequency_hz, 1),
            "verdict": self.verdict,
            "venue": {"uid": self.venue_uid, "name": self.venue_name},
            "rate": round(self.rate, 2),
            "words": self.words,
            "evidence": {
                **self.evidence.fields(),
                "likelier": self.likelier,
                "odds": float(f"{self.odds:.2g}"),
            },
        }


def by_venue(gigs: Sequence[GigMemory]) -> dict[str, list[GigMemory]]:
    """Return the gigs of each venue.

    A gig without one cannot tell rig from room, nor one of which rings have gone.
    """
    found: dict[str, list[GigMemory]] = {}
    for gig in gigs:
        if gig.venue_uid is not None and gig.is_whole:
            found.setdefault(gig.venue_uid, []).append(gig)
    return found


def verdicts_of(gigs: Sequence[GigMemory], here: str | None = None) -> list[BandVerdict]:
    """Return a verdict for each place where something rang, lowest first.

    Parameters
    ----------
    gigs : sequence of GigMemory
        Oldest first.
    here : str, optional
        The venue that is asked about: what rang there is weighed as its own.
    """
    venues = by_venue(gigs)
    clusters = [c for uid, there in venues.items() for c in clusters_of(uid, there)]
    groups = groups_of(clusters)
    if not groups:
        return []
    evenings = [_evenings(group, venues) for group in groups]
    nothing = {uid: [_silent(gig) for gig in there] for uid, there in venues.items()}
    placed = [gig for gig in gigs if gig.venue_uid in venues and gig.is_whole]
    found = [
        _verdict(group, chances, placed, here)
        for group, chances in zip(groups, chances_of(evenings, nothing), strict=True)
    ]
    return sorted(found, key=lambda verdict: verdict.group.frequency_hz)


def _evenings(group: Group, venues: Mapping[str, Sequence[GigMemory]]) -> Evenings:
    return {uid: [_evening(group, gig) for gig in gigs] for uid, gigs in venues.items()}


def _evening(group: Group, gig: GigMemory) -> Evening:
    first_s = group.first_at_s(gig.uid)
    hz = group.frequency_hz
    return Evening(first_s is not None, exposure(gig, hz, first_s), exposure_times(gig))


def _silent(gig: GigMemory) -> Evening:
    return Evening(False, exposure_times(gig), exposure_times(gig))


def _verdict(
    group: Group, chances: Chances, gigs: Sequence[GigMemory], here: str | None
) -> BandVerdict:
    own = here if here is not None and here in group.venues else _most(group, chances)
    evidence = evidence_of(group, gigs, own)
    likelier: Literal["rig", "room"] = "rig" if chances.rig >= chances.room[own] else "room"
    chance = max(chances.rig, chances.room[own])
    is_sure = chance >= SURE[likelier] and evidence.venues_of > 1
    names = [gig.venue_name for gig in gigs if gig.venue_uid == own and gig.venue_name]
    return BandVerdict(
        group,
        likelier if is_sure else "unsure",
        own,
        names[-1] if names else "this venue",
        likelier,
        chance,
        chances.rig_rate if likelier == "rig" else chances.room_rate[own],
        evidence,
    )


def _most(group: Group, chances: Chances) -> str:
    """Return the venue that is likeliest its own."""
    return max(sorted(group.venues), key=lambda uid: chances.room[uid])
