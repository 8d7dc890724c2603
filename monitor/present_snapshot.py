"""From what is known to what goes out on the link: the snapshot and its parts.  Pure functions.

Numbers are rounded here and nowhere else: what leaves is plain Python, ready for JSON.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping
from typing import Any

from firmware.ports import MicrophoneStatus
from monitor.advice.equaliser import Equaliser
from monitor.advice.sliders import DEEPEST_DB
from monitor.hearing import Deafness
from monitor.listening.bands import THIRD_OCTAVES
from monitor.listening.levels import Levels
from monitor.listening.spectrum import SILENCE_DBFS
from monitor.present import Situation, state_of
from monitor.tonight import Shown

BAND_LABELS = [band.label for band in THIRD_OCTAVES]


def _number(value: float, digits: int) -> float:
    """Round, and keep infinities and NaN out of the JSON."""
    return round(float(value), digits) if abs(value) < 1e9 else SILENCE_DBFS


def ring_fields(ring: Shown) -> dict[str, Any]:
    """Return the fields that open, recent and announced rings have in common."""
    return {
        "id": ring.id,
        "degree": ring.degree,
        "frequency_hz": _number(ring.frequency_hz, 2),
        "band": ring.band.label,
        "band_hz": _number(ring.band.midband_hz, 3),
        "slider": ring.slider.label,
        "slider_hz": _number(ring.slider.centre_hz, 3),
        "level_dbfs": _number(ring.level_dbfs, 1),
        "growth_db_per_s": _number(ring.growth_db_per_s, 1),
        "again": ring.again,
    }


def _open_ring(ring: Shown, now_mono_s: float) -> dict[str, Any]:
    return {
        **ring_fields(ring),
        "ringing_for_s": round(max(0.0, now_mono_s - ring.started_mono_s), 2),
    }


def _recent_ring(ring: Shown, now_mono_s: float) -> dict[str, Any]:
    ended = now_mono_s if ring.ended_mono_s is None else ring.ended_mono_s
    return {
        **ring_fields(ring),
        "lasted_s": round(max(0.0, ended - ring.started_mono_s), 2),
        "ended_ago_s": round(max(0.0, now_mono_s - ended), 1),
    }


def ring_message(
    ring: Shown,
    event: str,
    *,
    start_s: float,
    flagged_s: float,
    end_s: float | None,
    now_mono_s: float,
) -> dict[str, Any]:
    """Return the message that announces a ring event; start, flag and end on the sample clock."""
    return {
        "class": "ring",
        "event": event,
        **_open_ring(ring, now_mono_s),
        "start_s": round(start_s, 4),
        "flagged_s": round(flagged_s, 4),
        "end_s": None if end_s is None else round(end_s, 4),
        "sent_mono_s": now_mono_s,
    }


def level_fields(levels: Levels | None) -> dict[str, Any]:
    """Return level, peak and the 31 bands; the floor while nothing has been heard."""
    if levels is None:
        return {
            "level_dbfs": SILENCE_DBFS,
            "peak_dbfs": SILENCE_DBFS,
            "third_octave_dbfs": [SILENCE_DBFS] * len(BAND_LABELS),
        }
    return {
        "level_dbfs": _number(levels.level_dbfs, 1),
        "peak_dbfs": _number(levels.peak_dbfs, 1),
        "third_octave_dbfs": [
            max(SILENCE_DBFS, _number(v, 1)) for v in levels.third_octave_dbfs.tolist()
        ],
    }


def microphone_fields(status: MicrophoneStatus, why: Deafness | None) -> dict[str, Any]:
    """Return what is known about the microphone; unknown things are None.

    While nothing can be heard ``detail`` says why, also where the microphone itself works.
    """
    return {
        "state": status.state,
        "device": status.device,
        "detail": status.detail if why is None else why.sentence,
        "sample_rate_hz": status.sample_rate_hz,
        "sample_format": status.sample_format,
        "channels": status.channels,
        "automatic_gain": status.automatic_gain,
        "overrun_count": status.overrun_count,
        "dropped_block_count": status.dropped_block_count,
    }


def equaliser_fields(equaliser: Equaliser) -> dict[str, Any]:
    """Return the user's sliders; a low cut is marked as a switch and has no depth."""
    depths_db = [s.deepest_db for s in equaliser.sliders if s.kind != "low cut"]
    return {
        "name": equaliser.name,
        "graphic": equaliser.is_graphic,
        "deepest_db": max(depths_db, default=DEEPEST_DB),
        "shape": equaliser.sliders[0].width,
        "sliders": [
            {
                "label": s.label,
                "centre_hz": round(s.centre_hz, 2),
                **({"switch": True} if s.kind == "low cut" else {}),
            }
            for s in equaliser.sliders
        ],
    }


def panel_fields(width: int, height: int, bits: bytes, health: str) -> dict[str, Any]:
    """Return the panel's picture: ``bits`` are 1-bit rows, the left pixel in the highest bit."""
    return {
        "width": width,
        "height": height,
        "bits": base64.b64encode(bits).decode("ascii"),
        "health": health,
    }


def snapshot(
    situation: Situation,
    *,
    seq: int,
    audio_age_s: float | None,
    levels: Levels | None,
    clipping: bool,
    status: MicrophoneStatus,
    parts: Mapping[str, Any],
) -> dict[str, Any]:
    """Return the self-contained snapshot message.

    ``parts`` are ready fields of the parts that stand for themselves: equaliser, lamp, panel,
    journal, and in the demo the stage.
    """
    now_mono_s = situation.now_mono_s
    why = situation.deafness
    since = situation.quiet_since_mono_s
    return {
        "class": "snapshot",
        "seq": seq,
        "box": situation.box,
        "uptime_s": round(situation.uptime_s, 2),
        "audio_age_s": None if audio_age_s is None else round(audio_age_s, 3),
        "state": state_of(situation),
        "deaf_reason": why.sentence if why is not None else None,
        "way": situation.way,
        "rings": [_open_ring(r, now_mono_s) for r in situation.rings],
        "recent": [_recent_ring(r, now_mono_s) for r in situation.recent],
        "quiet_for_s": (
            round(max(0.0, now_mono_s - since), 1)
            if since is not None and not situation.rings
            else None
        ),
        "bands": BAND_LABELS,
        **level_fields(levels),
        "clipping": clipping,
        "microphone": microphone_fields(status, why),
        **parts,
    }
