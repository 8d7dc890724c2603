"""The lamp when something is wrong with it, and on the pins the environment names."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from firmware import lamp as lamp_module
from firmware.fakes import fake_pins, wait_until
from firmware.lamp import open_lamp
from tests.waiting import awaited

PIN = 17


def rises(pin: Any) -> list[float]:
    """When the pin went from dark to lit, in seconds after its first recorded state."""
    when_s, at_s, was_lit = [], 0.0, False
    for entry in pin.states:
        at_s += entry.timestamp
        is_lit = bool(entry.state)
        if is_lit and not was_lit:
            when_s.append(at_s)
        was_lit = is_lit
    return when_s


def test_a_steady_light_that_could_not_be_lit_is_tried_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A howl may last: its light must not wait for the next pattern."""
    monkeypatch.setattr(lamp_module, "RETRY_AFTER_S", 0.1)
    pins = fake_pins()
    lamp = open_lamp(gpio_pin=PIN, enabled=True, pin_factory=pins)
    pin = pins.pin(PIN)
    works = pin._set_state

    def fails(_value: float) -> None:
        raise OSError(5, "Input/output error")

    pin._set_state = fails
    lamp.show("steady")
    assert wait_until(lambda: "does not answer" in lamp.health(), within_s=10.0)
    pin._set_state = works
    assert wait_until(lambda: pin.state == 1.0, within_s=10.0)
    awaited(lambda: lamp.health() == "ok")  # said once the pin has taken it
    lamp.close()


def test_a_pin_that_was_held_up_does_not_flash_the_lost_time_after(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(lamp_module, "BLINK_STEPS", ((1.0, 0.05), (0.0, 0.05)))
    monkeypatch.setattr(lamp_module, "LATE_S", 0.2)
    pins = fake_pins()
    lamp = open_lamp(gpio_pin=PIN, enabled=True, pin_factory=pins)
    pin = pins.pin(PIN)
    works = pin._set_state
    held: list[float] = []

    def holds_once(value: float) -> None:
        if not held:
            held.append(value)
            time.sleep(1.0)  # 20 steps
        works(value)

    time.sleep(0.05)
    pin.clear_states()
    pin._set_state = holds_once
    began_s = time.monotonic()
    lamp.show("blink")
    time.sleep(1.6)
    lamp.close()
    after_s = time.monotonic() - began_s - 1.0
    # 0.6 s after the hold are 6 flashes, and the lost second would add 10 more.
    assert 1 <= len(rises(pin)) <= 10.0 * after_s + 3


@pytest.mark.realtime
def test_blinking_keeps_its_rhythm() -> None:
    """Two short blinks every 3 s: the third begins 3 s after the first."""
    pins = fake_pins()
    lamp = open_lamp(gpio_pin=PIN, enabled=True, pin_factory=pins)
    pins.pin(PIN).clear_states()
    lamp.show("blink")
    time.sleep(3.3)
    lamp.close()
    when_s = rises(pins.pin(PIN))
    assert len(when_s) >= 3
    assert when_s[2] - when_s[0] == pytest.approx(3.0, abs=0.25)
    assert when_s[1] - when_s[0] < 0.6


def test_a_new_pattern_is_shown_at_once_in_the_middle_of_another(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    pins = fake_pins()
    lamp = open_lamp(gpio_pin=PIN, enabled=True, pin_factory=pins)
    # A step that stands for as long as nobody would wait for it.
    monkeypatch.setattr(lamp_module, "BLINK_STEPS", ((1.0, 0.01), (0.0, 600.0)))
    pins.pin(PIN).clear_states()
    lamp.show("blink")
    awaited(lambda: [state.state for state in pins.pin(PIN).states][-2:] == [1.0, 0.0])
    lamp.show("steady")
    awaited(lambda: pins.pin(PIN).state == 1.0)
    lamp.close()


def test_a_lamp_that_cannot_be_opened_at_boot_is_lit_once_it_can(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Its pin may not be ours yet, or an earlier process that hangs may hold it still."""
    monkeypatch.setattr(lamp_module, "RETRY_AFTER_S", 0.1)
    pins = fake_pins()
    first = open_lamp(gpio_pin=PIN, enabled=True, pin_factory=pins)
    lamp = open_lamp(gpio_pin=PIN, enabled=True, pin_factory=pins)
    lamp.show("steady")
    assert "cannot be opened" in lamp.health()
    first.close()
    awaited(lambda: lamp.health() == "ok")
    awaited(lambda: pins.pin(PIN).state == 1.0)
    lamp.close()
    assert pins.pin(PIN).state == 0.0


@pytest.mark.parametrize("wrong", [99, -1])
def test_a_pin_that_there_is_not_is_said(wrong: int) -> None:
    lamp = open_lamp(gpio_pin=wrong, enabled=True, pin_factory=fake_pins())
    lamp.show("steady")
    assert f"GPIO {wrong} cannot be opened" in lamp.health()
    assert "\n" not in lamp.health()
    lamp.close()


def test_missing_lgpio_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("GPIOZERO_PIN_FACTORY", raising=False)
    monkeypatch.setitem(sys.modules, "gpiozero.pins.lgpio", None)
    lamp = open_lamp(gpio_pin=PIN, enabled=True)
    assert "install python3-lgpio" in lamp.health()


def test_the_environment_names_the_pins() -> None:
    """gpiozero's own variables; in a process of its own, as gpiozero keeps its choice."""
    program = (
        "from firmware.lamp import open_lamp\n"
        f"lamp = open_lamp(gpio_pin={PIN}, enabled=True)\n"
        "lamp.show('steady')\n"
        "print(type(lamp).__name__, lamp.health())\n"
        "lamp.close()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program],
        cwd=Path(__file__).parents[2],
        env={"GPIOZERO_PIN_FACTORY": "mock", "GPIOZERO_MOCK_PIN_CLASS": "mockpwmpin"},
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    assert done.stdout.split() == ["GpioLamp", "ok"]
    assert done.stderr == ""
