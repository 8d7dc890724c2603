"""The panel: luma's real drivers over a bus that records.

What the display shows is decoded from the bytes on the bus by the SSD1306 data sheet
(horizontal addressing, commands 0x21 and 0x22), not taken from our own drawing.
"""

from __future__ import annotations

import gc
import importlib.util
import os
import sys
from typing import Any

import pytest
from luma.core.interface.serial import i2c
from PIL import Image, ImageChops

from firmware.example_faces import EXAMPLE_FACES
from firmware.faces import draw_face
from firmware.fakes import RecordingBus
from firmware.panel import REFRESH_AFTER_S, RETRY_AFTER_S, Channel, LumaPanel, open_panel
from firmware.ports import Panel

# luma's own use of Pillow; we hold Pillow below the release that takes it away.
pytestmark = pytest.mark.filterwarnings("ignore:Image.Image.getdata:DeprecationWarning")


class HandClock:
    """A clock that is moved by hand."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


def ssd1306(recorder: RecordingBus, clock: HandClock | None = None, **changed: Any) -> Panel:
    asked: dict[str, Any] = {
        "driver": "ssd1306",
        "bus": 1,
        "address": 0x3C,
        "width": 128,
        "height": 64,
        "rotate": 0,
        "serial": lambda: i2c(bus=recorder, address=0x3C),
    }
    panel = open_panel(**(asked | changed))
    if clock is not None and isinstance(panel, LumaPanel):
        panel._clock = clock
    return panel


def commands(bus: RecordingBus) -> list[int]:
    return [value for _, data in bus.writes if data[0] == 0x00 for value in data[1:]]


@pytest.mark.parametrize("name", EXAMPLE_FACES)
def test_the_display_shows_each_face_bit_for_bit(name: str) -> None:
    bus = RecordingBus()
    panel = ssd1306(bus)
    drawn = draw_face(EXAMPLE_FACES[name])
    panel.show(drawn)
    assert bus.picture().tobytes() == drawn.tobytes()
    assert drawn.getbbox() is not None
    assert panel.health() == "ok"


def test_half_a_turn_is_drawn_upside_down() -> None:
    bus = RecordingBus()
    drawn = draw_face(EXAMPLE_FACES["ringing"])
    ssd1306(bus, rotate=2).show(drawn)
    assert bus.picture().tobytes() == drawn.transpose(Image.Transpose.ROTATE_180).tobytes()


def test_nothing_is_sent_before_the_first_picture_nor_for_the_same_picture() -> None:
    bus = RecordingBus()
    clock = HandClock()
    panel = ssd1306(bus, clock)
    assert bus.writes == []
    panel.show(draw_face(EXAMPLE_FACES["quiet"]))
    sent = len(bus.writes)
    clock.now_s += REFRESH_AFTER_S - 1.0
    panel.show(draw_face(EXAMPLE_FACES["quiet"]))
    assert len(bus.writes) == sent
    panel.show(draw_face(EXAMPLE_FACES["howl"]))
    assert len(bus.writes) > sent


def test_a_display_that_is_not_there_is_found_when_it_comes() -> None:
    bus = RecordingBus(is_broken=True)
    clock = HandClock()
    panel = ssd1306(bus, clock)
    face = draw_face(EXAMPLE_FACES["howl"])
    panel.show(face)
    assert "I2C bus 1, address 0x3C" in panel.health()
    assert "does not answer" in panel.health()
    assert "check its wires" in panel.health()
    assert "\n" not in panel.health()

    bus.is_broken = False
    clock.now_s += RETRY_AFTER_S - 0.1
    panel.show(face)
    assert bus.writes == []
    clock.now_s += 0.2
    panel.show(face)
    assert panel.health() == "ok"
    assert bus.picture().tobytes() == face.tobytes()


def test_a_display_pulled_and_replugged_is_set_up_again_and_shows_the_new_picture() -> None:
    bus = RecordingBus()
    clock = HandClock()
    panel = ssd1306(bus, clock)
    panel.show(draw_face(EXAMPLE_FACES["quiet"]))
    bus.is_broken = True
    panel.show(draw_face(EXAMPLE_FACES["ringing"]))
    assert "does not answer" in panel.health()

    bus.is_broken = False
    bus.writes.clear()  # a display without power forgets its picture and its set-up
    clock.now_s += RETRY_AFTER_S + 0.1
    face = draw_face(EXAMPLE_FACES["ringing"])
    panel.show(face)
    assert panel.health() == "ok"
    assert bus.picture().tobytes() == face.tobytes()
    assert {0x8D, 0xAF} <= set(commands(bus)), "charge pump and display on (data sheet)"


def test_a_display_that_lost_its_power_unnoticed_comes_back_without_a_flicker() -> None:
    bus = RecordingBus()
    clock = HandClock()
    panel = ssd1306(bus, clock)
    face = draw_face(EXAMPLE_FACES["quiet"])
    panel.show(face)
    bus.writes.clear()
    clock.now_s += REFRESH_AFTER_S + 0.1
    panel.show(face)
    assert bus.picture().tobytes() == face.tobytes()
    assert {0x8D, 0xAF} <= set(commands(bus))
    assert 0xAE not in commands(bus), "display off"


def test_a_display_gone_while_the_picture_stands_is_noticed() -> None:
    bus = RecordingBus()
    clock = HandClock()
    panel = ssd1306(bus, clock)
    face = draw_face(EXAMPLE_FACES["quiet"])
    panel.show(face)
    bus.is_broken = True
    clock.now_s += REFRESH_AFTER_S + 0.1
    panel.show(face)
    assert "does not answer" in panel.health()


def test_an_evening_without_a_display_keeps_nothing() -> None:
    from luma.oled.device import ssd1306 as driver

    bus = RecordingBus(is_broken=True)
    clock = HandClock()
    panel = ssd1306(bus, clock)
    gc.collect()
    before = sum(isinstance(each, driver) for each in gc.get_objects())
    for _ in range(20):
        panel.show(draw_face(EXAMPLE_FACES["quiet"]))
        clock.now_s += RETRY_AFTER_S + 0.1
    gc.collect()
    assert isinstance(panel, LumaPanel)
    assert panel.error_count == 20
    assert sum(isinstance(each, driver) for each in gc.get_objects()) == before


def test_close_darkens_the_display_and_can_be_repeated() -> None:
    bus = RecordingBus()
    panel = ssd1306(bus)
    panel.show(draw_face(EXAMPLE_FACES["howl"]))
    panel.close()
    assert bus.picture().getbbox() is None
    assert 0xAE in commands(bus)
    sent = len(bus.writes)
    panel.close()
    panel.show(draw_face(EXAMPLE_FACES["howl"]))
    assert len(bus.writes) == sent


def test_close_survives_a_display_that_is_gone() -> None:
    bus = RecordingBus()
    panel = ssd1306(bus)
    panel.show(draw_face(EXAMPLE_FACES["howl"]))
    bus.is_broken = True
    panel.close()
    assert "gone" in panel.health()


@pytest.mark.parametrize(
    ("driver", "size"),
    [
        ("ssd1309", {}),
        ("sh1106", {}),
        ("sh1107", {"width": 64, "height": 128, "rotate": 1}),
    ],
)
def test_other_i2c_displays_are_sent_something(driver: str, size: dict[str, int]) -> None:
    bus = RecordingBus()
    panel = ssd1306(bus, driver=driver, **size)
    panel.show(draw_face(EXAMPLE_FACES["howl"]))
    assert panel.health() == "ok"
    data = b"".join(data[1:] for _, data in bus.writes if data[0] == 0x40)
    # One clearing and one picture of 1024 bytes each.
    assert len(data) == 2 * 128 * 64 // 8
    assert any(data[1024:])


def test_no_panel_is_off() -> None:
    panel = ssd1306(RecordingBus(), driver="none")
    panel.show(draw_face(EXAMPLE_FACES["howl"]))
    assert panel.health() == "off"
    panel.close()


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"driver": "etch"}, ["no such driver", "ssd1306", "none"]),
        ({"width": 100, "height": 10}, ["100 x 10", "[panel] width"]),
    ],
)
def test_a_wrong_setting_is_said_once_and_not_tried_again(
    changed: dict[str, Any], words: list[str]
) -> None:
    bus = RecordingBus()
    clock = HandClock()
    panel = ssd1306(bus, clock, **changed)
    panel.show(Image.new("1", (128, 64)))
    for word in words:
        assert word in panel.health()
    sent = len(bus.writes)
    clock.now_s += 100.0
    panel.show(Image.new("1", (128, 64)))
    assert len(bus.writes) == sent


@pytest.mark.skipif(os.path.exists("/dev/i2c-77"), reason="there is such a bus here")  # noqa: PTH110
def test_a_bus_that_is_switched_off_is_named() -> None:
    panel = ssd1306(RecordingBus(), serial=None, bus=77)
    panel.show(draw_face(EXAMPLE_FACES["howl"]))
    assert "/dev/i2c-77" in panel.health()
    assert "switch I2C" in panel.health()


def test_a_missing_package_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "luma.oled.device", None)
    panel = ssd1306(RecordingBus())
    panel.show(draw_face(EXAMPLE_FACES["howl"]))
    assert "package" in panel.health()
    assert "luma.oled" in panel.health()


class FakeSpi:
    """Takes what an SPI display is sent."""

    def __init__(self) -> None:
        self.sent: list[int] = []

    def command(self, *command: int) -> None:
        self.sent += command

    def data(self, data: Any) -> None:
        self.sent += list(data)

    def cleanup(self) -> None:
        """Nothing to release."""


class FakePins:
    """The backlight's pin, in the place of RPi.GPIO."""

    OUT = LOW = 0
    HIGH = 1
    BCM = 11

    def __getattr__(self, name: str) -> Any:
        return lambda *_args, **_named: None


