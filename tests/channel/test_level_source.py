"""Where the sound comes from: a desk's line and the box's microphone are never confused."""

from __future__ import annotations

import threading
from pathlib import Path

import numpy as np
import pytest

from firmware.cards import CaptureDevice
from firmware.fakes import FakeAlsa, FakeCard
from firmware.microphone import AlsaMicrophone
from firmware.ports import AudioBlock, MicrophoneStatus
from monitor.errors import LanternError, UsageError
from monitor.level import source as level_source
from monitor.level.source import from_box, from_file, from_line, heard
from monitor.settings import Line, Microphone

RATES_HZ = (48000,)
CARDS = [
    CaptureDevice("Device", 1, 0, "USB microphone", is_usb=True),
    CaptureDevice("CODEC", 2, 0, "USB audio", is_usb=True),
]


class Blocks:
    """A device that gives some blocks and then none."""

    def __init__(self, blocks=(), detail="all quiet", then=None):
        self.blocks = list(blocks)
        self.detail = detail
        self.then = then
        self.closed = 0

    def read(self, timeout_s):
        if self.blocks:
            return self.blocks.pop(0)
        if self.then is not None:
            raise self.then
        threading.Event().wait(0.001)
        return None

    def status(self):
        return MicrophoneStatus("searching", 0.0, "x", self.detail)

    def close(self):
        self.closed += 1


def line(device="CODEC", channel=1):
    return Line(device, channel, RATES_HZ, "digital", -18.0, ("80",), 12)


def microphone(device="auto", channel=1):
    return Microphone(device, channel, RATES_HZ)


def chosen(the_line, the_microphone, device=None, cards=CARDS):
    asked = []
    source = from_line(
        the_line,
        the_microphone,
        device,
        devices=list(cards),
        opened=lambda *what: (asked.append(what), Blocks())[1],
    )
    return source, asked


def test_the_line_of_the_settings_is_opened_with_its_channel():
    source, asked = chosen(line(channel=2), microphone())
    assert (source.kind, source.name) == ("desk", "CODEC")
    assert asked == [("CODEC", 2, RATES_HZ)]


def test_a_card_given_by_name_takes_the_place_of_the_settings_one():
    assert chosen(line(""), microphone(), "CODEC")[1] == [("CODEC", 1, RATES_HZ)]


def test_no_line_says_how_to_name_one():
    with pytest.raises(UsageError, match="no line from the desk is set: put its card into"):
        chosen(line(""), microphone())


def test_auto_is_no_name_of_a_line():
    with pytest.raises(UsageError, match='"auto" may be the box\'s microphone'):
        chosen(line(), microphone(), "auto")


@pytest.mark.parametrize("name", ["Device", "hw:CARD=Device,DEV=0", "plughw:1", "hw:1,0"])
@pytest.mark.parametrize("own", ["auto", "Device", "hw:CARD=Device,DEV=0"])
def test_the_box_s_own_microphone_is_no_line_whatever_it_is_called(name, own):
    with pytest.raises(UsageError, match="is the box's own microphone") as caught:
        chosen(line(name), microphone(own))
    assert "--box" in str(caught.value)


def test_the_other_channel_of_the_same_card_is_a_line():
    assert chosen(line("Device", 2), microphone("Device", 1))[0].kind == "desk"


def test_a_card_that_is_the_only_one_is_the_microphone_that_auto_takes():
    with pytest.raises(UsageError, match='device = "auto"'):
        chosen(line("CODEC"), microphone("auto"), cards=CARDS[1:])


def test_auto_takes_no_card_that_is_not_usb_so_that_one_is_a_line():
    board = CaptureDevice("Board", 0, 0, "codec", is_usb=False)
    assert chosen(line("Board"), microphone("auto"), cards=[board])[0].kind == "desk"


def test_the_box_says_it_is_the_box():
    asked = []
    source = from_box(microphone(channel=2), lambda *what: (asked.append(what), Blocks())[1])
    assert (source.kind, source.name) == ("box", "auto")
    assert asked == [("auto", 2, RATES_HZ)]


def test_blocks_become_frames_and_the_device_is_closed():
    block = AudioBlock(np.zeros(4, np.float32), 48000, 0.0, gap=True, clipped_samples=0)
    device = Blocks([block], then=KeyboardInterrupt())
    found = heard(device)
    assert next(found).gap is True
    with pytest.raises(KeyboardInterrupt, match="^$"):
        next(found)
    assert device.closed == 1


@pytest.mark.parametrize(
    ("detail", "said"),
    [
        ("the microphone CODEC is not plugged in (there: none)", "CODEC is not plugged in"),
        (
            "hw:CODEC cannot be opened (Device or resource busy); another program holds it",
            "if that is the watcher, measure on the page",
        ),
    ],
)
def test_a_device_that_gives_nothing_ends_with_its_own_reason(monkeypatch, detail, said):
    monkeypatch.setattr(level_source, "WAIT_S", 0.02)
    device = Blocks(detail=detail)
    with pytest.raises(LanternError, match=said):
        next(heard(device))
    assert device.closed == 1


def test_a_missing_file_is_told_in_one_line(tmp_path: Path):
    with pytest.raises(UsageError, match="no such file"):
        from_file(str(tmp_path / "none.wav"))


def test_a_card_is_heard_through_the_real_microphone_class(tmp_path: Path, monkeypatch):
    """A scripted card of two channels, the line on the second, with an overrun between."""
    alsa_name = "hw:CARD=CODEC,DEV=0"
    frames = np.zeros((512, 2), "<i2")
    frames[:, 1] = 16384
    script = [frames.tobytes(), -32, frames.tobytes()]
    alsa = FakeAlsa({alsa_name: FakeCard(channels=(2,), script=script, after="block")})

    def opened(device, channel, rates_hz):
        return AlsaMicrophone(
            device=device, channel=channel, rates_hz=rates_hz, alsa=alsa, kernel_list=tmp_path
        )

    source = from_line(line(alsa_name, 2), microphone("Device"), None, devices=[], opened=opened)
    first, second = next(source.frames), next(source.frames)
    assert list(first.samples[:3]) == [0.5, 0.5, 0.5]
    assert (first.gap, second.gap) == (False, True)
    assert first.sample_rate_hz == 48000
    monkeypatch.setattr(level_source, "WAIT_S", 0.5)
    with pytest.raises(LanternError, match="."):  # then it gives nothing more
        next(source.frames)
