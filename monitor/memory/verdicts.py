"""Whose a frequency is: the rig's, one venue's, or not known yet; with the evidence in numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from monitor.memory.chances import Chances, Evening, Evenings, chances_of
from monitor.memory.clusters import Group, clusters_of, groups_of
from monitor.memory.exposure import exposure, exposure_times, hidden_part
from monitor.memory.gig_memory import GigMemory
from monitor.memory.phrases import band_of, counted, name_of, odds_words, of_evenings

Verdict = Literal["rig", "room", "unsure"]

SURE: dict[str, float] = {"rig": 0.95, "room": 0.9}
"""From here on it is said.  To call it the rig's sends a person to change something everywhere; to
call it a room's costs one slider there, so one in ten may be wrong at the border.  Over all that
was called in 1,000 tuning histories 2 % were wrong; 0.95 for both left 1 % and said a seventh
less, 0.9 for both had 4 % of what was called the rig's wrong."""
MOST_ODDS = 1000.0
"""A model of three causes knows no more than that."""
_HIDDEN = 0.5
"""An evening is counted as pulled quiet from half its chance on."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """On how many evenings it rang here and elsewhere, and at how many venues.

    ``hidden_count`` are the evenings on which it stood pulled and so could not ring.
    """

    here_rang: int
    here_of: int
    elsewhere_rang: int
    elsewhere_of: int
    venues_rang: int
    venues_of: int
    hidden_count: int


@dataclass(frozen=True, slots=True)
class BandVerdict:
    """What is likely of one place on the axis.

    ``venue_uid`` is the room's, or where it rang most.  ``chance`` is the posterior probability of
    the verdict (of the likelier one where it is unsure), ``rate`` the chance that it rings on a
    usual evening without cuts: anywhere for the rig, at that venue otherwise.
    """

    group: Group
    verdict: Verdict
    venue_uid: str
    venue_name: str
    likelier: Literal["rig", "room"]
    chance: float
    rate: float
    evidence: Evidence
    words: str

    @property
    def odds(self) -> float:
        """The chance as odds to one."""
        return min(self.chance / max(1.0 - self.chance, 1e-9), MOST_ODDS)

    def fields(self) -> dict[str, Any]:
        """Return it as it goes over the link."""
        seen = self.evidence
        return {
            "band": band_of(self.group.frequency_hz),
            "frequency_hz": round(self.group.frequency_hz, 1),
            "verdict": self.verdict,
            "venue": {"uid": self.venue_uid, "name": self.venue_name},
            "rate": round(self.rate, 2),
            "words": self.words,
            "evidence": {
                "here_rang": seen.here_rang,
                "here_of": seen.here_of,
                "elsewhere_rang": seen.elsewhere_rang,
                "elsewhere_of": seen.elsewhere_of,
                "venues_rang": seen.venues_rang,
                "venues_of": seen.venues_of,
                "hidden_count": seen.hidden_count,
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


def verdicts_of(
    venues: Mapping[str, Sequence[GigMemory]], here: str | None = None
) -> list[BandVerdict]:
    """Return a verdict for each place where something rang, lowest first.

    Parameters
    ----------
    venues : mapping of str to sequence of GigMemory
        As ``by_venue`` gives them.
    here : str, optional
        The venue that is asked about: what rang there is weighed as its own.
    """
    clusters = [c for uid, gigs in venues.items() for c in clusters_of(uid, gigs)]
    groups = groups_of(clusters)
    if not groups:
        return []
    evenings = [_evenings(group, venues) for group in groups]
    nothing = {uid: [_silent(gig) for gig in gigs] for uid, gigs in venues.items()}
    found = [
        _verdict(group, each, chances, venues, here)
        for group, each, chances in zip(
            groups, evenings, chances_of(evenings, nothing), strict=True
        )
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
    group: Group,
    evenings: Evenings,
    chances: Chances,
    venues: Mapping[str, Sequence[GigMemory]],
    here: str | None,
) -> BandVerdict:
    rung = {uid: sum(e.rang for e in each) for uid, each in evenings.items()}
    own = here if here is not None and rung.get(here) else _most(chances.room, rung)
    hidden = sum(
        not e.rang and hidden_part(gig, group.frequency_hz) >= _HIDDEN
        for uid, each in evenings.items()
        for e, gig in zip(each, venues[uid], strict=True)
    )
    all_count = sum(len(each) for each in evenings.values())
    evidence = Evidence(
        rung[own],
        len(evenings[own]),
        sum(rung.values()) - rung[own],
        all_count - len(evenings[own]),
        sum(count > 0 for count in rung.values()),
        len(evenings),
        hidden,
    )
    likelier: Literal["rig", "room"] = "rig" if chances.rig >= chances.room[own] else "room"
    chance = max(chances.rig, chances.room[own])
    verdict: Verdict = likelier if chance >= SURE[likelier] and len(evenings) > 1 else "unsure"
    name = next((g.venue_name for g in reversed(venues[own]) if g.venue_name), "this venue")
    return BandVerdict(
        group,
        verdict,
        own,
        name,
        likelier,
        chance,
        chances.rig_rate if likelier == "rig" else chances.room_rate[own],
        evidence,
        _words(name_of(group.frequency_hz), verdict, name, evidence, likelier, chance),
    )


def _most(room: Mapping[str, float], rung: Mapping[str, int]) -> str:
    return max((uid for uid in rung if rung[uid]), key=lambda uid: (room[uid], rung[uid]))


def _words(
    what: str,
    verdict: Verdict,
    name: str,
    seen: Evidence,
    likelier: str,
    chance: float,
) -> str:
    """Return one line: what was counted, then what follows."""
    odds = odds_words(min(chance / max(1.0 - chance, 1e-9), MOST_ODDS))
    rang, of = seen.here_rang + seen.elsewhere_rang, seen.here_of + seen.elsewhere_of
    if verdict == "rig":
        return (
            f"{what} rang on {of_evenings(rang, of)}, at {seen.venues_rang} of {seen.venues_of} "
            f"venues: it comes along with you ({odds}); microphone, wedge and loudspeaker first, "
            "or a cut on the channel"
        )
    here = f"{what} rang on {of_evenings(seen.here_rang, seen.here_of)} at {name}"
    if verdict == "room":
        return (
            f"{here} and {of_evenings(seen.elsewhere_rang, seen.elsewhere_of)} elsewhere: that "
            f"room, or what stands in it ({odds}); cut it on the graphic there"
        )
    if seen.venues_of == 1:
        return f"{here}: no other venue is known, so rig or room cannot be told"
    elsewhere = of_evenings(seen.elsewhere_rang, seen.elsewhere_of)
    quiet = (
        f", {counted(seen.hidden_count, 'evening')} it stood pulled" if seen.hidden_count else ""
    )
    rather = f" ({likelier} {odds})" if odds else ""
    return f"{here} and {elsewhere} elsewhere{quiet}: not enough evenings yet{rather}"
