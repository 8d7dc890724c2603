"""The small display, through luma; errors end here and are tried again.

luma is imported when the panel is first opened, not before: the program starts, listens
and lights the lamp without it.
"""

from __future__ import annotations

import importlib
import math
import time
from collections.abc import Callable
from typing import Any

from PIL import Image, ImageOps

from firmware.pins import reason
from firmware.ports import Panel

OLED_DRIVERS = ("ssd1306", "ssd1309", "ssd1325", "ssd1327", "sh1106", "sh1107")
LCD_DRIVERS = ("st7735", "st7789", "pcd8544")
ONE_SIZE_DRIVERS = ("pcd8544",)
RETRY_AFTER_S = 3.0
REFRESH_AFTER_S = 10.0
"""A picture that stands is sent once more this often when it is offered: only so is a panel
found missing, and only so does one that lost its power for a moment come back."""

NO_OPERATION = 0xE3
DISPLAY_OFF = 0xAE
"""Commands the OLED controllers have in common (data sheets of SSD1306, SH1106)."""


class SettingError(ValueError):
    """The settings ask for a panel that there is not; trying again would not help."""


class NoPanel:
    """No display: off by setting, or shown on the page only; ``health()`` says which."""

    def __init__(self, health: str) -> None:
        self._health = health

    def show(self, image: Image.Image) -> None:
        """Do nothing."""

    def health(self) -> str:
        return self._health

    def close(self) -> None:
        """Do nothing."""


