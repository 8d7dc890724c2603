"""``check``'s looks at microphone, lamp, panel and cards: opened here, for a moment."""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from typing import Any

from firmware.cards import card_id_of, list_capture_devices, twins
from monitor.commands.finding import Finding
from monitor.settings import Settings

QUIET_DBFS = -75.0
"""Below this a room microphone is next to deaf: even a silent room with its noise is louder."""
HEAR_S = 4.0
"""Longer than a device may take to give an answer, or a silent one would be called none."""


def health(part: str, health: str) -> Finding:
    """Return what a part says of itself: "ok", "off", "unknown" or what is wrong with it."""
    if health == "ok":
        return Finding(part, "works")
    if health == "off":
        return Finding(part, "off, by your settings")
    if part == "board" and health == "unknown":
        return Finding(part, "says nothing of its voltage and heat")
    return Finding(part, "", health)


def heard(device: str, detail: str, automatic_gain: str) -> Finding:
    """Return what a microphone that is heard says of itself, as in ``MicrophoneStatus``."""
    text = f"{device}: {detail}"
    if automatic_gain == "still on":
        return Finding("microphone", "", text)
    return Finding("microphone", text)


def level(level_dbfs: float, peak_dbfs: float, clipping: bool) -> Finding:
    """Return whether a microphone at this level can hear: neither clipping nor next to deaf."""
    text = f"{level_dbfs:.0f} dBFS, peaks at {peak_dbfs:.0f} (uncalibrated)"
    if clipping:
        return Finding("level", "", f"{text}: it clips; turn the box's microphone down")
    if level_dbfs < QUIET_DBFS:
        return Finding(
            "level", "", f"{text}: next to nothing; is the microphone muted or its gain at zero?"
        )
    return Finding("level", text)


def microphone(settings: Settings) -> Sequence[Finding]:
    """Listen for ``HEAR_S`` seconds; return what was heard and how loud."""
    import numpy as np

    from monitor import opening

    source = opening.open_microphone(settings)
    try:
        chunks: list[Any] = []
        clipping = False
        until_mono_s = time.monotonic() + HEAR_S
        while time.monotonic() < until_mono_s:
            block = source.read(0.2)
            if block is not None:
                chunks.append(block.samples)
                clipping |= block.clipped_samples > 0
        status = source.status()
        if not chunks or status.state != "hearing":
            return [Finding("microphone", "", status.detail)]
        first = heard(status.device, status.detail, status.automatic_gain)
        sound = np.concatenate(chunks).astype(np.float64)
        power = max(2.0 * float(np.mean(sound**2)), 1e-15)
        peak = max(float(np.max(np.abs(sound))) ** 2, 1e-15)
        return [first, level(10 * np.log10(power), 10 * np.log10(peak), clipping)]
    finally:
        source.close()


def cards(settings: Settings) -> Finding:
    """Return what [microphone] device and [line] device may name."""
    devices = list_capture_devices()
    cards = ", ".join(f"{one.card_id} ({one.name})" for one in devices) or "none that records"
    named = {
        card_id_of(name) or name for name in (settings.microphone.device, settings.line.device)
    }
    for names in twins(devices):
        # "auto" beside a line that is named may take the line instead, too.
        if named & {*names}:
            return Finding(
                "cards",
                "",
                f"{cards}: {' and '.join(names)} are of one make and may swap their names at the "
                "next start; use cards of two makes, or look here again after each start",
            )
    return Finding("cards", cards)


def lamp(settings: Settings) -> Sequence[Finding]:
    """Light the lamp, for a second where somebody looks on."""
    from monitor import opening

    lamp = opening.open_lamp(settings)
    try:
        lamp.show("steady")
        if lamp.health() == "ok" and sys.stdout.isatty():
            print("      (the lamp is lit for a second: look)", flush=True)
            time.sleep(1.0)
        return [health("lamp", lamp.health())]
    finally:
        lamp.close()


def panel(settings: Settings) -> Sequence[Finding]:
    """Show a face on the panel."""
    from firmware.faces import draw_face
    from firmware.ports import Face
    from monitor import opening

    panel = opening.open_panel(settings)
    try:
        face = Face("starting", settings.box.name, "check", "can you read it?")
        width, height = settings.panel.hung_size
        panel.show(draw_face(face, width=width, height=height))
        return [health("panel", panel.health())]
    finally:
        panel.close()
