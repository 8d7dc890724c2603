"""What lamp, button and panel have in common: the pins' library, and what errors say."""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import cached_property
from typing import Any, Generic, TypeVar

RETRY_AFTER_S = 3.0

Device = TypeVar("Device")


class Pin(Generic[Device]):
    """What is on one GPIO pin, which may have to be opened more than once until it can be.

    At boot a pin may not be ours yet, or an earlier process that hangs may hold it still.

    Parameters
    ----------
    make : callable
        Given a gpiozero pin factory, returns the device.
    what, remedy : str
        How messages call it, and what to do where it cannot be opened.
    pin_factory : a gpiozero pin factory; None as in ``pin_factory_or_default``
    """

    def __init__(
        self, make: Callable[[Any], Device], *, what: str, remedy: str, pin_factory: Any
    ) -> None:
        self._make = make
        self._what = what
        self._remedy = remedy
        self._given = pin_factory
        self.device: Device | None = None

    def open(self) -> str:
        """Try to open it; return "ok" or one sentence that says why not and what to do.

        Raises
        ------
        ImportError
            If a package is missing: trying again would not help.
        """
        try:
            self.device = self._make(self._pin_factory)
        except ImportError:
            raise
        except Exception as error:  # pin libraries raise their own kinds, and bare OSError
            return f"{self._what} cannot be opened ({reason(error)}); {self._remedy}"
        return "ok"

    @cached_property  # made once, and not at each try: it holds the chip open
    def _pin_factory(self) -> Any:
        return pin_factory_or_default(self._given)


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
