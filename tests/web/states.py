"""Snapshots of every state of the page, as the watcher would send them.

The band, its rooms and its rings are invented.
"""

from __future__ import annotations

import base64
from typing import Any

from firmware.faces import EXAMPLE_FACES, draw_face
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
}
