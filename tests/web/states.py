"""Snapshots of every state of the page, as the watcher would send them.

The band, its rooms and its rings are invented.
"""

from __future__ import annotations

import base64
from typing import Any

from firmware.example_faces import EXAMPLE_FACES
from firmware.faces import draw_face
from monitor.advice.equaliser import Equaliser
from monitor.listening.bands import THIRD_OCTAVES, third_octave_of

EQUALISER = Equaliser.from_settings("31", ())


def ring(frequency_hz: float, degree: str = "howl", **fields: Any) -> dict[str, Any]:
    band = third_octave_of(frequency_hz)
    slider = EQUALISER.nearest(frequency_hz)
    return {
        "id": 7,
        "degree": degree,
        "frequency_hz": frequency_hz,
        "band": band.label,
        "band_hz": band.midband_hz,
        "slider": slider.label,
        "slider_hz": slider.centre_hz,
        "level_dbfs": -20.1,
        "growth_db_per_s": 35.0,
        "again": 1,
        **fields,
    }


def snapshot(state: str, face: str, pattern: str, **fields: Any) -> dict[str, Any]:
    levels = [-62.0 + 18.0 * ((i * 7) % 5) / 5 - abs(i - 14) for i in range(31)]
    for one in fields.get("rings", ()):
        levels[[band.label for band in THIRD_OCTAVES].index(one["band"])] = -18.0
    return {
        "class": "snapshot",
        "seq": 12,
        "uptime_s": 340.0,
        "audio_age_s": 0.02,
        "box": "lantern",
        "state": state,
        "way": "set",
        "rings": [],
        "recent": [
            ring(2480.3, "howl", lasted_s=2.4, ended_ago_s=41.0, again=2),
            ring(313.0, "ringing", lasted_s=0.9, ended_ago_s=320.0),
            ring(2470.0, "ringing", lasted_s=1.3, ended_ago_s=1900.0),
        ],
        "quiet_for_s": 41.0,
        "bands": [band.label for band in THIRD_OCTAVES],
        "third_octave_dbfs": levels,
        "level_dbfs": -32.0,
        "peak_dbfs": -20.0,
        "clipping": False,
        "equaliser": {
            "name": "31 bands",
            "graphic": True,
            "deepest_db": 12.0,
            "sliders": [
                {"label": s.label, "centre_hz": round(s.centre_hz, 2)} for s in EQUALISER.sliders
            ],
        },
        "microphone": {
            "state": "hearing",
            "device": "hw:CARD=Stand,DEV=0",
            "detail": "48 kHz, 16 bit, 1 channel, as asked",
            "sample_rate_hz": 48000,
            "sample_format": "S16_LE",
            "channels": 1,
            "automatic_gain": "turned off",
            "overrun_count": 0,
            "dropped_block_count": 0,
        },
        "lamp": {"pattern": pattern, "health": "ok"},
        "panel": {
            "width": 128,
            "height": 64,
            "bits": base64.b64encode(draw_face(EXAMPLE_FACES[face]).tobytes()).decode(),
            "health": "ok",
        },
        "journal": {"health": "ok"},
        "board": {
            "health": "ok",
            "temperature_c": 51.1,
            "is_undervolted": False,
            "sag_count": 0,
        },
        "button": {"health": "ok"},
        "settings": {"health": "ok"},
        "access": {"control": "open", "showing": False, "phones": 0, "revision": 1},
        **fields,
    }


STAGE = {
    "room": "Cellar under the Rope Shop",
    "description": "brick and low, 40 people; one loudspeaker on a stand, a little too near",
    "band": "The Ferry Lamps",
    "rooms": ["Cellar under the Rope Shop", "Back Room of the Blue Heron", "Tin Chapel"],
    "placement": "well forward",
    "placements": [
        {"name": "too near", "description": "a metre forward, as it was found", "limit_db": 0.0},
        {"name": "well forward", "description": "three metres forward", "limit_db": 5.1},
        {"name": "behind", "description": "behind the singer's shoulder"},
    ],
    "sound": True,
    "fader_db": -12.0,
    "fader_min_db": -40.0,
    "fader_max_db": 10.0,
    "cut_max_db": 12.0,
    "step_db": 1.0,
    "sliders": [
        {"label": s.label, "cut_db": -4.0 if s.label == "315" else 0.0} for s in EQUALISER.sliders
    ],
    "advice": "Push the vocal fader slowly until something rings.",
}

