"""One gig's record, read for a report: what is usable of it, in order, nothing taken for granted.

Conventions
-----------
Seconds count from the gig's beginning.  Pulls are positive decibels.  What the record does not
say is None or empty; a malformed entry is left out, since a record may come from elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any, Literal

from monitor.advice.labels import centre_of
from monitor.advice.sliders import LOW_CUT, place_words
from monitor.report.words import EveningClock, each_of, mapping_of, moment_of, number, text

Record = Mapping[str, Any]
Degree = Literal["ringing", "howl"]
LONGEST_GIG_S = 14 * 24 * 3600.0
"""A fortnight: beyond any gig, so what lies later is a mistake and would squeeze the rest."""
OF_THE_QUIET = ("level", "deaf", "hears")
"""What is still kept in the quiet that ends a gig, while microphones are unplugged and packed."""
FROM_THE_START_S = 2.0
"""Pulls said so soon after the beginning stood before it."""


@dataclass(frozen=True, slots=True)
class Ring:
    """One ring; ``lasted_s`` is None where its end is not known.

    ``slider`` is empty where none was kept, and where it is no slider's name: a filter that can be
    put anywhere is told by the ring's own frequency.
    """

    at_s: float
    lasted_s: float | None
    degree: Degree
    way: str
    frequency_hz: float
    slider: str
    level_dbfs: float | None


@dataclass(frozen=True, slots=True)
class Pulled:
    """How one slider stands; ``centre_hz`` is None where neither record nor label tells.

    ``q`` only of one that can be put anywhere.
    """

    label: str
    pull_db: float
    centre_hz: float | None
    q: float | None = None

    @property
    def is_switch(self) -> bool:
        """Whether it is a low cut, on or off; its ``pull_db`` is only for reckoning."""
        return self.label == LOW_CUT

    @property
    def name(self) -> str:
        """Its label, with its place where that can be chosen: "filter 1 (2.48k, Q 4)"."""
        if self.q is None or self.centre_hz is None:
            return self.label
        return f"{self.label} ({place_words(self.label, self.centre_hz, self.q)})"


@dataclass(frozen=True, slots=True)
class Move:
    """One slider moved: down where ``to_db`` is more than ``from_db``."""

    at_s: float
    label: str
    centre_hz: float | None
    from_db: float
    to_db: float


@dataclass(frozen=True, slots=True)
class Happening:
    """Anything else that was kept; ``content`` as it came."""

    at_s: float
    kind: str
    content: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Evening:
    """A gig as the report needs it.

    ``length_s`` reaches to its end, or to the last thing that was kept where that is later or the
    end is not known; the quiet that was listened to after the end is left out.
    ``is_in_doubt``: nobody knows whether it was one gig or two.  ``rings_gone`` are counted and
    no longer kept, ``howls_gone`` of them had become howls.
    """

    uid: str
    title: str
    venue: str
    box: str
    begun: datetime | None
    dated: str
    is_over: bool
    ended_by: str
    length_s: float
    is_in_doubt: bool
    rings_gone: int
    howls_gone: int
    rings: tuple[Ring, ...]
    happenings: tuple[Happening, ...]
    moves: tuple[Move, ...]
    standing: tuple[Pulled, ...]
    curve: tuple[tuple[float, float], ...]
    equaliser: str

    def of_kind(self, kind: str) -> list[Happening]:
        """Return the happenings of one kind, in order."""
        return [one for one in self.happenings if one.kind == kind]

    def last(self, kind: str) -> Happening | None:
        """Return the last happening of a kind."""
        return next((one for one in reversed(self.happenings) if one.kind == kind), None)

    def ring_outs(self) -> list[Happening]:
        """Return how ring-outs ended: those in which something was pulled, else the last one."""
        ended = self.of_kind("ring_out")
        pulled = [one for one in ended if number(one.content.get("cut_count"), 1, 999)]
        return pulled or ended[-1:]

    @property
    def is_dated(self) -> bool:
        """Whether somebody told the box the time: the network or a phone."""
        return self.begun is not None and self.dated in ("network", "phone")

    def clock(self, zone: tzinfo | None) -> EveningClock:
        """Return what says when things were; ``zone`` None is the machine's."""
        return EveningClock(self.begun if self.is_dated else None, zone)

    @property
    def howl_count(self) -> int:
        """How many rings became howls."""
        return sum(ring.degree == "howl" for ring in self.rings)


def evening_of(record: Record) -> Evening:
    """Return what is usable of a record."""
    gig = mapping_of(record.get("gig"))
    begun, venue = mapping_of(gig.get("begun")), mapping_of(gig.get("venue"))
    equaliser = mapping_of(record.get("equaliser"))
    labels = {text(slider.get("label"), 20) for slider in each_of(equaliser.get("sliders"))}
    rings = tuple(sorted(_rings(record.get("rings"), labels), key=lambda ring: ring.at_s))
    happenings = tuple(sorted(_happenings(record.get("happenings")), key=lambda one: one.at_s))
    length_s = _length_s(gig, rings, happenings)
    happenings = tuple(one for one in happenings if one.at_s <= length_s)
    moves, standing, curve = _pulls(happenings)
    return Evening(
        uid=text(gig.get("uid")),
        title=text(gig.get("title")),
        venue=text(venue.get("name")),
        box=text(gig.get("box")),
        begun=moment_of(begun.get("utc")),
        dated=text(begun.get("dated")),
        is_over=isinstance(gig.get("ended"), Mapping),
        ended_by=text(gig.get("ended_by")),
        length_s=length_s,
        is_in_doubt=gig.get("in_doubt") is True,
        rings_gone=int(number(gig.get("rings_gone"), 0, 1e9) or 0),
        howls_gone=int(number(gig.get("howls_gone"), 0, 1e9) or 0),
        rings=rings,
        happenings=happenings,
        moves=moves,
        standing=standing,
        curve=curve,
        equaliser=text(equaliser.get("name")),
    )


