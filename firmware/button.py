"""The optional button: a press, and a long press; through gpiozero.

As with the lamp nothing is raised towards the caller: a box without a button still listens.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from firmware.pins import pin_factory_or_default, reason

HOLD_S = 3.0
"""Long enough that no sleeve does it, short enough to stand there for."""
BOUNCE_S = 0.03
"""Contacts of small push buttons bounce for up to some 10 ms (common practice, no source)."""


class NoButton:
    """No button, by setting or because it could not be opened; ``health()`` says which."""

    def __init__(self, health: str) -> None:
        self._health = health

    def health(self) -> str:
        """Return "off" or one sentence that says what is wrong and what to do."""
        return self._health

    def close(self) -> None:
        """Do nothing."""


class GpioButton:
    """A button between a pin and ground on a gpiozero device; see :func:`open_button`."""

    def __init__(
        self, device: Any, *, on_press: Callable[[], None], on_hold: Callable[[], None]
    ) -> None:
        self._device = device
        self._on_press = on_press
        self._on_hold = on_hold
        # What is down when the box starts is a cable that is squeezed, and nobody's wish.
        self._is_down = self._was_held = False
        self._health = "ok" if not device.is_pressed else "the button is held down; let it go"
        device.when_pressed = self._pressed
        device.when_held = self._held
        device.when_released = self._released

    def health(self) -> str:
        """Return "ok" or one sentence that says what is wrong."""
        return self._health

    def close(self) -> None:
        """Give the pin back; may be called twice."""
        self._device.close()

    def _pressed(self) -> None:
        self._is_down, self._was_held = True, False

    def _held(self) -> None:
        if self._is_down and not self._was_held:
            self._was_held = True
            self._on_hold()

    def _released(self) -> None:
        self._health = "ok"
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
        Never raises: what could not be opened says why in its ``health()``.
    """
    if not enabled:
        return NoButton("off")
    try:
        from gpiozero import Button

        pin_factory = pin_factory_or_default(pin_factory)
        device = Button(
            gpio_pin,
            pull_up=True,
            bounce_time=BOUNCE_S,
            hold_time=hold_s,
            pin_factory=pin_factory,
        )
        return GpioButton(device, on_press=on_press, on_hold=on_hold)
    except ImportError as error:
        return NoButton(
            f"the button needs the Python package {error.name or 'gpiozero'}; install it and "
            "restart, or set [button] enabled = false"
        )
    except Exception as error:  # pin libraries raise their own kinds, and bare OSError
        return NoButton(
            f"the button on GPIO {gpio_pin} cannot be opened ({reason(error)}); check that no "
            "other program holds the pin, or set [button] enabled = false"
        )
