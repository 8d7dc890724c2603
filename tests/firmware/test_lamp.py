"""The lamp on recording pins."""

from __future__ import annotations

import itertools
import time
from collections.abc import Iterator

import pytest

from firmware import lamp as lamp_module
from firmware.fakes import fake_pins, wait_until
from firmware.lamp import open_lamp, pattern_steps
from firmware.ports import LampPattern
from tests.waiting import awaited

PIN = 17


def test_the_patterns_as_they_are_specified() -> None:
    blink = pattern_steps("blink", dimmable=True)
    steps = [next(blink) for _ in range(4)]
    # Two short blinks in every 3 s.
    assert [brightness for brightness, _ in steps] == [1.0, 0.0, 1.0, 0.0]
    assert sum(stands_s or 0.0 for _, stands_s in steps) == pytest.approx(3.0)
    assert list(pattern_steps("dark", dimmable=True)) == [(0.0, None)]
    assert list(pattern_steps("steady", dimmable=True)) == [(1.0, None)]
    hard = pattern_steps("pulse", dimmable=False)
    assert [next(hard)[0] for _ in range(4)] == [1.0, 0.0, 1.0, 0.0]


def test_steady_and_dark_reach_the_pin() -> None:
    pins = fake_pins()
    lamp = open_lamp(gpio_pin=PIN, enabled=True, pin_factory=pins)
    lamp.show("steady")
    assert wait_until(lambda: pins.pin(PIN).state == 1.0, within_s=10.0)
    lamp.show("dark")
    assert wait_until(lambda: pins.pin(PIN).state == 0.0, within_s=10.0)
    assert lamp.health() == "ok"
    lamp.close()
    lamp.close()


def test_pulse_swells_and_begins_bright() -> None:
    pulse = pattern_steps("pulse", dimmable=True)
    steps = [next(pulse) for _ in range(32)]
    assert sum(stands_s or 0.0 for _, stands_s in steps) == pytest.approx(1.6)
    levels = [brightness for brightness, _ in steps]
    assert levels[0] == 1.0
    assert min(levels) == pytest.approx(0.0)
    assert next(pulse)[0] == 1.0
    pins = fake_pins()
    lamp = open_lamp(gpio_pin=PIN, enabled=True, pin_factory=pins)
    pins.pin(PIN).clear_states()
    lamp.show("pulse")

    def seen() -> list[float]:
        return [state.state for state in pins.pin(PIN).states]

    # However late a step comes: the first is bright, and all of a swell reach the pin in the end.
    awaited(lambda: len({round(state, 2) for state in seen()}) >= 8 and min(seen()) < 0.1, 20.0)
    lamp.close()
    assert max(seen()[:3]) > 0.9


def test_blink_is_two_flashes_and_showing_it_again_does_not_disturb_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    pins = fake_pins()
    lamp = open_lamp(gpio_pin=PIN, enabled=True, pin_factory=pins)
    begun: list[str] = []

    def steps(pattern: LampPattern, *, dimmable: bool) -> Iterator[tuple[float, float | None]]:
        begun.append(pattern)
        return pattern_steps(pattern, dimmable=dimmable)

    monkeypatch.setattr(lamp_module, "pattern_steps", steps)
    pins.pin(PIN).clear_states()

    def flashes() -> int:
        lamp.show("blink")
        lit = [state.state for state in pins.pin(PIN).states if state.state in (0.0, 1.0)]
        return sum(1 for before, now in itertools.pairwise(lit) if now > before)

    awaited(lambda: flashes() >= 2)
    lamp.close()
    assert begun == ["blink"]


def test_closing_leaves_it_dark() -> None:
    pins = fake_pins()
    lamp = open_lamp(gpio_pin=PIN, enabled=True, pin_factory=pins)
    lamp.show("steady")
    assert wait_until(lambda: pins.pin(PIN).state == 1.0, within_s=10.0)
    lamp.close()
    assert pins.pin(PIN).states[-1].state in (0.0, None)


def test_a_pin_without_dimming_pulses_hard() -> None:
    from gpiozero.pins.mock import MockFactory, MockPin

    pins = MockFactory(pin_class=MockPin)
    lamp = open_lamp(gpio_pin=PIN, enabled=True, pin_factory=pins)
    lamp.show("pulse")
    assert wait_until(lambda: bool(pins.pin(PIN).state), within_s=10.0)
    assert wait_until(lambda: not pins.pin(PIN).state, within_s=10.0)
    lamp.close()


def test_off_by_setting() -> None:
    lamp = open_lamp(gpio_pin=PIN, enabled=False)
    lamp.show("steady")
    lamp.close()
    assert lamp.health() == "off"


def test_no_gpio_here_is_said_and_never_raised() -> None:
    """Neither a test machine nor a laptop has a Pi's GPIO."""
    lamp = open_lamp(gpio_pin=PIN, enabled=True)
    lamp.show("steady")
    lamp.close()
    assert "lgpio" in lamp.health() or "cannot be opened" in lamp.health()


def test_a_pin_in_use_is_said() -> None:
    pins = fake_pins()
    first = open_lamp(gpio_pin=PIN, enabled=True, pin_factory=pins)
    second = open_lamp(gpio_pin=PIN, enabled=True, pin_factory=pins)
    assert "in use" in second.health()
    first.close()


def test_a_dying_pin_is_reported() -> None:
    pins = fake_pins()
    lamp = open_lamp(gpio_pin=PIN, enabled=True, pin_factory=pins)
    time.sleep(0.05)

    def fail(_value: float) -> None:
        raise OSError(5, "Input/output error")

    pins.pin(PIN)._set_state = fail
    lamp.show("steady")
    assert wait_until(lambda: "does not answer" in lamp.health(), within_s=10.0)
    lamp.close()
