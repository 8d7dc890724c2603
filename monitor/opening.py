"""Opens the watcher's devices, each by the settings."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import TYPE_CHECKING

from firmware import button, lamp
from firmware.button import GpioButton, NoButton
from firmware.ports import AudioSource, Face, Lamp, Panel
from monitor.panel_thread import PanelThread
from monitor.settings import Settings

if TYPE_CHECKING:
    from PIL import Image

LOG = logging.getLogger(__name__)


def open_microphone(settings: Settings) -> AudioSource:
    """Return the microphone of the settings; it looks for its card by itself."""
    from firmware.microphone import AlsaMicrophone

    return AlsaMicrophone(
        device=settings.microphone.device,
        channel=settings.microphone.channel,
        rates_hz=settings.microphone.rates_hz,
        leave=settings.line.device,
    )


def open_lamp(settings: Settings) -> Lamp:
    """Return the lamp of the settings; its health says if there is none."""
    return lamp.open_lamp(gpio_pin=settings.lamp.gpio_pin, enabled=settings.lamp.enabled)


def open_panel(settings: Settings) -> Panel:
    """Return the panel of the settings; its health says if there is none."""
    from firmware.panel import open_panel as opened

    choice = settings.panel
    return opened(
        driver=choice.driver,
        bus=choice.bus,
        address=choice.address,
        width=choice.width,
        height=choice.height,
        rotate=choice.rotate,
    )


def open_button(
    settings: Settings, *, on_press: Callable[[], None], on_hold: Callable[[], None]
) -> GpioButton | NoButton:
    """Return the button of the settings; its health says if there is none."""
    choice = settings.button
    return button.open_button(
        gpio_pin=choice.gpio_pin, enabled=choice.enabled, on_press=on_press, on_hold=on_hold
    )


def panel_thread(settings: Settings, opener: Callable[[Settings], Panel]) -> PanelThread:
    """Return the panel's thread, drawing for the panel's size as it hangs."""
    width, height = settings.panel.hung_size

    def draw(face: Face) -> Image.Image:
        from firmware.faces import draw_face

        return draw_face(face, width=width, height=height)

    return PanelThread(lambda: opener(settings), draw)


def lamp_or_stand_in(settings: Settings, opener: Callable[[Settings], Lamp]) -> Lamp:
    """Return the lamp, or one that says why there is none."""
    try:
        return opener(settings)
    except Exception as error:  # no lamp is no reason not to listen
        LOG.exception("the lamp cannot be opened")
        return lamp.NoLamp(f"the lamp cannot be opened: {error}")