def test_a_colour_display_is_given_the_face_centred(monkeypatch: pytest.MonkeyPatch) -> None:
    import luma.lcd.device as drivers

    spi = FakeSpi()
    pins = FakePins()
    monkeypatch.setattr(drivers.backlit_device, "__rpi_gpio__", lambda _self: pins)
    panel = open_panel(
        driver="st7735", bus=0, address=0, width=160, height=80, rotate=0, serial=spi
    )
    panel.show(draw_face(EXAMPLE_FACES["howl"]))
    assert panel.health() == "ok"
    lit = spi.sent.count(0xFC) + spi.sent.count(0xFF)
    expected = sum(map(bool, draw_face(EXAMPLE_FACES["howl"]).convert("L").tobytes()))
    assert lit >= 3 * expected, "three colour bytes for each lit pixel"


@pytest.mark.skipif(importlib.util.find_spec("RPi") is not None, reason="this may be a Pi")
def test_a_colour_display_without_the_pins_says_what_is_missing() -> None:
    panel = open_panel(
        driver="st7735", bus=0, address=0, width=160, height=80, rotate=0, serial=FakeSpi()
    )
    panel.show(draw_face(EXAMPLE_FACES["howl"]))
    assert "python3-rpi-lgpio" in panel.health()


def test_set_up_is_repeated_without_display_off() -> None:
    spi = FakeSpi()
    channel = Channel(spi)
    channel.command(0xAE, 0x8D, 0x14)
    channel.command(0xAE)
    channel.is_recording = False
    channel.command(0x21, 0, 127)
    spi.sent.clear()
    channel.set_up_again()
    assert spi.sent == [0x8D, 0x14]


def test_pictures_differ_so_that_equality_means_something() -> None:
    one, other = (draw_face(EXAMPLE_FACES[name]) for name in ("ringing", "howl"))
    assert ImageChops.logical_xor(one, other).getbbox() is not None
