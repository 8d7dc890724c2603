"""What a counsel keeps over a restart, and the gate it comes back through.

A file can be damaged, older, or of another equaliser: whatever stands in it, either all of it
makes sense or one clear line says what does not.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from monitor.advice.equaliser import Equaliser
from monitor.advice.margin import LoopTimes
from monitor.advice.pulls import Pull, stood
from monitor.advice.ring_out import RingOut
from monitor.uids import UID

MOST_ASKED = 100_000
"""Nobody pulls one slider more often in an evening; more is damage."""


@dataclass(frozen=True, slots=True)
class Kept:
    """How the desk stands by label, how often each slider was asked for, the ring-out if any.

    ``place`` is the practice stage's room and placement, None on a real one.  ``uid`` is the
    ring-out's, "" in files from before it had one.
    """

    standing: dict[str, Pull]
    asked: Counter[str]
    ring_out: RingOut | None
    place: str | None
    uid: str


def kept_of(equaliser: Equaliser, kept: Kept, loop_times: LoopTimes) -> dict[str, Any]:
    """Return all of it ready for JSON, the loop times that were learnt with it."""
    return {
        "sliders": [slider.label for slider in equaliser.sliders],
        "standing": [[p.label, p.pull_db, p.centre_hz, p.q] for p in kept.standing.values()],
        "asked": dict(kept.asked),
        "loop_times": loop_times.kept(),
        "ring_out": None if kept.ring_out is None else kept.ring_out.kept(),
        "place": kept.place,
        "uid": kept.uid,
    }


def kept_from(content: Mapping[str, Any], equaliser: Equaliser, loop_times: LoopTimes) -> Kept:
    """Return what ``kept_of`` was given; ``loop_times`` take back what they had learnt.

    Files from before loop times, the place or the ring-out's name were kept have none.

    Raises
    ------
    ValueError
        If it is damaged or of another equaliser; one clear line, and nothing was learnt.
    """
    try:
        labels = list(content["sliders"])
        standing = [_pull(row) for row in content["standing"]]
        asked = Counter({str(label): _count(n) for label, n in content["asked"].items()})
        learnt = content.get("loop_times", [])
        ring_out = content["ring_out"]
        place = content.get("place")
        if not (place is None or isinstance(place, str)):
            raise TypeError("the place has no name")
        uid = content.get("uid", "")
        if uid != "" and not UID.fullmatch(uid):
            raise ValueError("the ring-out's uid is none")
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
        raise ValueError(f"what was kept of the advice is damaged: {error!r}") from error
    if labels != [slider.label for slider in equaliser.sliders]:
        raise ValueError("what was kept of the advice is of another equaliser")
    stood(equaliser, standing)
    found = None
    if ring_out is not None:
        found = RingOut.restored(ring_out, equaliser, loop_times=loop_times)
    loop_times.restore(learnt)
    return Kept({pull.label: pull for pull in standing}, asked, found, place, uid)


def _pull(row: Any) -> Pull:
    label, *figures = row
    pull_db, centre_hz, q = (float(one) for one in figures)
    if not (math.isfinite(centre_hz) and centre_hz > 0.0 and math.isfinite(q) and q > 0.0):
        raise ValueError(f"slider {label!r} stands at {centre_hz:g} Hz with Q {q:g}")
    return Pull(str(label), pull_db, centre_hz, q)


def _count(value: Any) -> int:
    count = int(value)
    if not 0 <= count <= MOST_ASKED:
        raise ValueError(f"asked {count:.6g} times; expected 0 to {MOST_ASKED}")
    return count
