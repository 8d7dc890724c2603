"""One pass for many thresholds gives what as many listeners would."""

from __future__ import annotations

import math
from typing import get_args

import numpy as np
import pytest

from monitor.listening.listener import Listener
from monitor.listening.rings import Way
from tests.bench.replay import MOVES, PLAIN, listen, moved
from tests.bench.scoring import episodes

RATE_HZ = 16000


def ringing_room() -> np.ndarray:
    """Two lines that grow out of noise along straight lines in dB, and end."""
    rng = np.random.default_rng(5)
    t = np.arange(6 * RATE_HZ) / RATE_HZ
    x = 1e-3 * rng.standard_normal(len(t))
    for hz, begin_s in ((180.0, 1.0), (1900.0, 1.5)):
        level_db = np.minimum(-80.0 + 30.0 * (t - begin_s), -14.0)
        x += (t > begin_s) * (t < 4.5) * 10.0 ** (level_db / 20.0) * np.sin(2 * np.pi * hz * t)
    return x.astype(np.float32)


@pytest.mark.parametrize("way", get_args(Way))
def test_each_move_is_a_listener_of_its_own(way: Way) -> None:
    samples = ringing_room()
    found = listen(samples, sample_rate_hz=RATE_HZ, way=way)
    assert set(found) == set(MOVES)
    for move in (MOVES[0], PLAIN, MOVES[-1]):
        listener = Listener(sample_rate_hz=RATE_HZ, way=way)
        listener._thresholds = moved(listener._thresholds, move)
        alone = episodes(listener.push(samples))
        assert sorted(found[move], key=str) == sorted(alone, key=str)
    assert {round(ring.frequency_hz, -1) for ring in found[PLAIN]} == {180.0, 1900.0}


def test_asking_for_more_takes_longer() -> None:
    found = listen(ringing_room(), sample_rate_hz=RATE_HZ, way="set")
    first_s = [
        min((ring.howl_s for ring in found[move] if ring.howl_s is not None), default=math.inf)
        for move in MOVES
    ]
    assert first_s == sorted(first_s)
    assert first_s[0] < first_s[-1]
