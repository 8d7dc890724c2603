"""What is known of a channel, as the types of JSON: rounded to a tenth, absent where not known."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

import numpy as np

from monitor.channel.gain_advice import Advice, Heard, Scale
from monitor.channel.loudness import Loudest, Running, dbfs, peak_dbfs
from monitor.channel.low_cut import BELOW_SHARE
from monitor.channel.spectra import CENTRE_HZ, Spectra
from monitor.listening.bands import THIRD_OCTAVES

_UPPER_HZ = np.array([band.upper_hz for band in THIRD_OCTAVES])


def level_fields(running: Running, held_peak: float) -> dict[str, Any]:
    """Levels of the last 0.3 s; the crest factor is absent in silence."""
    peak, power = running.peak, running.power
    fields: dict[str, Any] = {
        "peak_dbfs": round(peak_dbfs(peak), 1),
        "rms_dbfs": round(dbfs(power), 1),
        "held_peak_dbfs": round(peak_dbfs(held_peak), 1),
    }
    if peak > 0.0 and power > 0.0:
        fields["crest_db"] = round(20.0 * math.log10(peak) - 10.0 * math.log10(power), 1)
    return fields


def _loudest(loudest: Loudest, **more: Any) -> dict[str, Any]:
    return {
        "peak_dbfs": round(loudest.peak_dbfs, 1),
        "rms_dbfs": round(loudest.rms_dbfs, 1),
        **more,
    }


def heard_fields(heard: Heard) -> dict[str, Any]:
    """The loudest of each kind, and which one counts."""
    fields: dict[str, Any] = {}
    for name in ("spoken", "sung"):
        loudest: Loudest | None = getattr(heard, name)
        if loudest is not None:
            fields[name] = _loudest(loudest, seconds=round(loudest.seconds, 1))
    if heard.loudest is not None:
        of = "sung" if heard.sung else "spoken" if heard.spoken else "other"
        fields["loudest"] = _loudest(heard.loudest, of=of)
    if heard.flat_top_dbfs is not None:
        fields["flat_top_dbfs"] = round(heard.flat_top_dbfs, 1)
    return fields


def advice_fields(advice: Advice) -> dict[str, Any]:
    """The state and the advice; ``change_db`` is absent where none can be given."""
    said = {key: value for key, value in asdict(advice).items() if value not in (None, "")}
    state = said.pop("state")
    return {"state": state, "advice": said}


def scale_fields(heard: Heard, scale: Scale) -> dict[str, Any]:
    """The meter that the person reads, and what it reads on the loudest."""
    fields: dict[str, Any] = {
        "kind": scale.kind,
        "zero_dbfs": scale.zero_dbfs,
        "wanted_db": list(scale.wanted_db),
    }
    if heard.loudest is not None:
        fields["reading_db"] = round(scale.reading_db(heard.loudest), 1)
    return {"scale": fields}


def spectrum_fields(spectra: Spectra, lowest_hz: float | None) -> dict[str, Any]:
    """Third octaves of the voice, and of the pauses with all that lies below the lowest note."""
    fields: dict[str, Any] = {"centre_hz": [round(hz, 1) for hz in CENTRE_HZ]}
    voice, below = spectra.voice_bands(), spectra.pause_bands()
    if voice is not None:
        fields["voice_dbfs"] = [round(dbfs(float(power)), 1) for power in voice]
    if voice is not None and lowest_hz is not None:
        # Under the lowest note nothing is voice, so what sounds there while singing counts too.
        is_under = BELOW_SHARE * lowest_hz >= _UPPER_HZ
        below = (
            voice * is_under if below is None else np.where(is_under, spectra.low_bands(), below)
        )
    if below is not None:
        fields["below_dbfs"] = [round(dbfs(float(power)), 1) for power in below]
    return {"spectrum": fields}
