"""The microphone against a scripted card: every way alsa-lib is known to answer a read.

What a read can answer is from pyalsaaudio's documentation and was seen on real devices: a
length with data (also shorter than a period), 0, -32 (-EPIPE) after an overrun, an
ALSAAudioError when the card is pulled, and no answer at all.
"""

from __future__ import annotations

import shutil
import struct
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from firmware import microphone as module
from firmware import waiting_sound
from firmware.fakes import FakeAlsa, FakeAlsaError, FakeCard, FakePcm
from firmware.knocking import Knocker
from firmware.microphone import AlsaMicrophone
from firmware.opening import MicrophoneError
from firmware.pace import SilentLoss, TrueRate
from firmware.ports import AudioBlock, MicrophoneStatus
from firmware.which_card import UNKNOWN_EVERY_S, WhichCard
from monitor.listening.frames import HOP_S
from tests.waiting import awaited

NAME = "hw:CARD=Stage,DEV=0"
PERIOD = 512

PATIENCE_S = 10.0


class Told(AlsaMicrophone):
    """Keeps all that it has said: a state that passes by itself may be over before a test looks."""

    def __init__(self, **given: Any) -> None:
        self.said: list[MicrophoneStatus] = []
        self.looked_at = 0
        super().__init__(**given)

    def _say(self, *words: Any, **what_is_set: Any) -> None:
        super()._say(*words, **what_is_set)
        self.said.append(self._status)


class Doorman(Knocker):
    """Starts no process: no answer to the first ``silent`` knocks; says what it is given."""

    def __init__(self, *, silent: int = 0) -> None:
        super().__init__()
        self.silent = silent
        self.knocks: list[tuple[str, int | None]] = []
        self.gain: str | None = "unknown"

    def answers(self, alsa_name: str, card_index: int | None = None) -> bool:
        self.knocks.append((alsa_name, card_index))
        return len(self.knocks) > self.silent

    def automatic_gain(self) -> str | None:
        return self.gain


Maker = Callable[..., Told]


def period_of(code: int, frames: int = PERIOD) -> bytes:
    return struct.pack("<h", code) * frames


def add_card(kernel_list: Path, index: int, card_id: str, *, usb: bool, device: int = 0) -> Path:
    """One card as the kernel lists it (Documentation/sound/designs/procfile.rst)."""
    card = kernel_list / f"card{index}"
    pcm = card / f"pcm{device}c"
    pcm.mkdir(parents=True)
    (card / "id").write_text(f"{card_id}\n")
    if usb:
        (card / "usbid").write_text("1234:5678\n")
    (pcm / "info").write_text(f"card: {index}\ndevice: {device}\nname: {card_id} capture\n")
    return card


@pytest.fixture
def kernel_list(tmp_path: Path) -> Path:
    add_card(tmp_path, 1, "Stage", usb=True)
    return tmp_path


@pytest.fixture
def make(kernel_list: Path) -> Iterator[Maker]:
    made: list[Told] = []

    def make_one(alsa: Any, device: str = "auto", **more: Any) -> Told:
        made.append(Told(device=device, alsa=alsa, kernel_list=kernel_list, **more))
        return made[-1]

    yield make_one
    for each in made:
        each.close()


def next_block(microphone: Told) -> AudioBlock:
    block = microphone.read(PATIENCE_S)
    assert block is not None, microphone.status()
    return block


def status_when(microphone: Told, state: str) -> MicrophoneStatus:
    """The first status of that state since the one that was found before."""

    def found() -> MicrophoneStatus | None:
        for place in range(microphone.looked_at, len(microphone.said)):
            if microphone.said[place].state == state:
                microphone.looked_at = place
                return microphone.said[place]
        return None

    status = awaited(found, PATIENCE_S, f"not {state}: {microphone.status()}")
    assert status is not None
    return status


def detail_when(microphone: Told, words: str) -> str:
    """The first detail with these words."""
    return awaited(
        lambda: next((one.detail for one in microphone.said if words in one.detail), ""),
        PATIENCE_S,
        f"not {words!r}: {microphone.status()}",
    )


def opened_names(alsa: FakeAlsa) -> list[str]:
    return [call[1]["device"] for call in alsa.calls if call[0] == "open"]


# ---------------------------------------------------------------------- what is heard


