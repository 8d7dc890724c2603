"""The optional button: a press, and a long press; through gpiozero.

As with the lamp nothing is raised towards the caller: a box without a button still listens.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

from firmware.pins import RETRY_AFTER_S, Pin

HOLD_S = 3.0
"""Long enough that no sleeve does it, short enough to stand there for."""
BOUNCE_S = 0.03
"""Contacts of small push buttons bounce for up to some 10 ms (common practice, no source)."""


class NoButton:
    """A button that is off by setting or lacks a package; ``health()`` says which."""

    def __init__(self, health: str) -> None:
        self._health = health

    def health(self) -> str:
        """Return "off" or one sentence that says what is wrong and what to do."""
        return self._health

    def close(self) -> None:
        """Do nothing."""


class GpioButton:
    """A button between a pin and ground on a gpiozero device; see :func:`open_button`.

    Where it cannot be opened it is tried again, from a thread that ends once it can.

    Parameters
    ----------
    make : callable
        Given a gpiozero pin factory, returns the device.
    gpio_pin : how messages call it

    Raises
    ------
    ImportError
        If a package is missing: trying again would not help.
    """

    def __init__(
        self,
        make: Callable[[Any], Any],
        *,
        gpio_pin: int,
        on_press: Callable[[], None],
        on_hold: Callable[[], None],
        pin_factory: Any,
    ) -> None:
        self._make = make
        self._on_press = on_press
        self._on_hold = on_hold
        self._is_down = self._was_held = self._is_stuck = False
        self._pin = Pin(
            self._made,
            what=f"the button on GPIO {gpio_pin}",
            remedy="check that no other program holds the pin, or set [button] enabled = false",
            pin_factory=pin_factory,
        )
        self._is_closing = threading.Event()
        self._retries = threading.Thread(target=self._retry, name="button", daemon=True)
        self._trouble = self._pin.open()
        if self._pin.device is None:
            self._retries.start()

    def health(self) -> str:
        """Return "ok" or one sentence that says what is wrong."""
        return "the button is held down; let it go" if self._is_stuck else self._trouble

    def close(self) -> None:
        """Give the pin back; may be called twice."""
        self._is_closing.set()
        if self._retries.is_alive():
            self._retries.join(2.0)
        if self._pin.device is not None:
            self._pin.device.close()

    def _retry(self) -> None:
        while self._pin.device is None and not self._is_closing.wait(RETRY_AFTER_S):
            self._trouble = self._pin.open()

    def _made(self, pins: Any) -> Any:
        device = self._make(pins)
        try:
            # What is down when it is opened is a cable that is squeezed, and nobody's wish.
            self._is_stuck = bool(device.is_pressed)
            device.when_pressed = self._pressed
            device.when_held = self._held
            device.when_released = self._released
        except BaseException:
            device.close()
            raise
        return device

    def _pressed(self) -> None:
        self._is_down, self._was_held = True, False

    def _held(self) -> None:
        if self._is_down and not self._was_held:
            self._was_held = True
            self._on_hold()

    def _released(self) -> None:
        self._is_stuck = False
        is_press = self._is_down and not self._was_held
        self._is_down = False
        if is_press:
            self._on_press()


def open_button(
    *,
    gpio_pin: int,
    enabled: bool,
    on_press: Callable[[], None],
    on_hold: Callable[[], None],
    hold_s: float = HOLD_S,
    pin_factory: Any = None,
) -> GpioButton | NoButton:
    """Open the button.

    Parameters
    ----------
    gpio_pin : the GPIO number, 0 to 27; the button closes it to ground
    enabled : false when no button is connected
    on_press, on_hold : called in the pins' thread when it was let go within ``hold_s`` seconds,
        or has been down for so long; must return at once
    pin_factory : a gpiozero pin factory; None as in ``pin_factory_or_default``

    Returns
    -------
    GpioButton or NoButton
        Never raises: while it cannot be opened its ``health()`` says why.
    """
    if not enabled:
        return NoButton("off")
    try:
        from gpiozero import Button

        def make(pins: Any) -> Any:
            return Button(
                gpio_pin, pull_up=True, bounce_time=BOUNCE_S, hold_time=hold_s, pin_factory=pins
            )

        return GpioButton(
            make, gpio_pin=gpio_pin, on_press=on_press, on_hold=on_hold, pin_factory=pin_factory
        )
    except ImportError as error:
        return NoButton(
            f"the button needs the Python package {error.name or 'gpiozero'}; install it and "
            "restart, or set [button] enabled = false"
        )
