"""Stand-ins for hardware that record what was done to them.

They ship with the program: tests use them, and so can anybody who tries the box's software
on a machine without a microphone, display or LED.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

from PIL import Image

from firmware.formats import FORMATS

# ---------------------------------------------------------------------- microphone


class FakeAlsaError(Exception):
    """What the fake module raises in the place of ``alsaaudio.ALSAAudioError``."""


@dataclass
class FakeCard:
    """One fake recording device: what it can do, and the script of its reads.

    Each item of ``script`` is used up by one read: ``bytes`` are delivered (and may be
    short), an ``int`` is returned with no data (-32 is an overrun, 0 nothing yet), an
    exception is raised, a ``threading.Event`` blocks until it is set, and a pair of an event
    and bytes blocks and then delivers.  When the script is used up, ``after`` decides:
    "silence" delivers zeros in real time, "block" never returns.
    """

    rates_hz: tuple[int, ...] = (48000,)
    true_rate_hz: int | None = None
    """The rate at which it delivers, whatever it says."""
    formats: tuple[str, ...] = ("S16_LE",)
    channels: tuple[int, ...] = (1,)
    script: Iterable[Any] = ()
    after: str = "silence"
    is_plugged: bool = True
    open_error: str = "No such device"
    held: threading.Event | None = None
    """Another program holds it until this is set: an opening waits, unless it asks not to."""
    reads: deque[Any] = field(init=False)
    """What is left of the script."""

    def __post_init__(self) -> None:
        self.reads = deque(self.script)


@dataclass
class FakeControl:
    """One control of a fake mixer.  A switch is on (True), off (False) or not there (None)."""

    playback_switch: bool | None = None
    capture_switch: bool | None = None
    choices: tuple[str, ...] = ()
    choice: str = ""
    is_stubborn: bool = False


class FakeAlsa:
    """In the place of the module ``alsaaudio``.  ``calls`` records what was asked of it.

    An opening that does not wait is a "look" there, and its close is not recorded.
    """

    PCM_CAPTURE = 1
    PCM_NORMAL = 0
    PCM_NONBLOCK = 1
    ALSAAudioError = FakeAlsaError

    def __init__(
        self,
        cards: dict[str, FakeCard],
        controls: dict[int, dict[str, FakeControl]] | None = None,
    ) -> None:
        self.cards = cards
        self.controls = controls or {}
        self.calls: list[tuple[Any, ...]] = []
        for each in FORMATS:
            setattr(self, f"PCM_FORMAT_{each}", each)

    def PCM(self, **request: Any) -> FakePcm:
        looks = request["mode"] == self.PCM_NONBLOCK
        self.calls.append(("look" if looks else "open", dict(request)))
        request = {"channels": 2, "format": "S16_LE", "periodsize": 32, "periods": 4, **request}
        card = self.cards.get(request["device"])
        if card is None or not card.is_plugged:
            why = "No such device" if card is None else card.open_error
            raise FakeAlsaError(f"{why} [{request['device']}]")
        if card.held is not None and not card.held.is_set():
            if looks:
                raise FakeAlsaError(f"Device or resource busy [{request['device']}]")
            card.held.wait()
        return FakePcm(self, card, request)

    def mixers(self, cardindex: int = 0) -> list[str]:
        if cardindex not in self.controls:
            raise FakeAlsaError("Invalid argument")
        return list(self.controls[cardindex])

    def Mixer(self, control: str, cardindex: int = 0) -> FakeMixer:
        return FakeMixer(self, control, self.controls[cardindex][control])


class FakePcm:
    """An opened fake device.  Like alsa-lib it takes what is near without a word."""

    def __init__(self, alsa: FakeAlsa, card: FakeCard, request: dict[str, Any]) -> None:
        self._alsa = alsa
        self._card = card
        self._request = request
        self.is_closed = False
        self.rate_hz = min(card.rates_hz, key=lambda rate: abs(rate - request["rate"]))
        wanted = request["format"]
        self.format_name = wanted if wanted in card.formats else card.formats[0]
        wanted = request["channels"]  # that very number, or what alsa-lib takes first: the fewest
        self.channels = wanted if wanted in card.channels else min(card.channels)

    def info(self) -> dict[str, Any]:
        period = self._request["periodsize"]
        return {
            "rate": self.rate_hz,
            "format_name": self.format_name,
            "physical_bits": 8 * self._frame_bytes // self.channels,
            "channels": self.channels,
            "period_size": period,
            "buffer_size": period * self._request["periods"],
        }

    def getchannels(self) -> list[int]:
        return sorted(self._card.channels)

    def read(self) -> tuple[int, bytes]:
        if not self._card.is_plugged:
            raise FakeAlsaError(f"No such device [{self._request['device']}]")
        if self._card.reads:
            item = self._card.reads.popleft()
            if isinstance(item, threading.Event):
                item = (item, b"")
            if isinstance(item, tuple):
                hang, item = item
                hang.wait()
            if isinstance(item, BaseException):
                raise item
            if isinstance(item, int):
                return item, b""
            return len(item) // self._frame_bytes, item
        if self._card.after == "block":
            threading.Event().wait()
        frames = self._request["periodsize"]
        time.sleep(frames / (self._card.true_rate_hz or self.rate_hz))
        return frames, bytes(frames * self._frame_bytes)

    def close(self) -> None:
        self.is_closed = True
        if self._request["mode"] != self._alsa.PCM_NONBLOCK:
            self._alsa.calls.append(("close", self._request["device"]))

    @property
    def _frame_bytes(self) -> int:
        known = FORMATS.get(self.format_name)
        return (known.bytes_per_sample if known else 1) * self.channels


class FakeMixer:
    """One fake mixer control."""

    def __init__(self, alsa: FakeAlsa, name: str, control: FakeControl) -> None:
        self._alsa = alsa
        self._name = name
        self._control = control

    def getmute(self) -> list[int]:
        if self._control.playback_switch is None:
            raise FakeAlsaError(f"Mixer {self._name} has no playback switch")
        return [0 if self._control.playback_switch else 1]

    def setmute(self, muted: int) -> None:
        self._alsa.calls.append(("setmute", self._name, muted))
        if not self._control.is_stubborn:
            self._control.playback_switch = not muted

    def getrec(self) -> list[int]:
        if self._control.capture_switch is None:
            raise FakeAlsaError(f"Mixer {self._name} has no capture switch")
        return [1 if self._control.capture_switch else 0]

    def setrec(self, recording: int) -> None:
        self._alsa.calls.append(("setrec", self._name, recording))
        if not self._control.is_stubborn:
            self._control.capture_switch = bool(recording)

    def getenum(self) -> tuple[()] | tuple[str, list[str]]:
        if not self._control.choices:
            return ()
        return self._control.choice, list(self._control.choices)

    def setenum(self, number: int) -> None:
        self._alsa.calls.append(("setenum", self._name, number))
        if not self._control.is_stubborn:
            self._control.choice = self._control.choices[number]


# ---------------------------------------------------------------------- panel


class RecordingBus:
    """In the place of an I2C bus (as smbus2 has it); ``writes`` holds (address, bytes).

    ``is_broken`` makes every transfer fail as a display does whose plug was pulled.
    """

    def __init__(self, *, is_broken: bool = False) -> None:
        self.is_broken = is_broken
        self.writes: list[tuple[int, bytes]] = []

    def write_i2c_block_data(self, address: int, control: int, data: Iterable[int]) -> None:
        self._take(address, bytes([control, *data]))

    def i2c_rdwr(self, *messages: Any) -> None:
        for message in messages:
            self._take(message.addr, bytes(message))

    def close(self) -> None:
        """Nothing to release."""

    def _take(self, address: int, data: bytes) -> None:
        if self.is_broken:
            raise OSError(121, "Remote I/O error")
        self.writes.append((address, data))

    def picture(self) -> Image.Image:
        """The display's memory after all writes, as an SSD1306 of 128 x 64 would show it.

        Decoded by the controller's data sheet: a transfer begins with the control byte
        (0x00 commands, 0x40 data); 0x21 and 0x22 set the window of columns and pages, data
        fill it column by column; each byte is eight pixels downwards, lowest bit on top.
        """
        width, height = 128, 64
        memory = bytearray(width * height // 8)
        commands: list[int] = []
        columns, pages = (0, width - 1), (0, height // 8 - 1)
        column, page = 0, 0
        for _, data in self.writes:
            if data[0] == 0x00:
                commands += data[1:]
                continue
            for window_command, first, last in _windows(commands):
                if window_command == 0x21:
                    columns, column = (first, last), first
                else:
                    pages, page = (first, last), first
            commands = []
            for value in data[1:]:
                memory[page * width + column] = value
                column += 1
                if column > columns[1]:
                    column, page = columns[0], page + 1
                    if page > pages[1]:
                        page = pages[0]
        image = Image.new("1", (width, height))
        for y in range(height):
            for x in range(width):
                if memory[y // 8 * width + x] >> (y % 8) & 1:
                    image.putpixel((x, y), 255)
        return image


# SSD1306 commands that are followed by one argument byte.
_ONE_ARGUMENT = (0x20, 0x81, 0x8D, 0xA8, 0xD3, 0xD5, 0xD9, 0xDA, 0xDB)


def _windows(commands: list[int]) -> Iterable[tuple[int, int, int]]:
    """The window commands (0x21 columns, 0x22 pages) with their first and last."""
    place = 0
    while place < len(commands):
        command = commands[place]
        if command in (0x21, 0x22):
            yield command, commands[place + 1], commands[place + 2]
            place += 3
        else:
            place += 2 if command in _ONE_ARGUMENT else 1


# ---------------------------------------------------------------------- lamp


def fake_pins() -> Any:
    """A gpiozero pin factory without hardware; each pin's ``states`` is its timed history."""
    from gpiozero.pins.mock import MockFactory, MockPWMPin

    return MockFactory(pin_class=MockPWMPin)


def wait_until(condition: Callable[[], bool], *, within_s: float) -> bool:
    """Wait until a condition holds; return whether it came to hold in time."""
    end_mono_s = time.monotonic() + within_s
    while time.monotonic() < end_mono_s:
        if condition():
            return True
        time.sleep(0.01)
    return condition()
