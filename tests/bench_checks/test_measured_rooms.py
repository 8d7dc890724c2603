"""The bench that rings measured rooms: what it makes of a response, and of files that are none."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

from tests.bench import measured_rooms
from tests.bench.replay import PLAIN

RATE_HZ = 48000


@pytest.fixture
def room(tmp_path: Path) -> Path:
    """A made-up room of 0.3 s at 32 kHz, its sound 0.1 s after the file's beginning."""
    t = np.arange(16000) / 32000.0
    tail = np.random.default_rng(2).standard_normal(len(t)) * 10.0 ** (-3.0 * t / 0.3)
    tail[0] = 8.0
    samples = np.concatenate((np.zeros(3200), tail))
    path = tmp_path / "room.wav"
    wavfile.write(path, 32000, (samples / 9.0 * 32767).astype(np.int16))
    return path


def test_a_response_begins_with_its_direct_sound_at_any_rate(room: Path) -> None:
    for rate_hz in (44100, RATE_HZ):
        samples = measured_rooms.impulse(room, rate_hz)
        assert np.abs(samples).max() == 1.0
        assert int(np.argmax(np.abs(samples))) == pytest.approx(rate_hz / 2000, abs=1)
        # The fall of 60 dB in 0.3 s is that of the file.
        parts = [samples[int(a * rate_hz) :][: rate_hz // 20] for a in (0.05, 0.15)]
        fall_db = 10.0 * np.log10(np.mean(parts[1] ** 2) / np.mean(parts[0] ** 2))
        assert fall_db == pytest.approx(-20.0, abs=1.5)


def test_nothing_comes_back_before_the_way_is_gone(room: Path) -> None:
    impulse = measured_rooms.impulse(room, RATE_HZ)
    made = measured_rooms.responses_in(impulse, RATE_HZ, np.random.default_rng(4))
    for response in (made.feedback, made.covered, made.box):
        assert not response[: int(made.shortest_s * RATE_HZ)].any()
    assert np.sum(made.feedback.astype(np.float64) ** 2) == pytest.approx(1.0, rel=1e-4)


def test_a_run_is_scored_for_every_detector(room: Path) -> None:
    result = measured_rooms.score_in(room, measured_rooms.SEEDS_FROM)
    assert result.facts.onset_s is not None
    assert {name for name, move in result.scores if move == PLAIN} == {
        "soundcheck",
        "set",
        "hand rule",
    }


@pytest.mark.parametrize("content", [b"", b"no sound at all", None])
def test_a_file_that_is_no_response_is_refused_in_one_line(
    content: bytes | None,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    path = tmp_path / "odd.wav"
    if content is None:
        wavfile.write(path, RATE_HZ, np.zeros(100, np.int16))
    else:
        path.write_bytes(content)
    monkeypatch.setattr(sys, "argv", ["measured_rooms", str(path)])
    assert measured_rooms.main() == 1
    said = capsys.readouterr().err
    assert str(path) in said
    assert said.count("\n") == 1
