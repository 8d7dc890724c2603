"""The button on gpiozero's mock pins (its own stand-in for hardware)."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest
from gpiozero.pins.mock import MockFactory, MockPin

from firmware import button as button_module
from firmware.button import GpioButton, NoButton, open_button
from firmware.fakes import fake_pins, wait_until

PIN = 26


class Hand:
    """A button, a finger, and what was understood."""

    def __init__(self, pins: Any, *, hold_s: float) -> None:
        self.pin = pins.pin(PIN)
        self.done: list[str] = []
        self.held = threading.Event()
        self.button = open_button(
            gpio_pin=PIN,
            enabled=True,
            on_press=lambda: self.done.append("press"),
            on_hold=self._hold,
            hold_s=hold_s,
            pin_factory=pins,
        )

    def _hold(self) -> None:
        self.done.append("hold")
        self.held.set()


@pytest.fixture
def pins() -> Iterator[Any]:
    factory = fake_pins()
    yield factory
    factory.close()


def test_let_go_it_is_a_press(pins: Any) -> None:
    hand = Hand(pins, hold_s=60.0)
    for _ in range(2):
        hand.pin.drive_low()
        assert hand.done.count("press") < 2
        hand.pin.drive_high()
    assert hand.done == ["press", "press"]
    assert hand.button.health() == "ok"
    hand.button.close()
    hand.button.close()


def test_held_it_is_one_hold_and_no_press(pins: Any) -> None:
    hand = Hand(pins, hold_s=0.05)
    hand.pin.drive_low()
    assert hand.held.wait(10.0)
    hand.pin.drive_high()
    hand.button.close()
    assert hand.done == ["hold"]


def test_down_at_the_start_is_nobody_s_wish() -> None:
    class Shorted(MockPin):  # type: ignore[misc]
        """Stays low although the board pulls it up: somebody's finger, or a squeezed cable."""

        def _set_pull(self, value: str) -> None:
            self._pull = value

    pins = MockFactory(pin_class=Shorted)
    pins.pin(PIN).drive_low()
    hand = Hand(pins, hold_s=0.02)
    assert "held down" in hand.button.health()
    # As long as a hold would take many times over; what was not meant never comes.
    assert not hand.held.wait(0.3)
    hand.pin.drive_high()
    assert wait_until(lambda: hand.button.health() == "ok", within_s=10.0)
    assert hand.done == []
    hand.pin.drive_low()
    assert hand.held.wait(10.0)
    hand.button.close()


def test_switched_off_nothing_is_touched() -> None:
    button = open_button(gpio_pin=PIN, enabled=False, on_press=print, on_hold=print)
    assert isinstance(button, NoButton)
    assert button.health() == "off"


def test_a_pin_that_is_taken_says_so(pins: Any) -> None:
    first = Hand(pins, hold_s=60.0)
    second = Hand(pins, hold_s=60.0)
    assert isinstance(first.button, GpioButton)
    assert "GPIO 26 cannot be opened" in second.button.health()
    assert "[button] enabled = false" in second.button.health()
    first.button.close()


def test_one_that_cannot_be_opened_at_boot_is_felt_once_it_can(
    pins: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its pin may not be ours yet, or an earlier process that hangs may hold it still."""
    monkeypatch.setattr(button_module, "RETRY_AFTER_S", 0.1)
    first = Hand(pins, hold_s=60.0)
    second = Hand(pins, hold_s=60.0)
    first.button.close()
    assert wait_until(lambda: second.button.health() == "ok", within_s=10.0)
    second.pin.drive_low()
    second.pin.drive_high()
    assert second.done == ["press"]
    second.button.close()
    assert Hand(pins, hold_s=60.0).button.health() == "ok"  # the pin was given back


def test_closed_it_is_tried_no_more(pins: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(button_module, "RETRY_AFTER_S", 0.05)
    first = Hand(pins, hold_s=60.0)
    second = Hand(pins, hold_s=60.0)
    second.button.close()
    first.button.close()
    time.sleep(0.2)  # four tries
    assert "cannot be opened" in second.button.health()
    assert Hand(pins, hold_s=60.0).button.health() == "ok"


def test_without_the_library_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "gpiozero", None)
    button = open_button(gpio_pin=PIN, enabled=True, on_press=print, on_hold=print)
    assert "gpiozero; install it" in button.health()
