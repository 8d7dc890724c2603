"""Which pins the settings give to lamp, button and panel, so that none is given twice."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from monitor.settings_reader import PACKAGED
from monitor.settings_rules import SPI_PANELS

_I2C_PINS = {0: (0, 1), 1: (2, 3)}
"""GPIO numbers of the Pi's I2C buses (its maker's table, from memory); others are made anywhere."""
_SPI_PINS = {0: (7, 8, 9, 10, 11)}
"""Of its SPI 0, which takes all five; SPI 1 shares a pin with the backlight."""
_BESIDE_SPI = (18, 24, 25)
"""Backlight, data/command and reset: the display library's own choice, which is kept."""


def usual_bus(driver: str) -> int:
    """Return the bus that a display is on where none is set: the one on the Pi's first pins."""
    return 0 if driver in SPI_PANELS else 1


def panel_pins(driver: str, bus: int) -> tuple[int, ...]:
    """Return the GPIO numbers that a panel needs, as far as they are known."""
    if driver == "none":
        return ()
    if driver in SPI_PANELS:
        return (*_SPI_PINS.get(bus, ()), *_BESIDE_SPI)
    return _I2C_PINS.get(bus, ())


def pin_problems(values: Mapping[str, Any], origins: Mapping[str, str]) -> list[str]:
    """Return what is wrong with the pins, a line each; what was refused before is left alone.

    Parameters
    ----------
    values, origins : mapping
        By "table.key": the values that passed their own rules, and where each came from.
    """
    problems = []
    used = [t for t in ("lamp", "button") if values.get(f"{t}.enabled")]
    pins = {t: values[f"{t}.gpio_pin"] for t in used if f"{t}.gpio_pin" in values}
    if len(pins) == 2 and pins["lamp"] == pins["button"]:
        problems.append(
            f"{_written(origins, 'button.gpio_pin', 'lamp.gpio_pin', 'button.enabled')}: "
            f"button.gpio_pin = {pins['button']} is the lamp's pin too; give each a GPIO of its own"
        )
    driver, bus = values.get("panel.driver"), values.get("panel.bus")
    taken = () if driver is None or bus is None else panel_pins(driver, bus)
    for table, pin in pins.items():
        if pin in taken:
            problems.append(
                f"{_written(origins, f'{table}.gpio_pin', 'panel.bus', 'panel.driver')}: "
                f"{table}.gpio_pin = {pin} is a pin of the panel "
                f"({driver} needs GPIO {', '.join(map(str, taken))}); give the {table} another"
            )
    return problems


def _written(origins: Mapping[str, str], *names: str) -> str:
    """Where the first of them that the person has set was set: a default is nobody's mistake."""
    places = [origins[name] for name in names]
    return next((place for place in places if place != PACKAGED), places[0])
