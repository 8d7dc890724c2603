"""From a record, as gigs are exported, imported and reported, to what the memory needs of it.

The journal has gathered it, and what came from elsewhere has passed its gate: only what the gate
leaves open may be odd here, and then it is not known.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from monitor.clock import utc_seconds
from monitor.memory.gig_memory import (
    GigMemory,
    PullMemory,
    RingMemory,
    RingOutMemory,
    SongMemory,
)

LEVEL_S = 60.0
THINNED_S = 600.0
"""A minute of sound leaves one level; of a thinned gig one in ten is kept and stands for ten."""
_HOUR_S = 3600.0
_LEAST_PULL_DB = 0.5
"""Half the smallest step a hand makes; less is a slider that stands flat."""

Happenings = Sequence[Mapping[str, Any]]


def memory_of(record: Mapping[str, Any]) -> GigMemory:
    """Return what the memory needs of a record that ``check_record`` let through."""
    gig = record["gig"]
    venue = gig.get("venue") or {}
    begun_s = utc_seconds(gig["begun"].get("utc", ""))
    happenings = sorted(record["happenings"], key=lambda happening: float(happening["at_s"]))
    level_s = THINNED_S if gig.get("thinned") else LEVEL_S
    sounding = _sounding(happenings, level_s, float(gig.get("lasted_s") or 0.0))
    return GigMemory(
        uid=gig["uid"],
        venue_uid=venue.get("uid"),
        venue_name=venue.get("name"),
        utc_s=begun_s if begun_s is not None and begun_s >= 0.0 else None,
        dated=gig["begun"]["dated"],
        rings=tuple(_ring(ring) for ring in record["rings"]),
        pulls=_pulls(_of(happenings, "pull"), _centres_hz(record.get("equaliser"))),
        ring_out=_ring_out(_of(happenings, "ring_out")),
        hours_heard_s=_by_hour(sounding),
        hours_set_s=_by_hour(_in_the_set(sounding, _of(happenings, "way"))),
        songs=_songs(_of(happenings, "song"), sounding),
        voice_dbfs=_voice_dbfs(_of(happenings, "desk_level")),
        equaliser=(record.get("equaliser") or {}).get("name"),
        sliders=_sliders(record.get("equaliser")),
        is_whole=not gig.get("rings_gone"),
    )


def _of(happenings: Happenings, kind: str) -> Happenings:
    return [happening for happening in happenings if happening["kind"] == kind]


def _number(value: Any) -> float | None:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if is_number else None


def _ring(ring: Mapping[str, Any]) -> RingMemory:
    at_s, frequency_hz = float(ring["at_s"]), float(ring["frequency_hz"])
    return RingMemory(frequency_hz, ring["degree"], ring["way"], at_s)


def _centres_hz(equaliser: Mapping[str, Any] | None) -> list[float]:
    return sorted(hz for _, hz in _sliders(equaliser))


def _sliders(equaliser: Mapping[str, Any] | None) -> tuple[tuple[str, float], ...]:
    """Return label and place in Hz of each slider."""
    sliders = (equaliser or {}).get("sliders", ())
    return tuple((one["label"], float(one["centre_hz"])) for one in sliders if "centre_hz" in one)


def _reach_octaves(centre_hz: float, centres_hz: Sequence[float]) -> float | None:
    """Return half the way to the next slider, as the wider side has it."""
    away = [abs(math.log2(hz / centre_hz)) for hz in centres_hz]
    lower = [d for hz, d in zip(centres_hz, away, strict=True) if hz < centre_hz * 0.99]
    upper = [d for hz, d in zip(centres_hz, away, strict=True) if hz > centre_hz * 1.01]
    sides = [min(side) for side in (lower, upper) if side]
    return max(sides) / 2.0 if sides else None


def _pulls(happenings: Happenings, centres_hz: Sequence[float]) -> tuple[PullMemory, ...]:
    """Return what stood in the end; a slider that came back to flat begins anew."""
    begun: dict[str, tuple[float, float]] = {}
    standing: list[Mapping[str, Any]] = []
    for happening in happenings:
        standing = [p for p in happening["pulls"] if p["pull_db"] >= _LEAST_PULL_DB]
        at_s = float(happening["at_s"])
        begun = {p["label"]: begun.get(p["label"], (at_s, float(p["pull_db"]))) for p in standing}
    return tuple(
        PullMemory(
            p["label"],
            float(p["centre_hz"]),
            float(p["pull_db"]),
            _number(p.get("q")),
            begun[p["label"]][0],
            _reach_octaves(float(p["centre_hz"]), centres_hz),
            begun[p["label"]][1],
        )
        for p in standing
    )


def _ring_out(happenings: Happenings) -> RingOutMemory | None:
    if not happenings:
        return None
    last = happenings[-1]
    return RingOutMemory(_number(last.get("gain_won_db")), _number(last.get("top_fader_db")))


def _voice_dbfs(happenings: Happenings) -> float | None:
    loudest = happenings[-1].get("loudest") if happenings else None
    return _number(loudest.get("rms_dbfs")) if isinstance(loudest, Mapping) else None


def _sounding(happenings: Happenings, level_s: float, lasted_s: float) -> list[tuple[float, float]]:
    """Return (begin, seconds) of each piece of time with sound and a box that heard.

    A level stands for the time before it.  Where none is kept the whole gig counts, less what the
    box was deaf.
    """
    marks_s = [float(happening["at_s"]) for happening in _of(happenings, "level")]
    if marks_s:
        begins_s = [max(at_s - level_s, 0.0) for at_s in marks_s]
        return [
            (begin_s, at_s - begin_s)
            for begin_s, at_s in zip(begins_s, marks_s, strict=True)
            if at_s > begin_s
        ]
    pieces = []
    deaf_since_s: float | None = None
    begin_s = 0.0
    for happening in happenings:
        at_s = min(float(happening["at_s"]), lasted_s)
        if happening["kind"] == "deaf" and deaf_since_s is None:
            deaf_since_s = at_s
            pieces.append((begin_s, at_s - begin_s))
        elif happening["kind"] == "hears" and deaf_since_s is not None:
            begin_s, deaf_since_s = at_s, None
    if deaf_since_s is None:
        pieces.append((begin_s, lasted_s - begin_s))
    return [(at_s, seconds) for at_s, seconds in pieces if seconds > 0.0]


def _in_the_set(
    pieces: Iterable[tuple[float, float]], ways: Happenings
) -> list[tuple[float, float]]:
    """Return the parts of the pieces during which the way was the set."""
    spans: list[tuple[float, float]] = []
    since_s: float | None = None
    for happening in ways:
        if happening.get("way") == "set":
            since_s = float(happening["at_s"]) if since_s is None else since_s
        elif since_s is not None:
            spans.append((since_s, float(happening["at_s"])))
            since_s = None
    if since_s is not None:
        spans.append((since_s, float("inf")))
    found = []
    for begin_s, seconds in pieces:
        for from_s, to_s in spans:
            start_s, end_s = max(begin_s, from_s), min(begin_s + seconds, to_s)
            if end_s > start_s:
                found.append((start_s, end_s - start_s))
    return found


def _by_hour(pieces: Iterable[tuple[float, float]]) -> tuple[float, ...]:
    hours: dict[int, float] = {}
    for begin_s, seconds in pieces:
        end_s = begin_s + seconds
        while begin_s < end_s:
            hour = int(begin_s // _HOUR_S)
            part_s = min((hour + 1) * _HOUR_S, end_s) - begin_s
            hours[hour] = hours.get(hour, 0.0) + part_s
            begin_s += part_s
    return tuple(hours.get(hour, 0.0) for hour in range(max(hours, default=-1) + 1))


def _songs(marks: Happenings, pieces: Sequence[tuple[float, float]]) -> tuple[SongMemory, ...]:
    """Return each block from its mark to the next; the last to the end of what was heard."""
    begins_s = [float(mark["at_s"]) for mark in marks]
    ends_s = [*begins_s[1:], float("inf")][: len(begins_s)]
    return tuple(
        SongMemory(
            int(_number(mark.get("n")) or i),
            begin_s,
            sum(max(min(at_s + s, end_s) - max(at_s, begin_s), 0.0) for at_s, s in pieces),
        )
        for i, (mark, begin_s, end_s) in enumerate(zip(marks, begins_s, ends_s, strict=True), 1)
    )