NO_MICROPHONE = {
    "state": "searching",
    "device": "auto",
    "detail": "no microphone is there; plug one in (any USB socket)",
    "automatic_gain": "unknown",
    "overrun_count": 0,
    "dropped_block_count": 0,
}


def pull(label: str, pull_db: float, more_db: float, **fields: Any) -> dict[str, Any]:
    labels = [slider.label for slider in EQUALISER.sliders]
    return {
        "slider": labels.index(label),
        "label": label,
        "pull_db": pull_db,
        "more_db": more_db,
        **fields,
    }


def cut(label: str, cut_db: float) -> dict[str, Any]:
    return {"slider": pull(label, 0.0, 0.0)["slider"], "cut_db": cut_db}


def rang(frequency_hz: float, fate: str, depth_db: float, **fields: Any) -> dict[str, Any]:
    return {
        "frequency_hz": frequency_hz,
        "band": third_octave_of(frequency_hz).label,
        "fate": fate,
        "times": 1,
        "depth_db": depth_db,
        "excess_db": 1.4,
        "excess_low_db": 0.6,
        "excess_high_db": 2.9,
        **fields,
    }


RING_OUT_UID = "5afe0f5afe0f5afe"


def ring_out(phase: str, say: str, detail: str, may: str, **fields: Any) -> dict[str, Any]:
    return {
        "uid": RING_OUT_UID,
        "phase": phase,
        "say": say,
        "detail": detail,
        "pulls_now": [],
        "pulls": [pull("315", 4.0, 0.0)],
        "rings": [rang(313.0, "gone", 4.0)],
        "cut_count": 1,
        "tone_cost_db": 0.4,
        "cautions": [],
        "hints": [],
        "asks": False,
        "may": may.split(),
        **fields,
    }


CURVE_HZ = [20.0 * 1000.0 ** (i / 63) for i in range(64)]
NOTCHES = "narrow notches would cost 0.5 dB of tone in the place of 2.0 dB"
RING_OUTS: dict[str, dict[str, Any]] = {
    "ready": ring_out(
        "ready",
        "Get ready",
        "read the cautions, then begin",
        "begin stop",
        cautions=[
            "Mind your ears, and those of others: feedback can get loud at once.",
            "Start with the fader low and keep a hand on it; move it slowly.",
            "Nobody stands near the loudspeakers, and the microphone is where it will be used.",
        ],
        rings=[],
    ),
    "raise": ring_out(
        "raise",
        "Raise slowly",
        "half a decibel, wait two seconds, and again, until it rings or is loud enough",
        "undo fader pause stop",
    ),
    "pull": ring_out(
        "pull",
        "Pull 2.5k by 4.5 dB",
        "then: 2.5k at -4.5",
        "pulled turned_down skip undo fader pause stop",
        pulls_now=[pull("2.5k", 4.5, 4.5)],
        hints=[NOTCHES],
        rings=[rang(313.0, "gone", 4.0), rang(2480.0, "rings", 0.0)],
    ),
    "pull-two": ring_out(
        "pull",
        "Pull 12.5k by 4 dB, 16k by 2 dB",
        "14k rings still or again: was it the right slider? Then: 12.5k at -8, 16k at -2",
        "pulled turned_down skip undo fader pause stop",
        pulls_now=[pull("12.5k", 8.0, 4.0), pull("16k", 2.0, 2.0)],
    ),
    "pull-beside": ring_out(
        "pull",
        "Pull 500 by 7 dB, 630 by 2 dB",
        "then: 500 at -7, 630 at -2",
        "pulled turned_down skip undo fader pause stop",
        pulls_now=[pull("500", 7.0, 7.0), pull("630", 2.0, 2.0)],
    ),
    "listen": ring_out("listen", "Wait", "listening whether it has gone", "undo fader pause stop"),
    "asks": ring_out(
        "listen",
        "Pulled, or turned down?",
        "taken as pulled if you say nothing",
        "pulled turned_down undo fader pause stop",
        asks=True,
    ),
    "back-off": ring_out(
        "back_off",
        "Come down 3 dB",
        "3 ring together: that is this room's limit",
        "turned_down undo fader pause stop",
        hints=[NOTCHES],
        why="3 ring together: that is this room's limit",
    ),
    "paused": ring_out(
        "paused",
        "Paused",
        "go on when you are ready; the fader a little lower first",
        "go_on stop",
        hints=[NOTCHES],
    ),
    "done": ring_out(
        "done",
        "6.5 dB won, 3 sliders pulled",
        "3 ring together: that is this room's limit",
        "",
        pulls=[pull("315", 4.0, 0.0), pull("1k", 2.0, 0.0), pull("2.5k", 6.0, 0.0)],
        rings=[
            rang(313.0, "gone", 4.0),
            rang(
                2480.0,
                "gone",
                5.8,
                margin_db=4.0,
                margin_low_db=2.2,
                margin_high_db=5.9,
                margin_sure="about",
                margin_line="2.5k: about 4 dB left, 2 to 6",
            ),
            rang(1068.0, "came back", 1.9),
            rang(940.0, "left", 0.3),
        ],
        cut_count=3,
        gain_won_db=6.5,
        tone_cost_db=1.2,
        why="3 ring together: that is this room's limit",
        hints=[NOTCHES],
        curve={
            "hz": CURVE_HZ,
            "db": [
                -6.0 * max(0.0, 1.0 - abs(i - 45) / 3) - 4.0 * max(0.0, 1.0 - abs(i - 25) / 3)
                for i in range(64)
            ],
        },
    ),
}


