"""What training learns from, against what the listening chain finds live in the same sound."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.listening.layers import RESOLUTIONS
from monitor.listening.scorer import Scorers
from tests.bench.lines import follower, found_in
from tests.bench.material import at_rate, tones
from tests.bench.rows import followed, rows_of_looks
from tests.bench.sources import (
    RATES_HZ,
    TAIL_S,
    rung_on,
    some_rate_hz,
    streams_of_several,
    streams_without_feedback,
)
from tests.bench.streams import FEEDBACK, OWN, UNSAID, read_streams, save_streams


def sound(rate_hz: int) -> np.ndarray:
    """Beeps, then a line that climbs out of noise."""
    t = np.arange(int(5.0 * 48000)) / 48000
    line = 10.0 ** ((-70.0 + 12.0 * t) / 20.0) * np.sin(2 * np.pi * 1234.0 * t)
    beeps = tones(5, seconds=5.0)[: len(t)]
    return at_rate((line + 0.3 * beeps).astype(np.float32), 48000, rate_hz)


@pytest.mark.parametrize("rate_hz", [48000, 44100, 16000])
def test_what_is_followed_in_a_stream_is_what_is_followed_live(rate_hz):
    scorer = Scorers.packaged().look
    samples = sound(rate_hz)
    live: dict[int, list[tuple[np.ndarray, np.ndarray]]] = {0: [], 1: []}
    for layer, _, suspected in found_in(samples, sample_rate_hz=rate_hz, eye=follower(scorer)):
        number = RESOLUTIONS.index(layer.resolution)
        live[number].append((suspected.bins, suspected.features))
    assert sum(len(of) for of in live.values()) > 50
    for number, stream in enumerate(streams_without_feedback(samples, rate_hz)):
        again = [(one.bins, one.features) for _, one, _ in followed(stream, scorer)]
        assert [bins.tolist() for bins, _ in again] == [bins.tolist() for bins, _ in live[number]]
        for (_, features), (_, expected) in zip(again, live[number], strict=True):
            np.testing.assert_allclose(features, expected, rtol=1e-4, atol=2e-3)


def test_streams_are_read_as_they_were_written(tmp_path):
    streams = streams_without_feedback(sound(48000), 48000)
    save_streams(streams, tmp_path / "one.npz")
    for read, written in zip(read_streams(tmp_path / "one.npz"), streams, strict=True):
        assert (read.resolution, read.looks) == (written.resolution, written.looks)
        assert read.bin_hz == pytest.approx(written.bin_hz)
        np.testing.assert_array_equal(read.candidates.features, written.candidates.features)
        np.testing.assert_array_equal(read.label, written.label)


def test_lines_that_climb_together_are_feedback_and_once_they_stand_nothing_is_said():
    streams = streams_of_several(3)
    labels = np.concatenate([stream.label for stream in streams])
    assert (labels == FEEDBACK).sum() > 20
    assert (labels == UNSAID).sum() > 20
    assert not (labels == OWN).any()


def test_of_what_is_no_feedback_a_part_is_taken_and_counts_for_the_whole():
    stream = streams_without_feedback(sound(48000), 48000)[1]
    features, labels, weights = rows_of_looks(stream, np.random.default_rng(1))
    assert len(features) < 0.5 * len(stream.label)
    assert not labels.any()
    assert weights.sum() == pytest.approx(len(stream.label), rel=0.25)


def test_all_rates_come():
    rng = np.random.default_rng(1)
    drawn = [some_rate_hz(rng) for _ in range(300)]
    assert {rate: drawn.count(rate) / 300 for rate in RATES_HZ} == pytest.approx(RATES_HZ, abs=0.1)


def test_a_response_rings_on_as_its_room_does_without_a_seam():
    """60 dB in the reverberation time, which is what it means (ISO 3382-1)."""
    rng = np.random.default_rng(1)
    rate_hz, t60_s = 16000, 2.0
    n = int(0.6 * rate_hz)
    cut = rng.standard_normal(n) * 10.0 ** (-3.0 * np.arange(n) / rate_hz / t60_s)
    fade = n // 10
    cut[-fade:] *= np.cos(np.linspace(0.0, np.pi / 2.0, fade)) ** 2
    tail = rng.standard_normal(int(TAIL_S * rate_hz))
    whole = rung_on(cut, tail, rate_hz, t60_s).astype(float)
    np.testing.assert_array_equal(whole[: n - fade], cut[: n - fade])
    level_db = [
        10.0 * np.log10(np.mean(part**2)) for part in np.split(whole[: int(1.4 * rate_hz)], 14)
    ]
    # 3 dB each tenth of a second, where it was cut too; a tenth of noise is sure to 0.5 dB.
    np.testing.assert_allclose(np.diff(level_db), -3.0, atol=1.0)