class LumaPanel:
    """One luma display, opened when first needed and set up again after every error.

    Parameters
    ----------
    open_device : callable
        Makes the device and the channel it speaks through.  Called until it succeeds once:
        luma keeps every device it ever made until the program ends.
    where : how messages call this panel
    clock : monotonic seconds
    """

    def __init__(
        self,
        open_device: Callable[[], tuple[Any, Channel]],
        *,
        where: str,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._open_device = open_device
        self._where = where
        self._clock = clock
        self._device: Any = None
        self._channel: Channel | None = None
        self._health = "ok"
        self._shown: bytes | None = None
        self._retry_at_mono_s = -math.inf
        self._refresh_at_mono_s = -math.inf
        self.error_count = 0

    def show(self, image: Image.Image) -> None:
        """Send an image if it is not the one that stands there, or if that is old.

        Never raises; ``health()`` says what went wrong.
        """
        pixels = image.tobytes()
        now_mono_s = self._clock()
        if pixels == self._shown and now_mono_s < self._refresh_at_mono_s:
            return
        if now_mono_s < self._retry_at_mono_s:
            return
        try:
            if self._channel is None:
                self._device, self._channel = self._open_device()
            elif self._shown is None or now_mono_s >= self._refresh_at_mono_s:
                self._channel.set_up_again()
            if self._shown is None or now_mono_s >= self._refresh_at_mono_s:
                self._refresh_at_mono_s = now_mono_s + REFRESH_AFTER_S
            self._device.display(self._fitted(image))
            self._shown = pixels
            self._health = "ok"
        except Exception as error:  # luma raises its own kinds, the bus OSError
            self._fail(error)

    def health(self) -> str:
        return self._health

    def close(self) -> None:
        """Blank the display and let the bus go; may be called twice."""
        device, channel = self._device, self._channel
        self._device = self._channel = self._shown = None
        self._retry_at_mono_s = math.inf
        if device is None or channel is None:
            return
        try:
            device.hide()
            device.clear()
        except Exception as error:
            self._health = f"the panel was gone when it should go dark ({reason(error)})"
        device.persist = True  # luma's own clean-up at exit would try once more
        channel.cleanup()

    def _fitted(self, image: Image.Image) -> Image.Image:
        """The image in the display's own size and colours, centred, not stretched."""
        size = (self._device.width, self._device.height)
        if image.size != size:
            image = ImageOps.pad(image.convert("L"), size, method=Image.Resampling.NEAREST)
        return image if image.mode == self._device.mode else image.convert(self._device.mode)

    def _fail(self, error: Exception) -> None:
        self.error_count += 1
        self._shown = None
        self._retry_at_mono_s = self._clock() + RETRY_AFTER_S
        text = reason(error)
        if isinstance(error, SettingError):
            self._retry_at_mono_s = math.inf
            what = text
        elif type(error).__name__ == "UnsupportedPlatform" or "'RPi'" in text:
            self._retry_at_mono_s = math.inf
            what = f"needs the Pi's pins ({text}); install python3-rpi-lgpio and restart"
        elif isinstance(error, ImportError):
            self._retry_at_mono_s = math.inf
            what = f"needs a Python package that is missing ({text}); install it and restart"
        elif "/dev/" in text and "permission" in text.lower():
            what = f"may not be used ({text}); add this user to the groups i2c and spi"
        elif "/dev/" in text:
            what = f"has no bus ({text}); switch I2C or SPI on in the Pi's configuration"
        else:
            what = f"does not answer ({text}); check its wires and its address"
        self._health = f"the panel ({self._where}) {what}"


class Channel:
    """A luma serial interface that remembers the commands a display was set up with."""

    def __init__(self, serial: Any) -> None:
        self._serial = serial
        self._set_up: list[tuple[int, ...]] = []
        self.is_recording = True

    def command(self, *command: int) -> None:
        if self.is_recording:
            # Without "off", a display that is on does not flicker when set up again.
            kept = command[1:] if command[0] == DISPLAY_OFF else command
            if kept:
                self._set_up.append(kept)
        self._serial.command(*command)

    def data(self, data: Any) -> None:
        self._serial.data(data)

    def set_up_again(self) -> None:
        """Repeat the commands of the opening; harmless on a display that kept its set-up."""
        for command in self._set_up:
            self._serial.command(*command)

    def forget_set_up(self) -> None:
        self._set_up.clear()

    def cleanup(self) -> None:
        """Close the bus; what it has to say about that is of no use to anybody."""
        try:
            self._serial.cleanup()
        except Exception:
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
        return NoPanel("off")
    is_spi = driver in LCD_DRIVERS
    where = f"{driver}, " + (f"SPI {bus}" if is_spi else f"I2C bus {bus}, address 0x{address:02X}")

    def open_device() -> tuple[Any, Channel]:
        if driver not in (*OLED_DRIVERS, *LCD_DRIVERS):
            known = ", ".join((*OLED_DRIVERS, *LCD_DRIVERS, "none"))
            raise SettingError(f"has no such driver; set [panel] driver to one of {known}")
        drivers = importlib.import_module("luma.lcd.device" if is_spi else "luma.oled.device")
        from luma.core.error import DeviceDisplayModeError
        from luma.core.interface import serial as buses

        if serial is not None:
            opened = serial() if callable(serial) and not hasattr(serial, "data") else serial
        elif is_spi:
            opened = buses.spi(port=bus, device=0)
        else:
            opened = buses.i2c(port=bus, address=address)
        channel = Channel(opened)
        try:
            if not is_spi:
                # Asked before luma makes a device: one made in vain would stay in memory, and
                # a missing display is tried all evening.
                opened.command(NO_OPERATION)
            size = {} if driver in ONE_SIZE_DRIVERS else {"width": width, "height": height}
            device = getattr(drivers, driver)(channel, rotate=rotate, **size)
        except DeviceDisplayModeError as error:
            channel.cleanup()
            raise SettingError(
                f"has no {width} x {height} pixels; set [panel] width and height to its own"
            ) from error
        except BaseException:
            channel.cleanup()
            raise
        channel.is_recording = False
        if is_spi:
            # These take their set-up as commands with data behind them; without an answer
            # on that bus nothing tells that it would be needed again either.
            channel.forget_set_up()
        return device, channel

    return LumaPanel(open_device, where=where)
