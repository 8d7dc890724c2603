"""The small display, through luma; errors end here and are tried again.

luma is imported when the panel is first opened, not before: the program starts, listens
and lights the lamp without it.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from PIL import Image, ImageOps

from firmware.ports import Panel

OLED_DRIVERS = ("ssd1306", "ssd1309", "ssd1325", "ssd1327", "sh1106", "sh1107")
LCD_DRIVERS = ("st7735", "st7789", "pcd8544")
SPI_ONLY = LCD_DRIVERS
RETRY_AFTER_S = 3.0


class NoPanel:
    """No display, by setting; ``health()`` is "off"."""

    def show(self, image: Image.Image) -> None:
        """Do nothing."""

    def health(self) -> str:
        return "off"

    def close(self) -> None:
        """Do nothing."""


class LumaPanel:
    """One luma display that is opened when first needed and again after every error."""

    def __init__(
        self,
        open_device: Callable[[], Any],
        *,
        where: str,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._open_device = open_device
        self._where = where
        self._clock = clock
        self._device: Any = None
        self._health = "ok"
        self._shown: bytes | None = None
        self._retry_at_mono_s = -float("inf")
        self.error_count = 0

    def show(self, image: Image.Image) -> None:
        """Send an image if it differs from the one that stands there; never raises."""
        pixels = image.tobytes()
        if self._device is not None and pixels == self._shown:
            return
        if self._clock() < self._retry_at_mono_s:
            return
        try:
            if self._device is None:
                self._device = self._open_device()
            self._device.display(self._fitted(image))
            self._shown = pixels
            self._health = "ok"
        except ImportError as error:
            self._fail(f"needs a Python package that is missing ({error}); install it")
        except Exception as error:  # luma raises its own kinds, the bus OSError
            text = str(error).strip().splitlines()
            self._fail(
                f"does not answer ({text[0] if text else type(error).__name__}); check its "
                "four wires, the address, and that the bus is switched on"
            )

    def health(self) -> str:
        return self._health

    def close(self) -> None:
        """Blank the display and let the bus go; may be called twice."""
        device, self._device = self._device, None
        self._shown = None
        if device is not None:
            try:
                device.cleanup()
            except Exception as error:
                self._health = f"the panel was gone when it should go dark ({error})"

    def _fitted(self, image: Image.Image) -> Image.Image:
        """The image in the display's own size and colours, centred, not stretched."""
        size = (self._device.width, self._device.height)
        if image.size != size:
            image = ImageOps.pad(image.convert("L"), size, method=Image.Resampling.NEAREST)
        return image if image.mode == self._device.mode else image.convert(self._device.mode)

    def _fail(self, what: str) -> None:
        self.error_count += 1
        self._health = f"the panel ({self._where}) {what}"
        self._retry_at_mono_s = self._clock() + RETRY_AFTER_S
        self._shown = None
        # The display may have been unplugged and lost its set-up: begin from the start.
        device, self._device = self._device, None
        serial = getattr(device, "_serial_interface", None)
        if device is not None:
            device.persist = True  # luma's own clean-up at exit would try the dead bus
        if serial is not None and getattr(serial, "_managed", False):
            try:
                serial.cleanup()
            except Exception:  # it is gone anyway
                pass


def open_panel(
    *,
    driver: str,
    bus: int,
    address: int,
    width: int,
    height: int,
    rotate: int,
    serial: Any = None,
) -> Panel:
    """Open the display.

    Parameters
    ----------
    driver : one of ``OLED_DRIVERS`` or ``LCD_DRIVERS``, or "none"
    bus, address : I2C bus and address; with an SPI display ``bus`` is the SPI port
    width, height : in pixels, before rotation
    rotate : quarter turns, 0 to 3
    serial : a luma serial interface or a function that makes one; None opens the bus

    Returns
    -------
    Panel
        Never raises; ``health()`` says what is wrong.
    """
    if driver == "none":
        return NoPanel()
    is_spi = driver in SPI_ONLY
    where = (
        f"{driver}, SPI {bus}" if is_spi else f"{driver}, I2C bus {bus}, address 0x{address:02X}"
    )

    def open_device() -> Any:
        if driver in OLED_DRIVERS:
            import luma.oled.device as drivers
        elif driver in LCD_DRIVERS:
            import luma.lcd.device as drivers
        else:
            known = ", ".join((*OLED_DRIVERS, *LCD_DRIVERS, "none"))
            raise ValueError(f"no such driver; known are {known}")
        from luma.core.interface import serial as buses

        if serial is not None:
            channel = serial() if callable(serial) and not hasattr(serial, "data") else serial
        elif is_spi:
            channel = buses.spi(port=bus, device=0)
        else:
            channel = buses.i2c(port=bus, address=address)
        return getattr(drivers, driver)(channel, width=width, height=height, rotate=rotate)

    return LumaPanel(open_device, where=where)
