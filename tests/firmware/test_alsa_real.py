"""The microphone through the real alsa-lib and a real sound server, in real time."""

from __future__ import annotations

import time
import wave
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from firmware.fakes import wait_until
from firmware.microphone import AlsaMicrophone
from tests.sound_server import SoundServer, sound_server  # noqa: F401 - a fixture

TONE_HZ = 1000.0
TONE_PEAK = 0.5


@pytest.fixture
def microphone(sound_server: SoundServer) -> Iterator[AlsaMicrophone]:  # noqa: F811
    source = AlsaMicrophone(device=sound_server.device)
    yield source
    sound_server.go_on()
    source.close()


def hears(microphone: AlsaMicrophone) -> bool:
    return microphone.status().state == "hearing"


def blocks_for(microphone: AlsaMicrophone, seconds: float) -> list:
    end_mono_s = time.monotonic() + seconds
    taken = []
    while time.monotonic() < end_mono_s:
        block = microphone.read(0.2)
        if block is not None:
            taken.append(block)
    return taken


def write_tone(path: Path, seconds: float) -> None:
    times_s = np.arange(round(48000 * seconds)) / 48000
    codes = (32767 * TONE_PEAK * np.sin(2 * np.pi * TONE_HZ * times_s)).astype("<i2")
    with wave.open(str(path), "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(48000)
        sound.writeframes(codes.tobytes())


def test_a_tone_arrives_with_its_pitch_and_level(
    microphone: AlsaMicrophone,
    sound_server: SoundServer,  # noqa: F811
    tmp_path: Path,
) -> None:
    write_tone(tmp_path / "tone.wav", 4.0)
    assert wait_until(lambda: hears(microphone), within_s=10.0), microphone.status()
    sound_server.play(tmp_path / "tone.wav")
    blocks = blocks_for(microphone, 2.5)
    assert {block.sample_rate_hz for block in blocks} == {48000}
    assert all(block.samples.dtype == np.float32 for block in blocks)
    heard = np.concatenate([block.samples for block in blocks])[-32768:]
    spectrum = np.abs(np.fft.rfft(heard * np.hanning(len(heard))))
    assert np.argmax(spectrum) * 48000 / len(heard) == pytest.approx(TONE_HZ, abs=1.5)
    # A sine's root mean square is its peak / sqrt(2); on a busy machine the player has holes, which
    # are no matter to the middle one of 32 pieces.
    rms = np.sqrt(np.mean(heard.reshape(32, -1) ** 2, axis=1))
    assert np.median(rms) == pytest.approx(TONE_PEAK / np.sqrt(2), rel=0.05)
    status = microphone.status()
    assert (status.sample_rate_hz, status.channels) == (48000, 1)
    assert "48 kHz" in status.detail


def test_samples_come_in_real_time(microphone: AlsaMicrophone) -> None:
    assert wait_until(lambda: hears(microphone), within_s=10.0)
    blocks_for(microphone, 1.0)
    first, *blocks = blocks_for(microphone, 3.0)
    # By when they were captured: when this thread gets to them is the test machine's business.
    took_s = blocks[-1].captured_mono_s - first.captured_mono_s
    assert sum(len(block.samples) for block in blocks) / 48000 == pytest.approx(took_s, abs=0.3)
    assert took_s > 2.0
    assert microphone.status().dropped_block_count == 0


def test_a_halted_server_is_noticed_and_survived(
    microphone: AlsaMicrophone,
    sound_server: SoundServer,  # noqa: F811
) -> None:
    assert wait_until(lambda: hears(microphone), within_s=10.0)
    blocks_for(microphone, 0.5)
    sound_server.halt()
    halted_mono_s = time.monotonic()
    assert wait_until(lambda: microphone.status().state == "stuck", within_s=10.0)
    print(f"\nhalted server noticed after {time.monotonic() - halted_mono_s:.2f} s")
    assert time.monotonic() - halted_mono_s < 1.5
    # The rest of the program must go on: nothing may hold the interpreter's lock meanwhile.
    beats, last, longest_s = 0, time.monotonic(), 0.0
    while beats < 100:
        time.sleep(0.02)
        now = time.monotonic()
        beats, longest_s, last = beats + 1, max(longest_s, now - last), now
    assert longest_s < 0.5
    sound_server.go_on()
    returned_mono_s = time.monotonic()
    assert wait_until(lambda: hears(microphone), within_s=10.0), microphone.status()
    print(f"hears again {time.monotonic() - returned_mono_s:.2f} s after the server's return")
    assert any(block.gap for block in blocks_for(microphone, 1.0))


def test_a_microphone_that_was_pulled_is_heard_again_within_two_seconds(
    microphone: AlsaMicrophone,
    sound_server: SoundServer,  # noqa: F811
) -> None:
    assert wait_until(lambda: hears(microphone), within_s=10.0)
    took_s = []
    for _ in range(2):
        sound_server.unplug()
        assert wait_until(lambda: microphone.status().state == "lost", within_s=10.0)
        assert "plug" in microphone.status().detail or "server" in microphone.status().detail
        blocks_for(microphone, 0.3)
        sound_server.plug()
        returned_mono_s = time.monotonic()
        block = None
        while block is None and time.monotonic() < returned_mono_s + 10.0:
            block = microphone.read(0.1)
        took_s.append(time.monotonic() - returned_mono_s)
        print(f"\nhears again {took_s[-1]:.2f} s after its return")
        assert block is not None
        assert block.gap
    assert max(took_s) < 2.0


def test_absent_at_boot(sound_server: SoundServer) -> None:  # noqa: F811
    sound_server.unplug()
    source = AlsaMicrophone(device=sound_server.device)
    try:
        time.sleep(0.8)
        assert source.status().state == "searching"
        sound_server.plug()
        assert wait_until(lambda: hears(source), within_s=10.0), source.status()
    finally:
        source.close()


def test_a_server_that_crashed_is_heard_again_within_two_seconds_of_its_return(
    microphone: AlsaMicrophone,
    sound_server: SoundServer,  # noqa: F811
) -> None:
    assert wait_until(lambda: hears(microphone), within_s=10.0)
    took_s = []
    for _ in range(2):
        sound_server.kill()
        assert wait_until(lambda: microphone.status().state == "lost", within_s=10.0)
        blocks_for(microphone, 0.3)
        sound_server.start()
        returned_mono_s = time.monotonic()
        assert wait_until(lambda: hears(microphone), within_s=10.0), microphone.status()
        took_s.append(time.monotonic() - returned_mono_s)
        assert any(block.gap for block in blocks_for(microphone, 0.5))
    assert max(took_s) < 2.0