def test_samples_arrive_as_they_were_and_when_they_were(make: Maker) -> None:
    alsa = FakeAlsa({NAME: FakeCard(script=[period_of(code) for code in (1, -2, 32767)])})
    before = time.monotonic()
    microphone = make(alsa)
    blocks = [next_block(microphone) for _ in range(3)]
    for block, code in zip(blocks, (1, -2, 32767), strict=True):
        np.testing.assert_array_equal(block.samples, np.full(PERIOD, code / 32768, np.float32))
        assert block.sample_rate_hz == 48000
        assert before <= block.captured_mono_s <= time.monotonic()
    assert [block.clipped_samples for block in blocks] == [0, 0, PERIOD]
    assert [block.gap for block in blocks[1:]] == [False, False]
    status = status_when(microphone, "hearing")
    assert (status.sample_rate_hz, status.sample_format, status.channels) == (48000, "S16_LE", 1)
    assert status.device == NAME
    assert "48 kHz, 16 bits, 1 channel" in status.detail


def test_the_period_is_short_and_the_buffer_holds_eight_of_them(make: Maker) -> None:
    alsa = FakeAlsa({NAME: FakeCard()})
    next_block(make(alsa))
    request = next(call[1] for call in alsa.calls if call[0] == "open")
    # The listening's own hop at 48 kHz: shorter wakes it for nothing, longer keeps it waiting.
    assert request["periodsize"] / 48000 == pytest.approx(HOP_S)
    assert request["periods"] >= 8


def test_one_channel_of_several_is_taken(make: Maker) -> None:
    frames = struct.pack("<hh", 100, -200) * PERIOD
    alsa = FakeAlsa({NAME: FakeCard(channels=(2,), script=[frames])})
    block = next_block(make(alsa, channel=2))
    np.testing.assert_array_equal(block.samples, np.full(PERIOD, -200 / 32768, np.float32))


def test_a_short_read_is_taken_whole(make: Maker) -> None:
    alsa = FakeAlsa({NAME: FakeCard(script=[period_of(7, 100), period_of(8, 1), period_of(9)])})
    microphone = make(alsa)
    assert [len(next_block(microphone).samples) for _ in range(3)] == [100, 1, PERIOD]


def test_frames_that_are_counted_and_do_not_come_are_no_block(make: Maker) -> None:
    alsa = FakeAlsa({NAME: FakeCard(script=[period_of(1), 100, period_of(2)])})
    microphone = make(alsa)
    next_block(microphone)
    assert microphone.read(PATIENCE_S) is None
    assert len(next_block(microphone).samples) == PERIOD


def test_nothing_yet_is_neither_a_block_nor_a_gap(make: Maker) -> None:
    alsa = FakeAlsa({NAME: FakeCard(script=[period_of(1), 0, 0, period_of(2)])})
    microphone = make(alsa)
    next_block(microphone)
    second = next_block(microphone)
    assert second.samples[0] == np.float32(2 / 32768)
    assert not second.gap


def test_an_overrun_is_counted_and_the_next_block_says_so(make: Maker) -> None:
    script = [period_of(1), -32, period_of(2), period_of(3), -32, -32, period_of(4)]
    alsa = FakeAlsa({NAME: FakeCard(script=script)})
    microphone = make(alsa)
    next_block(microphone)
    assert [next_block(microphone).gap for _ in range(3)] == [True, False, True]
    status = microphone.status()
    assert (status.state, status.overrun_count) == ("hearing", 3)
    assert len(opened_names(alsa)) == 1


def test_a_device_that_only_overruns_is_opened_anew(make: Maker) -> None:
    alsa = FakeAlsa({NAME: FakeCard(script=[period_of(1), *[-32] * 8, period_of(2)])})
    microphone = make(alsa)
    next_block(microphone)
    assert next_block(microphone).gap
    assert len(opened_names(alsa)) == 2
    assert [call[0] for call in alsa.calls[:4]] == ["look", "open", "close", "look"]


def test_another_error_number_is_a_loss_not_an_overrun(make: Maker) -> None:
    alsa = FakeAlsa({NAME: FakeCard(script=[period_of(1), -19, period_of(2)])})
    microphone = make(alsa)
    next_block(microphone)
    assert "-19" in status_when(microphone, "lost").detail
    assert next_block(microphone).gap
    assert microphone.status().overrun_count == 0