def _rings(value: Any, labels: set[str]) -> Iterator[Ring]:
    for one in each_of(value):
        at_s = number(one.get("at_s"), 0.0, LONGEST_GIG_S)
        frequency_hz = number(one.get("frequency_hz"), 1.0, 100_000.0)
        if at_s is None or frequency_hz is None:
            continue
        slider = text(one.get("slider"), 20)
        yield Ring(
            at_s=at_s,
            lasted_s=number(one.get("lasted_s"), 0.0, LONGEST_GIG_S),
            degree="howl" if one.get("degree") == "howl" else "ringing",
            way=text(one.get("way")),
            frequency_hz=frequency_hz,
            slider=slider if slider in labels or not labels else "",
            level_dbfs=number(one.get("level_dbfs"), -300.0, 60.0),
        )


def _happenings(value: Any) -> Iterator[Happening]:
    for one in each_of(value):
        at_s, kind = number(one.get("at_s"), 0.0, LONGEST_GIG_S), text(one.get("kind"), 20)
        if at_s is not None and kind:
            yield Happening(at_s, kind, one)


def _length_s(gig: Record, rings: Sequence[Ring], happenings: Sequence[Happening]) -> float:
    lasted_s = number(gig.get("lasted_s"), 0.0, LONGEST_GIG_S)
    ends = [ring.at_s + (ring.lasted_s or 0.0) for ring in rings]
    ends += [one.at_s for one in happenings if lasted_s is None or one.kind not in OF_THE_QUIET]
    return max([lasted_s or 0.0, *ends])


def pulls_of(value: Any) -> list[Pulled]:
    """Return the sliders that stand pulled, of a list as the link and the journal write it."""
    found = []
    for one in each_of(value):
        label, pull_db = text(one.get("label"), 20), number(one.get("pull_db"), 0.0, 60.0)
        if label and pull_db:
            centre_hz = number(one.get("centre_hz"), 1.0, 100_000.0)
            printed_hz = _label_hz(label)
            # What is printed on a slider, or is a switch, is not put anywhere.
            is_put = printed_hz is None and label != LOW_CUT
            q = number(one.get("q"), 0.01, 1000.0) if is_put else None
            found.append(Pulled(label, pull_db, centre_hz or printed_hz, q))
    return found


def _label_hz(label: str) -> float | None:
    try:
        return centre_of(label)
    except ValueError:
        return None  # "low cut", "high": a name and no frequency


def _pulls(
    happenings: Sequence[Happening],
) -> tuple[tuple[Move, ...], tuple[Pulled, ...], tuple[tuple[float, float], ...]]:
    """Return how sliders moved, how they stand in the end, and the response that makes."""
    moves: list[Move] = []
    standing: dict[str, Pulled] = {}
    curve: tuple[tuple[float, float], ...] = ()
    for one in happenings:
        if one.kind not in ("pull", "ring_out") or not isinstance(one.content.get("pulls"), list):
            continue
        now = {pulled.label: pulled for pulled in pulls_of(one.content["pulls"])}
        drawn = _curve(one.content.get("curve"))
        if drawn or not _alike(now, standing):
            curve = drawn
        if standing or one.at_s > FROM_THE_START_S:
            moves.extend(_moves(one.at_s, standing, now))
        standing = now
    in_order = sorted(standing.values(), key=lambda pulled: pulled.centre_hz or 0.0)
    return tuple(moves), tuple(in_order), curve


def _alike(one: dict[str, Pulled], other: dict[str, Pulled]) -> bool:
    """Whether the same sliders stand alike; a centre may have been rounded, or left out."""
    return one.keys() == other.keys() and all(
        one[label].pull_db == other[label].pull_db
        and abs((one[label].centre_hz or 1.0) / (other[label].centre_hz or 1.0) - 1.0) < 0.01
        for label in one
    )


def _moves(at_s: float, was: dict[str, Pulled], now: dict[str, Pulled]) -> Iterator[Move]:
    for label in [*was, *(label for label in now if label not in was)]:
        before = was[label].pull_db if label in was else 0.0
        after = now[label].pull_db if label in now else 0.0
        if after != before:
            centre_hz = (now.get(label) or was[label]).centre_hz
            yield Move(at_s, label, centre_hz, before, after)


def _curve(value: Any) -> tuple[tuple[float, float], ...]:
    """Return frequencies in Hz and levels in dB, lowest first; empty if it is no curve."""
    fields = mapping_of(value)
    hz, db = fields.get("hz"), fields.get("db")
    if not isinstance(hz, list) or not isinstance(db, list) or len(hz) != len(db):
        return ()
    points = [
        (f, level)
        for f, level in (
            (number(f, 1.0, 100_000.0), number(level, -120.0, 120.0))
            for f, level in zip(hz, db, strict=True)
        )
        if f is not None and level is not None
    ]
    return tuple(sorted(points)) if len(points) >= 2 else ()
