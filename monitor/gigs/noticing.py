"""What has happened between two snapshots: the happenings that are kept of a gig.  Pure.

The watcher's own snapshots are looked at and nothing else: what the page shows is what is kept.
What can change many times in a row (sliders, ticks, a plan under a finger) is kept once it has
settled.  What was so before the first look happened before; it is told when a gig begins.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from monitor.gigs.evening_rules import Doing

PULL_SETTLES_S = 1.0
TICKS_SETTLE_S = 5.0
PLAN_SETTLES_S = 10.0
"""A plan that is being drawn is saved every few seconds, and is the largest thing that is kept."""
RING_OUT_KEEPS = (
    "gain_won_db", "top_fader_db", "cut_count", "tone_cost_db", "pulls", "rings", "why",
)  # fmt: skip
NOT_KEPT = ("age_s", "kind")
"""Of what the soundcheck took: how long ago, and that it was the line, as always."""

Snapshot = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Noticed:
    """One happening: ``kind`` and ``content`` as they are kept.

    ``does`` is the doing it is for the evening, None if it is none.  A plan's content has only its
    revision; who keeps it fetches the plan.
    """

    kind: str
    content: Mapping[str, Any]
    does: Doing | None


@dataclass(slots=True)
class _Settling:
    """A value that counts once it has stood still for ``after_s``."""

    after_s: float
    told: Any = None
    seen: Any = None
    since_s: float = 0.0

    def look(self, value: Any, now_s: float) -> bool:
        """Return whether a new value has just settled."""
        if value != self.seen:
            self.seen, self.since_s = value, now_s
        if value == self.told or now_s - self.since_s < self.after_s:
            return False
        self.told = value
        return True

    def begin(self, value: Any, now_s: float) -> None:
        """Take a value as told."""
        self.told = self.seen = value
        self.since_s = now_s


class Noticing:
    """Looks at one snapshot after another, about once a second or oftener."""

    def __init__(self) -> None:
        self._before: Snapshot | None = None
        self._pulls = _Settling(PULL_SETTLES_S)
        self._ticks = _Settling(TICKS_SETTLE_S)
        self._plan = _Settling(PLAN_SETTLES_S)

    def look(self, snapshot: Snapshot, now_s: float) -> Sequence[Noticed]:
        """Return what has happened since the last look; the first one only begins."""
        before, self._before = self._before, snapshot
        check = _part(snapshot, "soundcheck")
        if before is None:
            self._pulls.begin(pulls_of(snapshot), now_s)
            self._ticks.begin(check.get("ticks"), now_s)
            self._plan.begin(check.get("plan_revision"), now_s)
            return ()
        found = [
            *_way(before, snapshot),
            *_hearing(before, snapshot),
            *_ring_out(before, snapshot),
            *_soundcheck(before, snapshot),
        ]
        if self._pulls.look(pulls_of(snapshot), now_s):
            found.append(Noticed("pull", {"pulls": self._pulls.told}, "pull"))
        if self._ticks.look(check.get("ticks"), now_s):
            found.append(Noticed("check", {"ticks": list(self._ticks.told or ())}, "mark"))
        if self._plan.look(check.get("plan_revision"), now_s):
            found.append(Noticed("plan", {"revision": self._plan.told}, "mark"))
        return found


def stands(snapshot: Snapshot) -> Sequence[Noticed]:
    """Return how things stand, for the beginning of a gig."""
    check = _part(snapshot, "soundcheck")
    found = []
    if "equaliser" in snapshot:
        found.append(Noticed("equaliser", snapshot["equaliser"], None))
    if "way" in snapshot:
        found.append(Noticed("way", {"way": snapshot["way"]}, None))
    if pulls := pulls_of(snapshot):
        found.append(Noticed("pull", {"pulls": pulls}, None))
    if check.get("plan_revision"):
        found.append(Noticed("plan", {"revision": check["plan_revision"]}, None))
    if check.get("ticks"):
        found.append(Noticed("check", {"ticks": list(check["ticks"])}, None))
    if snapshot.get("state") == "deaf":
        found.append(_deaf(snapshot))
    return found


def stands_otherwise(
    snapshot: Snapshot, stood: Mapping[str, Mapping[str, Any]]
) -> Sequence[Noticed]:
    """Return what stands otherwise than it was last told: a restart lies between.

    ``stood`` is the content by kind, the latest last.  Settings may be others now, the way is the
    settings' again, and what could not hear may hear.
    """
    now = {one.kind: one for one in stands(snapshot)}
    found = [now[kind] for kind in ("equaliser", "way") if kind in now]
    found = [one for one in found if one.content != stood.get(one.kind)]
    pulls = pulls_of(snapshot)
    if pulls != stood.get("pull", {}).get("pulls", []):
        found.append(Noticed("pull", {"pulls": pulls}, None))
    heard = [kind for kind in stood if kind in ("deaf", "hears")]
    if ("deaf" in now) != (heard[-1:] == ["deaf"]):
        found.append(now.get("deaf") or Noticed("hears", {}, None))
    return found


def pulls_of(snapshot: Snapshot) -> list[dict[str, Any]]:
    """Return the sliders that stand pulled, with their labels; depths are positive."""
    sliders = _part(snapshot, "equaliser").get("sliders") or ()
    found = []
    for one in snapshot.get("standing") or ():
        index = one.get("slider")
        if not isinstance(index, int) or not 0 <= index < len(sliders):
            continue
        slider = sliders[index]
        centre_hz = one.get("centre_hz")
        pull = {
            "label": slider["label"],
            "centre_hz": slider["centre_hz"] if centre_hz is None else centre_hz,
            "pull_db": -one["cut_db"],
        }
        found.append(pull if one.get("q") is None else {**pull, "q": one["q"]})
    return found


def _part(snapshot: Snapshot, name: str) -> Mapping[str, Any]:
    part = snapshot.get(name)
    return part if isinstance(part, Mapping) else {}


def _way(before: Snapshot, now: Snapshot) -> list[Noticed]:
    if now.get("way") in (None, before.get("way")):
        return []
    return [Noticed("way", {"way": now["way"]}, "way")]


def _deaf(snapshot: Snapshot) -> Noticed:
    return Noticed("deaf", {"reason": str(snapshot.get("deaf_reason") or "unknown")}, None)


def _hearing(before: Snapshot, now: Snapshot) -> list[Noticed]:
    was_deaf, is_deaf = before.get("state") == "deaf", now.get("state") == "deaf"
    if is_deaf == was_deaf:
        return []
    return [_deaf(now) if is_deaf else Noticed("hears", {}, None)]


def _ring_out(before: Snapshot, now: Snapshot) -> list[Noticed]:
    """A ring-out is a doing whenever it moves on, and kept at its end."""
    was, ring_out = _part(before, "ring_out").get("phase"), _part(now, "ring_out")
    phase = ring_out.get("phase")
    if phase in (None, was):
        return []
    if phase != "done":
        return [Noticed("", {}, "ring_out")]
    kept = {key: ring_out[key] for key in RING_OUT_KEEPS if ring_out.get(key) is not None}
    for key in ("pulls", "rings"):
        kept[key] = [{k: v for k, v in one.items() if v is not None} for one in kept.get(key, ())]
    # It tells no place of a fixed slider and no depth of a low cut; a record reckons with both.
    standing = {one["label"]: one for one in pulls_of(now)}
    kept["pulls"] = [{**standing.get(one.get("label"), {}), **one} for one in kept["pulls"]]
    return [Noticed("ring_out", kept, "ring_out")]


def _soundcheck(before: Snapshot, now: Snapshot) -> list[Noticed]:
    """What was taken, and that somebody has begun; ``age_s`` starts again with each taking."""
    was, check = _part(before, "soundcheck"), _part(now, "soundcheck")
    found = []
    for key, kind in (("level", "desk_level"), ("low_cut", "low_cut")):
        taken = _without(check.get(key))
        if taken and taken != _without(was.get(key)):
            found.append(Noticed(kind, taken, "soundcheck"))
    begun, begun_before = check.get("begun_age_s"), was.get("begun_age_s")
    if begun is not None and begun_before is None:
        found.append(Noticed("", {}, "soundcheck"))
    return found


def _without(taken: Any) -> dict[str, Any]:
    if not isinstance(taken, Mapping):
        return {}
    return {k: v for k, v in taken.items() if k not in NOT_KEPT and v is not None}
