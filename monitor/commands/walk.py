"""``howl-lantern check --walk``: lamp, panel, button, microphone and board, by eye and by hand.

What a program can find out by itself is ``checks``' business; here a person says what they see.
"""

from __future__ import annotations

import queue
import time
from collections.abc import Callable, Iterable
from typing import Any

import numpy as np

from firmware.board import BoardTroubles, read_board
from firmware.example_faces import EXAMPLE_FACES
from firmware.faces import draw_face
from firmware.ports import AudioSource, Lamp, LampPattern, Panel
from monitor import opening
from monitor.commands import checks
from monitor.commands.finding import Finding
from monitor.settings import Settings

WAIT_S = 15.0
"""For a hand to find the button, or to clap."""
SETTLE_S = 1.5
CLAP_DB = 15.0
"""A clap beside the box stands so far over a quiet room; somebody's step does not (our choice)."""

_RHYTHMS: tuple[tuple[LampPattern, str], ...] = (
    ("pulse", "swells slowly, again and again"),
    ("steady", "is lit and stays so"),
    ("blink", "blinks twice, then waits for three seconds"),
    ("dark", "is dark"),
)
_FACES = (
    ("howl", "shows 2.5k in a solid block, upright and not mirrored"),
    ("starting", "shows a square code that your phone's camera finds"),
)

Ask = Callable[[str], bool]
"""Asks a person, who says yes or no."""


def ask(question: str) -> bool:
    """Ask at the terminal; Enter means yes, the end of the input no."""
    try:
        return not input(f"      {question} [Y/n] ").strip().lower().startswith("n")
    except EOFError:
        return False


def walk(
    settings: Settings, *, ask: Ask = ask, say: Callable[[str], object] = print
) -> Iterable[Finding]:
    """Yield a finding for each part as it is tried.

    The watcher holds all of them while it runs: then there is one finding, that it does.
    """
    if checks.ask_watcher(settings) is not None:
        yield Finding(
            "walk",
            "",
            "the watcher holds lamp, panel and microphone: sudo systemctl stop "
            "howl-lantern, walk, and start it again",
        )
        return
    yield _lamp(settings, ask)
    yield _panel(settings, ask)
    yield _button(settings, say)
    yield _microphone(settings, say)
    yield _board()


def _lamp(settings: Settings, ask: Ask) -> Finding:
    to_do = (
        "is the LED the right way round, its long leg at the resistor, on "
        f"GPIO {settings.lamp.gpio_pin}?"
    )
    lamp = opening.open_lamp(settings)
    return _looked_at("lamp", lamp, _RHYTHMS, ask, seen="seen in all its rhythms", to_do=to_do)


def _panel(settings: Settings, ask: Ask) -> Finding:
    to_do = (
        "try another panel.driver, panel.rotate, width and height: howl-lantern settings "
        "--example explains them"
    )
    width, height = settings.panel.hung_size
    faces = (
        (draw_face(EXAMPLE_FACES[name], width=width, height=height), looks)
        for name, looks in _FACES
    )
    panel = opening.open_panel(settings)
    return _looked_at("panel", panel, faces, ask, seen="seen and read", to_do=to_do)


def _looked_at(
    part: str,
    shown: Lamp | Panel,
    shows: Iterable[tuple[Any, str]],
    ask: Ask,
    *,
    seen: str,
    to_do: str,
) -> Finding:
    """Show one thing after the other, as long as the person sees what it looks like."""
    try:
        if shown.health() == "off":
            return Finding(part, "off, by your settings")
        for what, looks in shows:
            shown.show(what)
            if shown.health() != "ok":
                return Finding(part, "", shown.health())
            if not ask(f"The {part} {looks}. Do you see that?"):
                return Finding(part, "", f"not seen: it {looks}; {to_do}")
        return Finding(part, seen)
    finally:
        shown.close()


def _button(settings: Settings, say: Callable[[str], object]) -> Finding:
    pressed: queue.SimpleQueue[str] = queue.SimpleQueue()
    button = opening.open_button(
        settings, on_press=lambda: pressed.put("pressed"), on_hold=lambda: pressed.put("held")
    )
    try:
        if button.health() == "off":
            return Finding("button", "off, by your settings")
        if button.health() != "ok":
            return Finding("button", "", button.health())
        say(f"      Press the button, within {WAIT_S:.0f} s.")
        how = pressed.get(timeout=WAIT_S)
        return Finding("button", f"{how}, and felt")
    except queue.Empty:
        return Finding(
            "button",
            "",
            f"no press was felt; does it close GPIO {settings.button.gpio_pin} to ground?",
        )
    finally:
        button.close()


def _microphone(settings: Settings, say: Callable[[str], object]) -> Finding:
    source = opening.open_microphone(settings)
    try:
        before_dbfs = _loudest_dbfs(source, SETTLE_S)
        if before_dbfs is None:
            return Finding("microphone", "", source.status().detail)
        say(f"      Clap once beside the box, within {WAIT_S:.0f} s.")
        until_mono_s = time.monotonic() + WAIT_S
        loudest_dbfs = before_dbfs
        while time.monotonic() < until_mono_s:
            heard_dbfs = _loudest_dbfs(source, 0.2)
            loudest_dbfs = max(loudest_dbfs, -150.0 if heard_dbfs is None else heard_dbfs)
            if loudest_dbfs >= min(before_dbfs + CLAP_DB, -0.1):
                return Finding("microphone", f"heard you: peak at {loudest_dbfs:.0f} dBFS")
        return Finding(
            "microphone",
            "",
            f"heard no clap (room {before_dbfs:.0f}, loudest {loudest_dbfs:.0f} dBFS peak); is it "
            f"the right card? {source.status().device} listens",
        )
    finally:
        source.close()


def _loudest_dbfs(source: AudioSource, for_s: float) -> float | None:
    """The highest peak of the next ``for_s`` seconds, None if nothing came."""
    peak = None
    until_mono_s = time.monotonic() + for_s
    while time.monotonic() < until_mono_s:
        block = source.read(0.1)
        if block is not None:
            peak = max(peak or 0.0, float(np.max(np.abs(block.samples))))
    return None if peak is None else 20.0 * float(np.log10(max(peak, 1e-7)))


def _board() -> Finding:
    reading = read_board()
    parts = []
    if reading.temperature_c is not None:
        parts.append(f"{reading.temperature_c:.0f} °C")
    if wrong := BoardTroubles().push(reading, 0.0):
        return Finding("board", "", "; ".join(wrong.values()))
    if reading.is_undervolted is not None:
        parts.append("its supply voltage holds")
    return Finding("board", ", ".join(parts) or "says nothing of voltage and heat")
