"""From what is known to what lamp and panel show.  Pure functions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from firmware.ports import CODE, Face, LampPattern
from monitor.advice.set_advice import SetAdvice
from monitor.hearing import Deafness
from monitor.news import Advised
from monitor.present_advice import ring_out_face
from monitor.present_ring import hz_text, ring_face
from monitor.tonight import Shown

State = Literal["starting", "deaf", "quiet", "ringing", "howl"]

WELCOME_S = 30.0
"""How long the panel shows the page's address after the start: time to type it."""

_PATTERNS: dict[State, LampPattern] = {
    "starting": "dark",
    "deaf": "blink",
    "quiet": "dark",
    "ringing": "pulse",
    "howl": "steady",
}


@dataclass(frozen=True, slots=True)
class Situation:
    """All that lamp, panel and page need to know at one instant."""

    now_mono_s: float
    uptime_s: float
    box: str
    address: str
    address_age_s: float | None
    way: str
    hears: bool
    deafness: Deafness | None
    rings: tuple[Shown, ...]
    recent: tuple[Shown, ...]
    has_rung: bool
    quiet_since_mono_s: float | None
    advised: Advised | None = None
    code: str = ""
    is_leaving: bool = False
    settings_health: str = "ok"


def state_of(situation: Situation) -> State:
    """Return the state; a ring that is heard counts for more than clipping."""
    if situation.rings:
        return "howl" if any(r.degree == "howl" for r in situation.rings) else "ringing"
    if situation.deafness is not None:
        return "deaf"
    return "quiet" if situation.hears else "starting"


def lamp_pattern(state: State) -> LampPattern:
    """Return the lamp's rhythm for a state."""
    return _PATTERNS[state]


def face(situation: Situation) -> Face:
    """Return what the panel shows; what rings counts for more than what is to be done next."""
    if situation.is_leaving:
        return Face("quiet", "goodbye", "wait a moment,", "then pull the plug")
    state = state_of(situation)
    advised = situation.advised
    ring_out = None if advised is None else advised.ring_out
    guide = None if ring_out is None else ring_out_face(ring_out)
    if state in ("ringing", "howl"):
        if guide is not None and guide.kind == "pull":
            return guide
        leads = ring_out if guide is not None else None
        return ring_face(situation.rings, _advice(situation), leads)
    if situation.code and guide is None:
        return Face(CODE, f"{situation.code[:3]} {situation.code[3:]}", "type it on your phone")
    if state == "deaf" and situation.deafness is not None:
        why = situation.deafness
        return Face("deaf", why.headline, why.advice, situation.address)
    if guide is not None and state != "starting":  # whoever is led has the page open already
        return guide
    if state == "starting" or _is_welcoming(situation):
        return Face("starting", situation.box, situation.address or "starting", situation.way)
    last = situation.recent[0] if situation.recent else None
    if ring_out is not None and ring_out.phase in ("ready", "paused"):
        return Face("quiet", "quiet", f"ring-out {ring_out.phase}", situation.address)
    if situation.settings_health != "ok":
        return Face("quiet", "quiet", "a mistake in settings", situation.address)
    line_1 = f"last {last.band.label} {hz_text(last.frequency_hz)}" if last else situation.way
    return Face("quiet", "quiet", line_1, situation.address)


def hindrance(situation: Situation, panel_health: str) -> str:
    """Return why nobody in the network may have the panel show a code now, "" if they may."""
    if panel_health == "opening":
        return "the panel is being opened; ask again in a moment"
    if panel_health != "ok":
        return "no panel can show a code; type sudo howl-lantern pair at the box"
    if situation.rings:
        return "something rings, and the panel is needed for it; ask again when it is quiet"
    advised = situation.advised
    if advised is not None and advised.ring_out and ring_out_face(advised.ring_out) is not None:
        return "the panel leads a ring-out; ask again when it has ended"
    return ""


def _is_welcoming(situation: Situation) -> bool:
    if situation.has_rung:
        return False
    if situation.address_age_s is not None and situation.uptime_s < 4 * WELCOME_S:
        return situation.address_age_s < WELCOME_S
    return situation.uptime_s < WELCOME_S


def _advice(situation: Situation) -> SetAdvice | None:
    """The advice for the ring that leads; one for another ring would be wrong, and is none.

    It comes a moment after the ring.
    """
    advised = situation.advised
    if advised is None or not situation.rings or advised.for_ring != situation.rings[0].id:
        return None
    return advised.advice


def advised_fields(situation: Situation) -> dict[str, Any]:
    """Return the fields of what is advised, without advice for a ring that does not lead."""
    fields = {} if situation.advised is None else dict(situation.advised.fields)
    if _advice(situation) is None:
        fields.pop("advice", None)
    return fields
