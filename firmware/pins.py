"""What lamp, button and panel have in common: the pins' library, and what errors say."""

from __future__ import annotations

import os
from typing import Any


def pin_factory_or_default(pin_factory: Any) -> Any:
    """Return the gpiozero pin factory to open a device with.

    That is the given one; None leaves it to gpiozero where ``GPIOZERO_PIN_FACTORY`` is set, else
    it is the Pi's own through lgpio, and only that: a fallback to another library would hide why
    the right one failed.

    Raises
    ------
    ImportError
        If lgpio is missing.
    """
    # Where the variable is set, gpiozero itself takes that factory and no other.
    if pin_factory is not None or os.environ.get("GPIOZERO_PIN_FACTORY"):
        return pin_factory
    from gpiozero.pins.lgpio import LGPIOFactory

    return LGPIOFactory()


def reason(error: Exception) -> str:
    """Return the first line of what an error says, or its kind if it says nothing."""
    lines = str(error).strip().splitlines()
    return lines[0] if lines else type(error).__name__
