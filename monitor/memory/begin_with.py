"""The pulls to begin with at a known venue: what held there before, in the person's own sliders.

A slider is told when rings in its reach were heard on at least two evenings here, it stood pulled
at the end of at least two, and the recent evenings (which count more) still had it.  It is told no
deeper than it was used.  One evening shows what rang that evening; whether the place did it or the
evening, only a second can tell, and a pull that was only carried along tells nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from monitor.advice.labels import decibels
from monitor.advice.sliders import LOW_CUT
from monitor.counted import counted
from monitor.memory.clusters import octaves_apart
from monitor.memory.exposure import half_width_octaves
from monitor.memory.gig_memory import GigMemory, PullMemory
from monitor.memory.phrases import of_evenings
from monitor.memory.recent import weight, weighted_median
from monitor.memory.verdicts import BandVerdict

LEAST_EVENINGS = 2
STEP_DB = 0.5
"""Nobody sets a slider finer by eye."""
SAME_OCTAVES = 0.15
"""Nearer centres are the same slider, or the same filter put a little elsewhere; neighbours on a
third-octave equaliser are twice as far apart."""


@dataclass(frozen=True, slots=True)
class BeginWith:
    """One slider to begin with; ``pull_db`` positive, ``q`` where the filter has one to set.

    A low cut is on or off: its ``pull_db`` is only what others reckon with.
    """

    label: str
    centre_hz: float
    q: float | None
    pull_db: float
    why: str

    def fields(self) -> dict[str, Any]:
        """Return it as it goes over the link."""
        fields: dict[str, Any] = {
            "label": self.label,
            "centre_hz": round(self.centre_hz, 1),
            "pull_db": self.pull_db,
            "why": self.why,
        }
        if self.label == LOW_CUT:
            fields["on"] = True
        if self.q is not None:
            fields["q"] = round(self.q, 2)
        return fields


def begin_with(
    gigs: Sequence[GigMemory], equaliser: str | None, verdicts: Sequence[BandVerdict] = ()
) -> list[BeginWith]:
    """Return the pulls to begin with, lowest first.

    Parameters
    ----------
    gigs : sequence of GigMemory
        Of one venue, oldest first.
    equaliser : str or None
        The name of the one in use; other evenings' sliders are others and do not count.  None:
        that of the last gig.
    verdicts : sequence of BandVerdict
        To say where a pull is better made on the channel.
    """
    alike = [gig for gig in gigs if gig.equaliser == (equaliser or gigs[-1].equaliser)]
    if len(alike) < LEAST_EVENINGS:
        return []
    found = [pull for same in _same_sliders(alike) if (pull := _pull(same, alike, verdicts))]
    by_label: dict[str, BeginWith] = {}
    for pull in found:
        # One filter cannot stand at two places: the deeper one has it.
        if pull.label not in by_label or pull.pull_db > by_label[pull.label].pull_db:
            by_label[pull.label] = pull
    return sorted(by_label.values(), key=lambda pull: pull.centre_hz)


def _same_sliders(gigs: Sequence[GigMemory]) -> list[list[PullMemory | None]]:
    """Return for each slider how it stood on each evening, None where flat."""
    centres_hz: list[float] = []
    stood: list[list[PullMemory | None]] = []
    for i, gig in enumerate(gigs):
        for pull in gig.pulls:
            near = [octaves_apart(pull.centre_hz, hz) <= SAME_OCTAVES for hz in centres_hz]
            if True not in near:
                centres_hz.append(pull.centre_hz)
                stood.append([None] * len(gigs))
                near.append(True)
            row = stood[near.index(True)]
            if (kept := row[i]) is None or kept.pull_db < pull.pull_db:
                row[i] = pull
    return stood


def _pull(
    stood: Sequence[PullMemory | None],
    gigs: Sequence[GigMemory],
    verdicts: Sequence[BandVerdict],
) -> BeginWith | None:
    pulled = [pull for pull in stood if pull is not None]
    rang = [_rang_in_reach(gig, pulled[-1]) for gig in gigs]
    if len(pulled) < LEAST_EVENINGS or sum(rang) < LEAST_EVENINGS:
        return None
    values = [
        (0.0 if pull is None else pull.pull_db, weight(len(gigs) - 1 - i))
        for i, pull in enumerate(stood)
        # An evening on which it rang with the slider flat says nothing against the pull.
        if pull is not None or not rang[i]
    ]
    last, pull_db = pulled[-1], weighted_median(values)
    if last.label != LOW_CUT:
        pull_db = math.floor(pull_db / STEP_DB) * STEP_DB
    if pull_db <= 0.0:
        return None
    why = _why(pulled, sum(rang), len(gigs))
    if any(v.verdict == "rig" and _reaches(last, v.group.frequency_hz) for v in verdicts):
        why += "; it comes along with you, so rather on the channel"
    return BeginWith(last.label, last.centre_hz, last.q, pull_db, why)


def _why(pulled: Sequence[PullMemory], rang_count: int, of: int) -> str:
    rang, evenings = of_evenings(rang_count, of), counted(len(pulled), "evening")
    if pulled[-1].label == LOW_CUT:
        return f"rang here on {rang}, was on in the end of {evenings}"
    least_db = min(pull.pull_db for pull in pulled)
    most_db = max(pull.pull_db for pull in pulled)
    span = (
        decibels(least_db)
        if least_db == most_db
        else f"{decibels(least_db)} to {decibels(most_db)}"
    )
    return f"rang here on {rang}, stood at {span} dB in the end of {evenings}"


def _reaches(pull: PullMemory, frequency_hz: float) -> bool:
    return octaves_apart(frequency_hz, pull.centre_hz) <= half_width_octaves(pull)


def _rang_in_reach(gig: GigMemory, pull: PullMemory) -> bool:
    return any(_reaches(pull, ring.frequency_hz) for ring in gig.rings)