def _face(kind: str) -> str:
    return next(name for name, face in EXAMPLE_FACES.items() if face.kind == kind)


STATES: dict[str, dict[str, Any]] = {
    "starting": snapshot("starting", _face("starting"), "dark", recent=[]),
    "quiet": snapshot("quiet", _face("quiet"), "dark"),
    "ringing": snapshot(
        "ringing", _face("ringing"), "pulse", rings=[ring(317.2, "ringing", ringing_for_s=1.1)]
    ),
    "howl": snapshot(
        "howl", _face("howl"), "steady", rings=[ring(2480.3, ringing_for_s=3.2, again=2)]
    ),
    "wide": snapshot("howl", _face("howl"), "steady", rings=[ring(12610.0, ringing_for_s=0.4)]),
    "three": snapshot(
        "howl",
        _face("several"),
        "steady",
        rings=[
            ring(2480.3, ringing_for_s=3.2, id=1),
            ring(812.0, ringing_for_s=1.0, id=2),
            ring(5040.0, "ringing", ringing_for_s=0.6, id=3),
        ],
    ),
    "deaf": snapshot(
        "deaf",
        _face("deaf"),
        "blink",
        microphone=NO_MICROPHONE,
        deaf_reason=NO_MICROPHONE["detail"],
    ),
    "demo": snapshot("quiet", _face("quiet"), "dark", stage=STAGE, way="soundcheck"),
    "advised": snapshot(
        "howl",
        "howl-depth",
        "steady",
        rings=[ring(2480.3, ringing_for_s=3.2, again=2)],
        advice={
            "line": "pull 2.5k by 4",
            "pulls": [pull("2.5k", 6.0, 4.0)],
            "second": pull("3.15k", 3.0, 3.0),
            "second_too": False,
            "hint": "high rings: aim the loudspeaker past the microphone",
        },
        standing=[cut("315", -4.0), cut("2.5k", -2.0)],
        adviser={"health": "ok"},
    ),
    **{
        f"ring-out {name}": snapshot(
            "howl" if name.startswith("pull") else "quiet",
            _face("howl" if name.startswith("pull") else "quiet"),
            "steady" if name.startswith("pull") else "dark",
            rings=[ring(2480.3, ringing_for_s=1.2)] if name.startswith("pull") else [],
            ring_out=state,
            standing=[cut("315", -4.0)],
            adviser={"health": "ok"},
        )
        for name, state in RING_OUTS.items()
    },
}
