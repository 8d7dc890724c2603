"""The door to the stage's sound: a ceiling, whole packets, and nobody is waited for."""

from __future__ import annotations

import socket
import stat
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from monitor.stage.sound import CEILING, GAIN, MOST_LISTENERS, SoundDoor, softened

BLOCK = np.full(512, 0.01, np.float32)


@pytest.fixture
def door(tmp_path: Path) -> Iterator[SoundDoor]:
    made = SoundDoor(tmp_path / "sound.sock")
    yield made
    made.close()


def listener(tmp_path: Path) -> socket.socket:
    made = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    made.settimeout(10.0)
    made.connect(str(tmp_path / "sound.sock"))
    return made


@pytest.mark.parametrize("peak", [0.1, 0.5, 1.0, 1e6, float("inf"), float("nan")])
def test_nothing_passes_the_ceiling(peak: float) -> None:
    turn = np.sin(np.linspace(0.0, 60.0, 4096)).astype(np.float32)
    with np.errstate(invalid="ignore"):
        out = softened(np.float32(peak) * turn).astype(float) / 32767.0
    assert np.max(np.abs(out)) <= CEILING


def test_quiet_sound_is_only_amplified() -> None:
    quiet = (0.003 * np.sin(np.linspace(0.0, 60.0, 4096))).astype(np.float32)
    out = softened(quiet).astype(float) / 32767.0
    assert out == pytest.approx(quiet * GAIN, abs=1.0 / 32767.0 + 1e-5)


def test_who_connects_hears_and_who_hangs_up_is_forgotten(door: SoundDoor, tmp_path: Path) -> None:
    assert stat.S_IMODE((tmp_path / "sound.sock").stat().st_mode) == 0o660
    door.publish(BLOCK)
    with listener(tmp_path) as one:
        door.publish(BLOCK)
        assert door.listener_count == 1
        packet = one.recv(65536)
        assert np.frombuffer(packet, "<i2").tolist() == softened(BLOCK).tolist()
    door.publish(BLOCK)
    assert door.listener_count == 0


def test_a_listener_that_sleeps_loses_packets_and_holds_up_nobody(
    door: SoundDoor, tmp_path: Path
) -> None:
    with listener(tmp_path) as one:
        began_mono_s = time.monotonic()
        for _ in range(1000):
            door.publish(BLOCK)
        took_s = time.monotonic() - began_mono_s
        assert took_s < 5.0, "publishing waited for somebody"
        kept = 0
        one.setblocking(False)
        while True:
            try:
                assert len(one.recv(65536)) == 2 * len(BLOCK)
            except BlockingIOError:
                break
            kept += 1
        assert kept < 500
        assert kept * len(BLOCK) / 48000 < 1.0  # seconds of sound that can be late
        door.publish(BLOCK)
        assert len(one.recv(65536)) == 2 * len(BLOCK)


def test_more_than_a_few_are_turned_away(door: SoundDoor, tmp_path: Path) -> None:
    inside = []
    for _ in range(MOST_LISTENERS):
        inside.append(listener(tmp_path))
        door.publish(BLOCK)
    with listener(tmp_path) as late:
        door.publish(BLOCK)
        assert late.recv(65536) == b""
    assert door.listener_count == MOST_LISTENERS
    for one in inside:
        one.close()


def test_it_opens_where_a_killed_run_left_its_socket(tmp_path: Path) -> None:
    path = tmp_path / "sound.sock"
    with socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET) as old:
        old.bind(str(path))
    door = SoundDoor(path)
    door.close()
    door.close()
    assert not path.exists()
