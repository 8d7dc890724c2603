"""The LED: four rhythms, stepped by one thread of its own.

Software never raises towards the caller here: a box without a lamp still listens.
"""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Iterator
from typing import Any

from firmware.pins import RETRY_AFTER_S, Pin, reason
from firmware.ports import Lamp, LampPattern

PULSE_PERIOD_S = 1.6
PULSE_STEP_S = 0.05
LATE_S = 0.5
"""Steps later than this are not caught up with: a burst of flashes would mean nothing."""
# Two short flashes every 3 s.
BLINK_STEPS = ((1.0, 0.12), (0.0, 0.18), (1.0, 0.12), (0.0, 2.58))


def pattern_steps(pattern: LampPattern, *, dimmable: bool) -> Iterator[tuple[float, float | None]]:
    """The brightness (0 to 1) and how long it stands in seconds (None: for good), endlessly."""
    if pattern == "dark":
        yield 0.0, None
    elif pattern == "steady":
        yield 1.0, None
    elif pattern == "blink":
        while True:
            yield from BLINK_STEPS
    elif dimmable:
        count = round(PULSE_PERIOD_S / PULSE_STEP_S)
        while True:
            # A raised cosine that begins bright, so that the first ring is seen at once.
            for step in range(count):
                yield 0.5 + 0.5 * math.cos(2.0 * math.pi * step / count), PULSE_STEP_S
    else:
        while True:
            yield 1.0, PULSE_PERIOD_S / 2.0
            yield 0.0, PULSE_PERIOD_S / 2.0


class NoLamp:
    """No LED: off by setting, not to be had, or shown on the page only; ``health()`` says which."""

    def __init__(self, health: str) -> None:
        self._health = health

    def show(self, pattern: LampPattern) -> None:
        """Do nothing."""

    def health(self) -> str:
        return self._health

    def close(self) -> None:
        """Do nothing."""


class GpioLamp:
    """One LED on a gpiozero device; see :func:`open_lamp`.

    Where it cannot be opened it is tried again, from the lamp's thread.

    Parameters
    ----------
    pin : Pin
        Its device comes with whether it can be dimmed.
    what : how messages call it

    Raises
    ------
    ImportError
        If a package is missing: trying again would not help.
    """

    def __init__(self, pin: Pin[tuple[Any, bool]], *, what: str) -> None:
        self._pin = pin
        self._what = what
        self._device: Any = None
        self._dimmable = False
        self._health = "ok"
        self._open()
        self._wanted: LampPattern = "dark"
        self._is_closing = False
        self._change = threading.Condition()
        self._thread = threading.Thread(target=self._run, name="lamp", daemon=True)
        self._thread.start()

    def show(self, pattern: LampPattern) -> None:
        """Change the pattern; returns at once.  The running pattern is left undisturbed."""
        with self._change:
            if pattern != self._wanted:
                self._wanted = pattern
                self._change.notify()

    def health(self) -> str:
        return self._health

    def close(self) -> None:
        """Go dark and give the pin back; may be called twice."""
        with self._change:
            if self._is_closing:
                return
            self._is_closing = True
            self._change.notify()
        self._thread.join(2.0)

    def _run(self) -> None:
        while True:
            with self._change:
                if self._is_closing:
                    break
                if self._device is None and self._change.wait_for(
                    lambda: self._is_closing, RETRY_AFTER_S
                ):
                    break
                pattern = self._wanted
            if self._device is not None or self._open():
                self._play(pattern)
        if self._device is None:
            return
        self._set(0.0)
        try:
            self._device.close()
        except Exception as error:
            self._health = f"the lamp's pin could not be given back ({error})"

    def _open(self) -> bool:
        self._health = self._pin.open()
        if self._pin.device is None:
            return False
        self._device, self._dimmable = self._pin.device
        return True

    def _play(self, pattern: LampPattern) -> None:
        """Step through one pattern until another is wanted."""
        due_mono_s = time.monotonic()
        for brightness, stands_s in pattern_steps(pattern, dimmable=self._dimmable):
            is_done = self._set(brightness)
            if stands_s is None:
                # A light that stands is set again only if it could not be set now.
                due_mono_s = math.inf if is_done else time.monotonic() + RETRY_AFTER_S
            else:
                # Counting from the last due time, not from now: a late step does not shift
                # the rhythm of those after it.  Whoever was held up for long begins anew.
                is_late = time.monotonic() > due_mono_s + LATE_S
                due_mono_s = (time.monotonic() if is_late else due_mono_s) + stands_s
            with self._change:
                while pattern == self._wanted and not self._is_closing:
                    left_s = due_mono_s - time.monotonic()
                    if left_s <= 0.0:
                        break
                    self._change.wait(None if math.isinf(left_s) else left_s)
                else:
                    return

    def _set(self, brightness: float) -> bool:
        try:
            if self._dimmable:
                self._device.value = brightness
            elif brightness >= 0.5:
                self._device.on()
            else:
                self._device.off()
            self._health = "ok"
            return True
        except Exception as error:  # whatever the pin library comes up with
            self._health = f"{self._what} does not answer ({reason(error)}); check its wiring"
            return False


def open_lamp(*, gpio_pin: int, enabled: bool, pin_factory: Any = None) -> Lamp:
    """Open the LED.

    Parameters
    ----------
    gpio_pin : the GPIO number, 0 to 27
    enabled : false when no LED is connected
    pin_factory : a gpiozero pin factory; None as in ``pin_factory_or_default``

    Returns
    -------
    Lamp
        Never raises: while it cannot be opened its ``health()`` says why.
    """
    if not enabled:
        return NoLamp("off")
    try:
        from gpiozero import LED, PWMLED
        from gpiozero.exc import PinPWMUnsupported
    except ImportError:
        return NoLamp("the lamp needs the Python package gpiozero; install it and restart")

    def make(pins: Any) -> tuple[Any, bool]:
        try:
            return PWMLED(gpio_pin, pin_factory=pins), True
        except PinPWMUnsupported:
            return LED(gpio_pin, pin_factory=pins), False

    what = f"the lamp on GPIO {gpio_pin}"
    remedy = (
        "check that this is a Pi, that no other program holds the pin and that this user is in "
        "the group gpio"
    )
    try:
        return GpioLamp(Pin(make, what=what, remedy=remedy, pin_factory=pin_factory), what=what)
    except ImportError as error:
        return NoLamp(
            f"the lamp needs the Python package lgpio ({reason(error)}); "
            "install python3-lgpio and restart, or set [lamp] enabled = false"
        )
