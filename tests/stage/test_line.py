"""The practice desk's line: its level, what is in it beside the voice, and the input gain."""

from __future__ import annotations

import threading
from contextlib import closing

import numpy as np
import pytest

from firmware.ports import AudioBlock
from monitor.adviser.practice_desk import desk_stands
from monitor.stage.line import GAIN_MAX_DB, StageLine, stage_rumble
from monitor.stage.loop import StageLoop
from monitor.stage.performer import Performer
from monitor.stage.scenario import DEFAULT_ROOM
from monitor.stage.source import StageMicrophone

RATE_HZ = 48000


def lined(seconds: float, *, gain_db: float = 0.0, fader_db: float = -12.0) -> np.ndarray:
    loop = StageLoop(room=DEFAULT_ROOM, programme="song", seed=1)
    loop.line = StageLine(sample_rate_hz=RATE_HZ, seed=1)
    loop.input_db, loop.fader_db = gain_db, fader_db - gain_db
    loop.process(int(seconds * RATE_HZ))
    return loop.line.take()


def db(value: float) -> float:
    return float(20.0 * np.log10(value))


def loud_peaks_dbfs(samples: np.ndarray) -> float:
    """The peak that one 50 ms in a hundred passes: what a person reads off a peak meter."""
    pieces = np.abs(samples[: len(samples) // 2400 * 2400]).reshape(-1, 2400).max(axis=1)
    return db(float(np.quantile(pieces, 0.99)))


def test_loud_singing_peaks_near_9_dbfs_and_nothing_clips() -> None:
    samples = lined(20.0)
    assert samples.dtype == np.float32
    assert len(samples) >= 20.0 * RATE_HZ
    assert loud_peaks_dbfs(samples) == pytest.approx(-9.0, abs=1.5)
    assert np.abs(samples).max() < 0.7


def test_the_input_gain_is_decibels_in_line_and_loop() -> None:
    plain, quiet = lined(2.0), lined(2.0, gain_db=-6.0)
    # The fader makes up for it, so that what comes back is the same.
    assert quiet == pytest.approx(plain * 10.0 ** (-6.0 / 20.0), abs=2e-3)
    loop = StageLoop(room=DEFAULT_ROOM, programme="silence")
    before_db, at = loop.margin_db(), np.array([1000.0])
    answer = np.abs(loop.loop_response(at))
    loop.input_db = 5.0
    assert before_db - loop.margin_db() == pytest.approx(5.0)
    assert db(float((np.abs(loop.loop_response(at)) / answer)[0])) == pytest.approx(5.0)
    assert loop.critical(1)[0].margin_db == pytest.approx(before_db - 5.0, abs=0.05)


def test_too_much_gain_clips_at_full_scale() -> None:
    samples = lined(4.0, gain_db=GAIN_MAX_DB)
    assert np.abs(samples).max() == 1.0
    assert np.count_nonzero(np.abs(samples) == 1.0) > 100


def test_hum_and_rumble_are_there_and_quiet() -> None:
    rumble = stage_rumble(RATE_HZ, 1)
    seconds = len(rumble) // RATE_HZ
    level = np.abs(np.fft.rfft(rumble)) / (len(rumble) / 2.0)
    assert db(float(level[50 * seconds])) == pytest.approx(-58.0, abs=1.0)
    assert db(float(level[150 * seconds])) == pytest.approx(-62.0, abs=1.0)
    assert db(float(np.abs(rumble).max())) < -20.0
    # Most of it lies below any voice.
    power = level**2
    assert power[: 80 * seconds].sum() > 0.95 * power.sum()
    assert np.array_equal(rumble, stage_rumble(RATE_HZ, 1))
    assert not np.array_equal(rumble, stage_rumble(RATE_HZ, 2))
    # Round and round without a step.
    assert abs(float(rumble[0]) - float(rumble[-1])) < 2.0 * float(np.abs(np.diff(rumble)).max())


def test_close_up_is_the_same_voice_at_the_same_time() -> None:
    performer = Performer("song", sample_rate_hz=48000, seed=1)
    far = [performer.read(n) for n in (1000, 48000, 96000)]
    close = performer.close_up(96000)
    assert np.corrcoef(far[-1], close)[0, 1] > 0.8
    spectrum = np.fft.rfft(far[-1], 1 << 18) * np.conj(np.fft.rfft(close, 1 << 18))
    assert int(np.argmax(np.fft.irfft(spectrum))) == 0  # neither earlier nor later


def test_the_line_costs_the_loop_nothing_of_its_sound() -> None:
    with_line, without = (StageLoop(room=DEFAULT_ROOM, seed=3) for _ in range(2))
    with_line.line = StageLine(sample_rate_hz=RATE_HZ, seed=3)
    assert np.array_equal(with_line.process(RATE_HZ), without.process(RATE_HZ))


def small_stage() -> StageMicrophone:
    return StageMicrophone(loop=StageLoop(room=DEFAULT_ROOM, programme="talk"))


def test_the_stage_hands_out_its_line_block_by_block() -> None:
    with closing(small_stage()) as stage:
        got: list[AudioBlock] = []
        enough = threading.Event()

        def take(block: AudioBlock) -> None:
            got.append(block)
            if len(got) == 20:
                enough.set()

        stage.tap_line(take)
        assert enough.wait(10.0)
        stage.tap_line(None)
        assert got[0].gap
        assert not any(block.gap for block in got[1:20])
        assert {block.sample_rate_hz for block in got} == {RATE_HZ}
        assert all(block.samples.dtype == np.float32 for block in got)
        seen = len(got)
        for _ in range(20):
            assert stage.read(1.0) is not None
        assert len(got) <= seen + 1  # one may have been on its way


def test_the_gain_handle() -> None:
    with closing(small_stage()) as stage:
        state = stage.state()
        assert (state["gain_db"], state["gain_min_db"], state["gain_max_db"]) == (0.0, -20.0, 20.0)
        highest_db = state["fader_max_db"]
        assert stage.control({"gain_db": -5.0})["gain_db"] == -5.0
        assert stage.state()["fader_max_db"] == highest_db + 5.0
        stage.control({"fader_db": highest_db + 5.0})
        assert stage.control({"gain_db": 0})["fader_db"] == highest_db
        for bad in (-20.5, 21, float("nan"), True, "3"):
            with pytest.raises(ValueError, match="gain_db="):
                stage.control({"gain_db": bad})
        assert stage.state()["gain_db"] == 0.0


def test_for_the_advice_the_input_gain_counts_like_the_fader() -> None:
    with closing(small_stage()) as stage:
        stage.control({"fader_db": -10.0})
        before = desk_stands(stage.state(), 31)
        after = desk_stands(stage.control({"gain_db": 4.0}), 31)
        assert before is not None
        assert after is not None
        assert (before.fader_db, after.fader_db) == (-10.0, -6.0)


def test_carrying_things_leaves_the_singer_s_channel_as_it_is() -> None:
    with closing(small_stage()) as stage:
        got: list[AudioBlock] = []
        stage.tap_line(got.append)
        stage.control({"gain_db": -7.0})
        stage.control({"placement": "well forward"})
        while stage.state()["placement"] != "well forward":
            assert stage.read(5.0) is not None
        assert stage.state()["gain_db"] == -7.0
        assert stage.plan()["loudspeaker"][0]["y"] == 4.9
        seen = len(got)
        for _ in range(5):
            assert stage.read(5.0) is not None
        assert len(got) > seen
