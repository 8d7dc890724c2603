"""Faults of lamp and panel: their bus fails in the middle of a write, and is well again."""

from __future__ import annotations

import base64
import threading
import time
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from firmware.fakes import RecordingBus, fake_pins, wait_until
from firmware.lamp import RETRY_AFTER_S, open_lamp
from firmware.panel import open_panel
from tests.core.running import BLOCK, Running
from tests.core.stand_ins import RATE_HZ, growing_ring, noise
from tests.faults.box import PATIENCE_S, Ear
from tests.faults.outcome import Outcome

PART_GOAL_S = RETRY_AFTER_S + 2.0
"""A part is tried again every three seconds; setting it up and a busy machine take the rest."""
MIDDLE_OF_A_WRITE = 12
"""Of the 33 transfers of a picture."""


class FailingBus(RecordingBus):
    """Breaks after some more transfers, so in the middle of a picture; the first by default."""

    transfers_left: float = float("inf")

    def _take(self, address: int, data: bytes) -> None:
        self.transfers_left -= 1
        self.is_broken = self.transfers_left < 0
        super()._take(address, data)


def panel_errors(folder: Path, times: int = 5) -> Outcome:
    """Break the display's bus in the middle of a picture, for as long as it takes to be said."""
    from luma.core.interface.serial import i2c

    seen = Outcome("panel's bus errors", PART_GOAL_S, back="the panel")
    bus = FailingBus()
    opened = {
        "panel_opener": lambda _: open_panel(
            driver="ssd1306", bus=1, address=0x3C, width=128, height=64, rotate=0,
            serial=lambda: i2c(bus=bus, address=0x3C),
        )
    }  # fmt: skip
    with _playing(folder, opened) as (box, ear):
        for _ in range(times):
            ear.wait_for(lambda s: s["panel"]["health"] == "ok")
            bus.transfers_left = MIDDLE_OF_A_WRITE
            broken = ear.wait_for(lambda s: s["panel"]["health"] not in ("ok", "opening"))
            seen.check(broken is not None, "it is not said")
            bus.transfers_left = float("inf")
            well_mono_s = time.monotonic()
            well = ear.wait_for(lambda s: s["panel"]["health"] == "ok")
            seen.took(None if well is None else well - well_mono_s)
            same = wait_until(
                lambda: bus.picture().tobytes() == box.panel_picture(), within_s=PATIENCE_S
            )
            seen.check(same, "it shows another picture than the page's")
        _never_paused(ear, seen)
    return seen


def lamp_errors(folder: Path, times: int = 5) -> Outcome:
    """Let the lamp's pin fail while it should light for a howl."""
    seen = Outcome("lamp's pin errors", PART_GOAL_S, back="the lamp")
    pins = fake_pins()
    pin_number = 17
    opened = {
        "lamp_opener": lambda _: open_lamp(gpio_pin=pin_number, enabled=True, pin_factory=pins)
    }
    with _playing(folder, opened) as (box, ear):
        pin = pins.pin(pin_number)
        works = pin._set_state

        def fails(_value: float) -> None:
            raise OSError(5, "Input/output error")

        for _ in range(times):
            pin._set_state = fails
            box.howl(True)
            said = ear.wait_for(lambda s: "does not answer" in s["lamp"]["health"])
            seen.check(said is not None, "it is not said")
            ear.wait_for(lambda s: s["lamp"]["pattern"] == "steady")
            pin._set_state = works
            well_mono_s = time.monotonic()
            lit = wait_until(lambda: pin.state == 1.0, within_s=PATIENCE_S)
            seen.took(time.monotonic() - well_mono_s if lit else None)
            box.howl(False)
            ear.wait_for(lambda s: s["state"] == "quiet")
            dark = wait_until(lambda: pin.state == 0.0, within_s=PATIENCE_S)
            seen.check(dark, "it does not go dark again")
        _never_paused(ear, seen)
    return seen


def _never_paused(ear: Ear, seen: Outcome) -> None:
    seen.check(ear.longest_pause_s < 1.0, f"the listening paused for {ear.longest_pause_s:.1f} s")
    seen.lost = "no sound"
    seen.remark = (
        f"tried again every {RETRY_AFTER_S:g} s; the listening never paused for more than "
        f"{ear.longest_pause_s:.2f} s"
    )


class Playing(Running):
    """A watcher that is played a room in real time, with or without a howl."""

    def __init__(self, folder: Path, **opened: Callable[..., Any]) -> None:
        super().__init__(folder, **opened)
        self._is_howling = False
        self.is_over = False

    def howl(self, is_on: bool) -> None:
        """Let it ring from the next block on, or not."""
        self._is_howling = is_on

    def panel_picture(self) -> bytes:
        """What the snapshot says that the panel shows, a bit a pixel."""
        return base64.b64decode(self.snapshot()["panel"]["bits"])

    def play_on(self) -> None:
        """Play until it is over."""
        quiet, howl = noise(4 * RATE_HZ), growing_ring(30.0)
        place, due_mono_s = 0, time.monotonic()
        was_howling = False
        while not self.is_over:
            if self._is_howling != was_howling:
                was_howling, place = self._is_howling, 0
            sound = howl if was_howling else quiet
            block = np.take(sound, range(place, place + BLOCK), mode="wrap")
            place += BLOCK
            due_mono_s += BLOCK / RATE_HZ
            time.sleep(max(0.0, due_mono_s - time.monotonic()))
            self.source.give(block)


@contextmanager
def _playing(folder: Path, opened: dict[str, Any]) -> Iterator[tuple[Playing, Ear]]:
    with warnings.catch_warnings():
        # Luma's own use of Pillow.
        warnings.filterwarnings("ignore", "Image.Image.getdata", DeprecationWarning)
        box = Playing(folder, **opened)
        player = threading.Thread(target=box.play_on)
        player.start()
        ear = Ear(box.socket)
        try:
            ear.heard_after(0.0)
            ear.begin_count()
            yield box, ear
        finally:
            ear.close()
            box.is_over = True
            player.join()
            box.close()