def test_when_nobody_listens_the_oldest_is_dropped_and_counted(
    make: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    script = [period_of(code) for code in range(1, 11)]
    monkeypatch.setattr(waiting_sound, "QUEUED_S", 4 * PERIOD / 48000)
    alsa = FakeAlsa({NAME: FakeCard(script=script, after="block")})
    microphone = make(alsa)
    awaited(lambda: microphone.status().dropped_block_count == 6)
    blocks = [next_block(microphone) for _ in range(4)]
    assert [round(float(block.samples[0]) * 32768) for block in blocks] == [7, 8, 9, 10]
    assert [block.gap for block in blocks] == [True, False, False, False]


def test_reading_waits_no_longer_than_it_was_told(make: Maker) -> None:
    microphone = make(FakeAlsa({NAME: FakeCard(after="block")}))
    begun_mono_s = time.monotonic()
    assert microphone.read(0.1) is None
    assert 0.09 < time.monotonic() - begun_mono_s < 0.6


# ---------------------------------------------------------------------- what ALSA really set


def test_another_rate_of_the_list_is_followed(make: Maker) -> None:
    block = next_block(make(FakeAlsa({NAME: FakeCard(rates_hz=(16000,))})))
    assert block.sample_rate_hz == 16000


def test_the_preferred_rate_is_taken_of_several(make: Maker) -> None:
    card = FakeCard(rates_hz=(16000, 44100, 48000))
    assert next_block(make(FakeAlsa({NAME: card}))).sample_rate_hz == 48000
    block = next_block(make(FakeAlsa({NAME: card}), rates_hz=(44100, 48000)))
    assert block.sample_rate_hz == 44100


def test_a_rate_that_was_not_asked_for_is_refused_in_one_sentence(make: Maker) -> None:
    alsa = FakeAlsa({NAME: FakeCard(rates_hz=(96000,))})
    microphone = make(alsa)
    detail = detail_when(microphone, "96000 Hz")
    assert "48000" in detail
    assert "choose another" in detail
    assert "\n" not in detail
    assert microphone.status().state == "searching"
    assert microphone.read(0.05) is None
    # Every refused opening is closed again: an open card is busy for the next attempt.
    microphone.close()
    opens = len(opened_names(alsa))
    assert opens > 0
    assert sum(call[0] == "close" for call in alsa.calls) == opens


@pytest.mark.parametrize(
    ("name", "raw", "value"),
    [
        ("S16_LE", struct.pack("<h", 0x1234), 0x1234 / 2**15),
        ("S24_3LE", struct.pack("<i", 0x123456)[:3], 0x123456 / 2**23),
        ("S24_LE", struct.pack("<i", 0x123456), 0x123456 / 2**23),
        ("S32_LE", struct.pack("<i", 0x12345600), 0x12345600 / 2**31),
    ],
)
def test_every_word_length_is_followed(make: Maker, name: str, raw: bytes, value: float) -> None:
    microphone = make(FakeAlsa({NAME: FakeCard(formats=(name,), script=[raw * PERIOD])}))
    np.testing.assert_array_equal(
        next_block(microphone).samples, np.full(PERIOD, value, np.float32)
    )
    assert microphone.status().sample_format == name


@pytest.mark.parametrize(("rate_hz", "frames"), [(8000, 171), (16000, 341), (192000, 4096)])
def test_a_period_lasts_one_hop_of_the_listening_at_every_rate(
    make: Maker, rate_hz: int, frames: int
) -> None:
    """21.3 ms, ``listening/frames.py``; by hand: 1024 / 48000 of the rate."""
    microphone = make(FakeAlsa({NAME: FakeCard(rates_hz=(rate_hz,))}), rates_hz=(48000, rate_hz))
    block = next_block(microphone)
    assert (block.sample_rate_hz, len(block.samples)) == (rate_hz, frames)


def test_a_word_length_nobody_can_read_is_refused(make: Maker) -> None:
    microphone = make(FakeAlsa({NAME: FakeCard(formats=("U8",))}))
    assert "format U8" in detail_when(microphone, "U8")
    assert microphone.status().state == "searching"


def test_a_channel_the_card_does_not_have_is_refused(make: Maker) -> None:
    microphone = make(FakeAlsa({NAME: FakeCard(channels=(1, 2))}), channel=3)
    assert "set [microphone] channel to 1..2" in detail_when(microphone, "channel 3")


def test_a_card_that_has_two_channels_or_four_gives_the_third(make: Maker) -> None:
    """alsa-lib's snd_pcm_hw_params_set_channels() takes that very number, or leaves the fewest."""
    script = [struct.pack("<4h", 1, 2, 3, 4) * PERIOD] * 3
    alsa = FakeAlsa({NAME: FakeCard(channels=(2, 4), script=script)})
    microphone = make(alsa, channel=3)
    np.testing.assert_array_equal(
        next_block(microphone).samples, np.full(PERIOD, 3 / 2**15, np.float32)
    )
    asked = [call[1]["channels"] for call in alsa.calls if call[0] == "open"]
    assert asked == [3, 4]
    assert microphone.status().channels == 4


@pytest.mark.parametrize(
    ("error", "words"),
    [
        ("Device or resource busy", "another program holds it"),
        ("Permission denied", "group audio"),
        ("No such device", "plug it in"),
        ("No such file or directory", "plug it in"),
    ],
)
def test_a_card_that_does_not_open_says_what_to_do(make: Maker, error: str, words: str) -> None:
    alsa = FakeAlsa({NAME: FakeCard(is_plugged=False, open_error=error)})
    assert error in detail_when(make(alsa), words)


def test_channels_are_counted_from_one(kernel_list: Path) -> None:
    with pytest.raises(ValueError, match="counted from 1"):
        AlsaMicrophone(device="auto", channel=0, alsa=FakeAlsa({}), kernel_list=kernel_list)


def test_without_the_library_it_says_so_and_keeps_looking(
    make: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "alsaaudio", None)
    microphone = make(None)
    detail = detail_when(microphone, "pyalsaaudio")
    assert "install" in detail
    assert microphone.status().state == "searching"
    monkeypatch.setitem(sys.modules, "alsaaudio", FakeAlsa({NAME: FakeCard()}))
    next_block(microphone)


def test_a_library_too_old_to_be_asked_says_so(make: Maker) -> None:
    class OldAlsa(FakeAlsa):
        def PCM(self, type: int = 0, mode: int = 0, device: str = "default") -> Any:  # type: ignore[override]
            raise NotImplementedError

    assert "install version 0.11" in detail_when(make(OldAlsa({})), "too old")


def test_a_library_that_overwrites_memory_is_not_read_with(make: Maker) -> None:
    """Its own list of changes: up to 0.10 read() miscounts frames; physical_bits came with 0.11."""

    class Alsa010(FakeAlsa):
        def PCM(self, **request: Any) -> Any:
            pcm = super().PCM(**request)
            info = {key: value for key, value in pcm.info().items() if key != "physical_bits"}
            pcm.info = lambda: info  # type: ignore[method-assign]
            return pcm

    alsa = Alsa010({NAME: FakeCard()})
    microphone = make(alsa)
    assert "install version 0.11" in detail_when(microphone, "too old")
    assert microphone.read(0.1) is None


def test_a_system_without_a_thread_to_give_is_asked_again(
    make: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    start = threading.Thread.start
    refusals = [1, 2]

    def start_or_refuse(thread: threading.Thread) -> None:
        if thread.name == "capture" and refusals:
            refusals.pop()
            raise RuntimeError("can't start new thread")
        start(thread)

    monkeypatch.setattr(threading.Thread, "start", start_or_refuse)
    microphone = make(FakeAlsa({NAME: FakeCard()}))
    assert "stop other programs" in detail_when(microphone, "can't start")
    next_block(microphone)
    assert not refusals


# ---------------------------------------------------------------------- which card


def test_auto_prefers_a_usb_card(kernel_list: Path, make: Maker) -> None:
    add_card(kernel_list, 0, "Board", usb=False)
    alsa = FakeAlsa({NAME: FakeCard(), "hw:CARD=Board,DEV=0": FakeCard()})
    next_block(make(alsa))
    assert opened_names(alsa) == [NAME]


def test_auto_never_takes_a_card_that_is_not_usb(kernel_list: Path, make: Maker) -> None:
    add_card(kernel_list, 0, "Board", usb=False)
    shutil.rmtree(kernel_list / "card1")
    alsa = FakeAlsa({NAME: FakeCard(), "hw:CARD=Board,DEV=0": FakeCard()})
    microphone = make(alsa)
    detail = detail_when(microphone, "no USB microphone is there")
    assert "plug one in, or put the name of a card that is (Board) into [microphone]" in detail
    assert microphone.status().state == "searching"
    assert opened_names(alsa) == []
    add_card(kernel_list, 1, "Stage", usb=True)
    next_block(microphone)
    assert opened_names(alsa) == [NAME]


@pytest.mark.parametrize("line", ["Desk", "hw:CARD=Desk,DEV=0", "plughw:0,0", "0"])
def test_auto_never_takes_the_desk_s_line(kernel_list: Path, make: Maker, line: str) -> None:
    add_card(kernel_list, 0, "Desk", usb=True)
    alsa = FakeAlsa({name: FakeCard() for name in (NAME, "hw:CARD=Desk,DEV=0")})
    status_when(make(alsa, leave=line), "hearing")
    assert opened_names(alsa) == [NAME]
    shutil.rmtree(kernel_list / "card1")
    alone = make(FakeAlsa({"hw:CARD=Desk,DEV=0": FakeCard()}), leave=line)
    detail_when(alone, "no microphone is there beside the card")


def test_a_card_is_known_by_its_short_name(kernel_list: Path, make: Maker) -> None:
    add_card(kernel_list, 0, "Board", usb=False, device=2)
    alsa = FakeAlsa({"hw:CARD=Board,DEV=2": FakeCard()})
    next_block(make(alsa, device="Board"))


def test_any_other_name_goes_to_alsa_as_it_stands(make: Maker) -> None:
    alsa = FakeAlsa({"my_mixture": FakeCard()})
    microphone = make(alsa, device="my_mixture")
    next_block(microphone)
    assert microphone.status().device == "my_mixture"


def test_a_short_name_that_is_not_plugged_in_is_said_and_asked_for_once(
    kernel_list: Path, make: Maker
) -> None:
    knocker = Doorman()
    unknown = FakeCard(is_plugged=False, open_error="No such file or directory")
    alsa = FakeAlsa({"Device": unknown, "hw:CARD=Device,DEV=0": FakeCard()})
    microphone = make(alsa, device="Device", knocker=knocker)
    said = "the microphone Device is not plugged in (there: Stage); plug it in"
    assert detail_when(microphone, "not plugged in").startswith(said)
    time.sleep(2.5)  # two more knocks, were it asked for once a second
    assert knocker.knocks == [("Device", None)]
    assert microphone.status().detail.startswith(said)
    add_card(kernel_list, 2, "Device", usb=True)
    next_block(microphone)
    assert knocker.knocks == [("Device", None), ("hw:CARD=Device,DEV=0", 2)]


def test_a_name_that_alsa_did_not_know_is_asked_for_again(kernel_list: Path) -> None:
    now_mono_s = [100.0]
    which = WhichCard("mixture", leave="", kernel_list=kernel_list, clock=lambda: now_mono_s[0])
    assert which.name() == "mixture"
    assert "mixture is not plugged in" in str(which.unknown())
    with pytest.raises(MicrophoneError, match="not plugged in"):
        which.name()
    now_mono_s[0] += UNKNOWN_EVERY_S
    assert which.name() == "mixture"
    which.unknown()
    add_card(kernel_list, 2, "Desk", usb=True)  # what it is made of may be there now
    assert which.name() == "mixture"


def test_no_card_at_all_asks_for_one(kernel_list: Path, make: Maker) -> None:
    shutil.rmtree(kernel_list / "card1")
    microphone = make(FakeAlsa({}))
    assert "plug one in" in detail_when(microphone, "no microphone is there")
    assert microphone.status().state == "searching"


# ---------------------------------------------------------------------- pulled, stuck, back


def test_absent_at_boot_then_plugged_in(kernel_list: Path, make: Maker) -> None:
    shutil.rmtree(kernel_list / "card1")
    alsa = FakeAlsa({NAME: FakeCard()})
    microphone = make(alsa)
    time.sleep(0.3)
    assert microphone.status().state == "searching"
    add_card(kernel_list, 1, "Stage", usb=True)
    next_block(microphone)
    status_when(microphone, "hearing")


def test_pulled_and_back_under_another_number(kernel_list: Path, make: Maker) -> None:
    card = FakeCard(script=[period_of(1), FakeAlsaError("No such device")])
    alsa = FakeAlsa({NAME: card})
    microphone = make(alsa)
    heard_mono_s = next_block(microphone).captured_mono_s
    shutil.rmtree(kernel_list / "card1")
    card.is_plugged = False
    lost = status_when(microphone, "lost")
    assert "plug" in lost.detail
    assert heard_mono_s <= lost.since_mono_s <= time.monotonic()
    assert time.monotonic() - lost.since_mono_s < 2.0
    while microphone.read(0.05) is not None:  # what was captured before the plug was pulled
        pass
    add_card(kernel_list, 3, "Stage", usb=True)
    card.is_plugged = True
    assert next_block(microphone).gap
    status_when(microphone, "hearing")
    assert set(opened_names(alsa)) == {NAME}


def test_pulled_many_times_leaves_no_thread_behind(make: Maker) -> None:
    script: list[Any] = []
    for _ in range(5):
        script += [period_of(1), FakeAlsaError("No such device")]
    alsa = FakeAlsa({NAME: FakeCard(script=script)})
    # Threads of earlier tests may still be ending.
    before = set(threading.enumerate())
    microphone = make(alsa)
    awaited(lambda: len(opened_names(alsa)) == 6)
    assert len(set(threading.enumerate()) - before) <= 2
    microphone.close()
    awaited(lambda: set(threading.enumerate()) <= before)


def test_any_exception_is_survived(make: Maker) -> None:
    script = [period_of(1), RuntimeError("a fault nobody foresaw"), period_of(2)]
    microphone = make(FakeAlsa({NAME: FakeCard(script=script)}))
    next_block(microphone)
    assert "nobody foresaw" in status_when(microphone, "lost").detail
    assert next_block(microphone).gap


def test_a_read_that_never_returns_is_noticed_within_a_second(make: Maker) -> None:
    hang = threading.Event()
    alsa = FakeAlsa({NAME: FakeCard(script=[period_of(1), hang, period_of(2)])})
    microphone = make(alsa)
    try:
        captured_mono_s = next_block(microphone).captured_mono_s
        stuck = status_when(microphone, "stuck")
        # 0.8 s and one look of the keeper; the rest is for a busy test machine.
        assert module.STUCK_AFTER_S + module.WATCHED_EVERY_S <= 1.0
        assert stuck.since_mono_s - captured_mono_s < 1.3
        assert "replug" in stuck.detail
        # A second reader takes over while the first still hangs.
        assert next_block(microphone).gap
        status_when(microphone, "hearing")
    finally:
        hang.set()


def test_a_machine_that_stood_still_is_no_card_that_is_stuck(
    make: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    join, stood = threading.Thread.join, threading.Event()

    def stands_still_once(thread: threading.Thread, timeout: float | None = None) -> None:
        if thread.name != "capture" or stood.is_set():
            join(thread, timeout)
            return
        time.sleep(module.STUCK_AFTER_S + 0.4)
        stood.set()  # reader and keeper go on at the same time

    monkeypatch.setattr(threading.Thread, "join", stands_still_once)
    microphone = make(FakeAlsa({NAME: FakeCard(script=[period_of(1), stood, period_of(2)])}))
    assert [next_block(microphone).gap for _ in range(3)] == [False, False, False]
    assert [status.state for status in microphone.said] == ["hearing"]


def test_what_a_stuck_read_delivers_in_the_end_is_not_heard(make: Maker) -> None:
    hang = threading.Event()
    alsa = FakeAlsa({NAME: FakeCard(script=[period_of(1), (hang, period_of(99))])})
    microphone = make(alsa)
    try:
        next_block(microphone)
        status_when(microphone, "stuck")
        next_block(microphone)
        hang.set()
        # The abandoned reader lets go of its device, and its old sound is not among the new.
        awaited(lambda: ("close", NAME) in alsa.calls)
        while (block := microphone.read(0.0)) is not None:
            assert not block.samples.any()
        status_when(microphone, "hearing")
    finally:
        hang.set()


def test_a_device_that_never_begins_is_stuck_too(
    make: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "FIRST_READ_WITHIN_S", 0.4)
    hang = threading.Event()
    microphone = make(FakeAlsa({NAME: FakeCard(script=[hang])}))
    try:
        assert "delivered nothing" in status_when(microphone, "stuck").detail
        next_block(microphone)
    finally:
        hang.set()


def test_a_first_read_that_was_given_up_says_nothing_when_it_returns(
    make: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "FIRST_READ_WITHIN_S", 0.4)
    hangs = [threading.Event(), threading.Event()]
    alsa = FakeAlsa({NAME: FakeCard(script=[(hang, period_of(99)) for hang in hangs])})
    microphone = make(alsa)
    try:
        awaited(lambda: len(opened_names(alsa)) == 2)
        hangs[0].set()
        awaited(lambda: ("close", NAME) in alsa.calls)
        assert {status.state for status in microphone.said} == {"stuck"}
    finally:
        hangs[1].set()


def test_a_device_that_only_says_nothing_yet_is_stuck(make: Maker) -> None:
    microphone = make(FakeAlsa({NAME: FakeCard(script=[period_of(1), *[0] * 400])}))
    next_block(microphone)
    status_when(microphone, "stuck")


def test_hanging_reads_do_not_pile_up(make: Maker, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "FIRST_READ_WITHIN_S", 0.1)
    hangs = [threading.Event() for _ in range(10)]
    alsa = FakeAlsa({NAME: FakeCard(script=hangs)})
    make(alsa)
    try:
        awaited(lambda: len(opened_names(alsa)) == 2)
        time.sleep(1.5)  # two more, were they left behind as they come
        assert len(opened_names(alsa)) == 2
    finally:
        for hang in hangs:
            hang.set()


def test_a_card_that_another_program_holds_is_not_waited_for(make: Maker) -> None:
    """In its default mode alsa-lib waits until it is free (its page "PCM (digital audio)
    interface", "Blocked and non-blocked open"), and the binding keeps the interpreter's lock.
    """
    held = threading.Event()
    alsa = FakeAlsa({NAME: FakeCard(held=held)})
    microphone = make(alsa)
    try:
        assert "stop that program" in detail_when(microphone, "another program holds it")
        assert opened_names(alsa) == []
    finally:
        held.set()
    next_block(microphone)


@pytest.mark.parametrize(
    ("name", "to_do"), [("a_server", "restart the sound server"), (NAME, "plug it in again")]
)
def test_a_device_that_does_not_answer_is_not_opened(make: Maker, name: str, to_do: str) -> None:
    """Its opening would hold the interpreter's lock, and lamp and page would go on with a lie."""
    knocker = Doorman(silent=2)
    alsa = FakeAlsa({name: FakeCard()})
    microphone = make(alsa, device=name, knocker=knocker)
    assert status_when(microphone, "stuck").detail == f"{name} does not answer; {to_do}"
    next_block(microphone)  # it knocks once a second
    assert [knock for knock, _ in knocker.knocks] == [name] * 3
    assert len(opened_names(alsa)) == 1


def test_a_card_that_was_heard_is_knocked_at_at_once(
    make: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "KNOCK_EVERY_S", 600.0)
    microphone = make(FakeAlsa({NAME: FakeCard(script=[period_of(1), FakeAlsaError("gone")])}))
    next_block(microphone)
    assert next_block(microphone).gap


def test_a_card_that_cannot_be_opened_does_not_start_a_process_each_time(
    make: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "KNOCK_EVERY_S", 600.0)
    knocker = Doorman()
    card = FakeCard(is_plugged=False, open_error="Permission denied")
    make(FakeAlsa({NAME: card}), knocker=knocker)
    awaited(lambda: knocker.knocks, PATIENCE_S)
    time.sleep(2.5 * module.SEARCH_EVERY_S)  # two more, were it asked for at each opening
    assert len(knocker.knocks) == 1


def test_a_card_that_we_hold_ourselves_is_no_other_program_s(make: Maker) -> None:
    """A second opening is refused while the first hangs in a read: one substream, one owner."""
    hang, free = threading.Event(), threading.Event()
    card = FakeCard(script=[period_of(1), hang])
    microphone = make(FakeAlsa({NAME: card}))
    try:
        next_block(microphone)
        card.held = free
        detail_when(microphone, "does not answer; plug it in again")
        assert not [one.detail for one in microphone.said if "stop that program" in one.detail]
    finally:
        hang.set()
        free.set()
    status_when(microphone, "hearing")


def test_a_closing_that_never_returns_is_left_behind(
    make: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "FIRST_READ_WITHIN_S", 0.4)
    hang = threading.Event()
    close, hung = FakePcm.close, threading.Event()

    def hangs_once(pcm: FakePcm) -> None:
        if pcm._request["mode"] == FakeAlsa.PCM_NORMAL and not hung.is_set():
            hung.set()
            hang.wait()
        close(pcm)

    monkeypatch.setattr(FakePcm, "close", hangs_once)
    microphone = make(FakeAlsa({NAME: FakeCard(script=[period_of(1), FakeAlsaError("gone")])}))
    try:
        next_block(microphone)
        assert "gone" in status_when(microphone, "lost").detail
        assert next_block(microphone).gap
    finally:
        hang.set()


def test_closing_gives_the_device_back(make: Maker) -> None:
    alsa = FakeAlsa({NAME: FakeCard()})
    microphone = make(alsa)
    next_block(microphone)
    microphone.close()
    assert alsa.calls[-1] == ("close", NAME)


def test_closing_twice_and_while_stuck(make: Maker) -> None:
    hang = threading.Event()
    microphone = make(FakeAlsa({NAME: FakeCard(script=[period_of(1), hang], after="block")}))
    try:
        next_block(microphone)
        begun_mono_s = time.monotonic()
        microphone.close()
        microphone.close()
        assert time.monotonic() - begun_mono_s < 3.5
        assert microphone.read(60.0) is None
        assert time.monotonic() - begun_mono_s < 4.0
    finally:
        hang.set()


# ---------------------------------------------------------------------- automatic gain


@pytest.mark.parametrize("gain", ["none", "turned off", "still on", "unknown"])
def test_what_became_of_the_automatic_gain_is_said_when_it_is_known(make: Maker, gain: str) -> None:
    """A mixer may take its time, or hang: nobody waits for it."""
    knocker = Doorman()
    knocker.gain = None
    microphone = make(FakeAlsa({NAME: FakeCard()}), knocker=knocker)
    next_block(microphone)
    assert status_when(microphone, "hearing").automatic_gain == "unknown"
    assert knocker.knocks == [(NAME, 1)]
    knocker.gain = gain
    awaited(lambda: microphone.status().automatic_gain == gain)
    said = "automatic gain" in microphone.status().detail
    assert said == (gain in ("turned off", "still on"))


# ---------------------------------------------------------------------- loss without a word


def late_blocks(losses: SilentLoss, start_s: float, seconds: float, jitter_s: float) -> float:
    """Deliver in real time with lateness that swings; return what was found missing."""
    found = 0.0
    for number in range(1, round(seconds * 48000 / PERIOD) + 1):
        late_s = jitter_s * (number % 7) / 7
        found += losses.push(PERIOD, start_s + number * PERIOD / 48000 + late_s)
    return found


def test_late_deliveries_are_no_loss() -> None:
    losses = SilentLoss(48000)
    losses.push(PERIOD, 0.0)
    assert late_blocks(losses, 0.0, 30.0, 0.3) == 0.0


def test_a_pause_after_which_everything_comes_late_is_no_loss() -> None:
    losses = SilentLoss(48000)
    losses.push(PERIOD, 0.0)
    late_blocks(losses, 0.0, 5.0, 0.02)
    # 3 s pass, then all 3 s come at once.
    assert sum(losses.push(PERIOD, 8.0) for _ in range(round(3 * 48000 / PERIOD))) == 0.0
    assert late_blocks(losses, 8.0, 5.0, 0.02) == 0.0


def test_sound_that_was_dropped_is_found() -> None:
    losses = SilentLoss(48000)
    losses.push(PERIOD, 0.0)
    late_blocks(losses, 0.0, 5.0, 0.02)
    assert late_blocks(losses, 5.5, 5.0, 0.02) == pytest.approx(0.5, abs=0.05)


@pytest.mark.parametrize(
    ("said_hz", "true_hz", "found_hz"),
    [
        (48000, 44100.0, 44100),
        (44100, 48000.0, 48000),
        (48000, 16000.0, 16000),
        (48000, 48048.0, None),  # 1000 ppm, ten times what a quartz is off
        (48000, 46000.0, None),  # some loss, and no rate that cards have
    ],
)
def test_the_rate_that_a_card_really_has_is_counted(
    said_hz: int, true_hz: float, found_hz: int | None
) -> None:
    rate = TrueRate(said_hz)
    times_s = [n * PERIOD / true_hz + 0.02 * (n % 4) / 4 for n in range(int(11 * true_hz / PERIOD))]
    found = [rate.push(PERIOD, at_s) for at_s in times_s]
    assert {one for one in found if one} == ({found_hz} if found_hz else set())


def test_one_odd_window_is_no_other_rate() -> None:
    rate = TrueRate(48000)
    first = [rate.push(PERIOD, n * PERIOD / 44100) for n in range(int(5.1 * 44100 / PERIOD))]
    then = [rate.push(PERIOD, 5.1 + n * PERIOD / 48000) for n in range(int(30 * 48000 / PERIOD))]
    assert not any(first + then)


def test_a_card_that_says_another_rate_is_followed(
    make: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(TrueRate, "WINDOW_S", 0.5)
    monkeypatch.setattr("firmware.pace.NEAR", 0.2)  # the fake's pace is that of a busy machine
    microphone = make(FakeAlsa({NAME: FakeCard(true_rate_hz=16000)}))
    blocks = [next_block(microphone)]
    while blocks[-1].sample_rate_hz == 48000:
        blocks.append(next_block(microphone))
        assert len(blocks) < 200
    assert (blocks[-1].sample_rate_hz, blocks[-1].gap) == (16000, True)
    assert "16 kHz (the card says 48)" in microphone.status().detail
    assert microphone.status().sample_rate_hz == 16000


def test_a_card_with_a_slow_clock_loses_nothing() -> None:
    losses = SilentLoss(48000)
    losses.push(PERIOD, 0.0)
    # 1000 ppm, ten times what a quartz is off; a minute of it adds up to 60 ms.
    found = sum(losses.push(PERIOD, n * PERIOD / 48000 * 1.001) for n in range(1, 5600))
    assert found == 0.0
