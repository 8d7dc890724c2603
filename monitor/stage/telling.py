"""What the practice stage says of itself: the fields of a snapshot, and the next step in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from monitor.advice.sliders import DEEPEST_DB, STEP_DB, Slider
from monitor.stage.line import GAIN_MAX_DB, GAIN_MIN_DB
from monitor.stage.loop import FADER_MIN_DB
from monitor.stage.scenario import BAND, PRACTICE_ROOMS
from monitor.stage.seat import Seat


def stage_fields(
    seat: Seat,
    *,
    tried: Mapping[tuple[str, str], float],
    moving: str | None,
    has_sound: bool,
    advice: str,
) -> dict[str, Any]:
    """Return how the stage stands.

    ``tried`` holds the limit of each (room, placement) that was played, on the room's own fader
    scale in dB with all sliders flat; ``moving`` names what is being built.
    """
    loop, room = seat.loop, seat.room
    depths = [slider for slider in loop.equaliser.sliders if slider.kind != "low cut"]
    return {
        "room": loop.room.name,
        "description": room.description if room else loop.room.description,
        "band": BAND,
        "rooms": list(PRACTICE_ROOMS),
        "placement": seat.placement.name if seat.placement else None,
        "placements": [
            {
                "name": one.name,
                "description": one.description,
                "limit_db": tried.get((room.name, one.name)),
            }
            for one in room.placements
        ]
        if room
        else [],
        "moving": moving,
        "fader_db": round(seat.fader_db, 2),
        "fader_min_db": FADER_MIN_DB,
        "fader_max_db": seat.fader_max_db,
        "gain_db": round(loop.input_db, 2),
        "gain_min_db": GAIN_MIN_DB,
        "gain_max_db": GAIN_MAX_DB,
        "sliders": [
            {"label": slider.label, "cut_db": cut_db, **_place(slider), **_switch(slider)}
            for slider, cut_db in zip(loop.equaliser.sliders, loop.cuts_db, strict=True)
        ],
        "cut_max_db": max((s.deepest_db for s in depths), default=DEEPEST_DB),
        "step_db": min((s.step_db for s in depths), default=STEP_DB),
        "sound": True if has_sound else None,
        "advice": advice,
    }


def _place(slider: Slider) -> dict[str, float]:
    """Where a filter that can be put anywhere stands."""
    if not slider.is_swept:
        return {}
    return {"centre_hz": round(slider.centre_hz, 2), "q": round(slider.q, 3)}


def _switch(slider: Slider) -> dict[str, float]:
    """How far a low cut goes when it is switched on; it knows nothing in between."""
    return {"cut_max_db": slider.deepest_db} if slider.kind == "low cut" else {}


def next_step(
    *,
    fader_db: float,
    fader_max_db: float,
    pulled: bool,
    margin_db: float,
    is_loud: bool,
    is_dying: bool,
    moving: bool = False,
    problem: str = "",
) -> str:
    """Return what to do next, without ever naming the frequency: finding it is the practice."""
    if problem:
        return problem
    if moving:
        return "Things are being carried; the stage plays on until they stand."
    if margin_db < 0.0:
        if is_loud:
            return (
                "It rings: leave the fader there, and do what the lantern says as soon as it does."
            )
        return "Leave the fader there and listen: something begins to ring."
    if fader_db >= fader_max_db:
        return "The fader is at its end and nothing rings. Bring it down 3 dB and play."
    if is_dying:
        return "It is dying away. When the lamp is dark, push the fader on, slowly."
    if pulled:
        return (
            "Quiet. Push the fader on, slowly, until it rings again; "
            "or stop here, and bring it down 3 dB."
        )
    return "Push the fader up, slowly, until something rings."
