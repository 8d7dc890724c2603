"""Mains hum that swells is no ring, a ring beside it is one; what nobody hears hides no ring."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from monitor.listening.listener import Listener
from monitor.listening.rings import RingEvent, Way
from tests.listening.maker import Maker

RATE_HZ = 48000
ORDERS = range(1, 16)
WAYS: tuple[Way, ...] = ("soundcheck", "set")
TEN_CENTS = 2.0 ** (10.0 / 1200.0) - 1.0
"""How far a howl's frequency may be off when it is told (docs/listening.md)."""


def swelling_hum(maker: Maker, mains_hz: float, *, fade_s: float, level_dbfs: float) -> None:
    """Every harmonic at a level of its own, all of them faded up together from the second second.

    That the mains' harmonics stand at whole multiples of one frequency, 50 Hz +-1 % or 60 Hz, is
    EN 50160 (from memory); that a channel's fader is opened over seconds is common practice.
    """
    with np.errstate(divide="ignore"):
        swell_db = 40.0 * np.log10(np.clip((maker.t - 2.0) / fade_s, 0.0, 1.0))
    for order in ORDERS:
        own_db = 20.0 * np.log10(maker.rng.uniform(0.1, 1.0) / order)
        maker.add_tone(order * mains_hz, level_dbfs + own_db + swell_db)


def heard(sound: np.ndarray, way: Way) -> list[RingEvent]:
    return Listener(sample_rate_hz=RATE_HZ, way=way).push(np.asarray(sound, np.float32))


def climbing(maker: Maker, frequency_hz: float, *, to_dbfs: float, from_s: float = 4.0) -> None:
    """A loop's line: out of nothing by 20 dB/s, then at its end stop."""
    maker.add_tone(frequency_hz, np.minimum(-100.0 + 20.0 * (maker.t - from_s), to_dbfs))


@cache
def hum_in_noise(mains_hz: float, seed: int) -> np.ndarray:
    maker = Maker(sample_rate_hz=RATE_HZ, seconds=12.0, seed=seed)
    swelling_hum(maker, mains_hz, fade_s=6.0, level_dbfs=-26.0)
    maker.add_noise(-80.0)
    return np.asarray(maker.sound, np.float32)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("mains_hz", [49.95, 60.0])
def test_a_hum_that_swells_is_no_howl(mains_hz: float, way: Way) -> None:
    for seed in range(4):
        events = heard(hum_in_noise(mains_hz, seed), way)
        assert [e.ring.frequency_hz for e in events if e.kind == "howl"] == []


@pytest.mark.parametrize("frequency_hz", [637.0, 315.0])
def test_a_ring_beside_a_hum_is_a_howl(frequency_hz: float) -> None:
    maker = Maker(sample_rate_hz=RATE_HZ, seconds=10.0, seed=3)
    swelling_hum(maker, 50.0, fade_s=0.1, level_dbfs=-40.0)
    maker.add_noise(-80.0)
    climbing(maker, frequency_hz, to_dbfs=-20.0)
    howls = [e.ring.frequency_hz for e in heard(maker.sound, "set") if e.kind == "howl"]
    # Told early, while its neighbour in the hum, 13 or 15 Hz away, is as loud.
    assert howls == pytest.approx([frequency_hz], rel=TEN_CENTS)


def test_a_ring_on_the_grid_is_a_howl_once_it_stands_far_above_the_hum() -> None:
    maker = Maker(sample_rate_hz=RATE_HZ, seconds=10.0, seed=3)
    swelling_hum(maker, 50.0, fade_s=0.1, level_dbfs=-50.0)
    maker.add_noise(-80.0)
    climbing(maker, 650.0, to_dbfs=-10.0)
    howls = [e.ring.frequency_hz for e in heard(maker.sound, "set") if e.kind == "howl"]
    assert howls == pytest.approx([650.0], abs=1.0)


@cache
def howl_s(beside: str) -> float:
    """When a quiet ring is called a howl, with nothing ("") or something beside it: the median."""
    return float(np.median([_howl_s(beside, seed) for seed in range(5, 10)]))


def _howl_s(beside: str, seed: int) -> float:
    maker = Maker(sample_rate_hz=RATE_HZ, seconds=10.0, seed=seed)
    maker.add_noise(-70.0)
    climbing(maker, 1234.0, to_dbfs=-38.0)
    if beside == "offset":
        maker.sound += 0.2
    elif beside == "rumble":
        slow = maker.noise(-6.0)
        maker.sound += 0.1 * np.convolve(slow, np.hanning(4800) / 2400.0, mode="same")
    elif beside == "whistle of a supply":
        maker.add_tone(17000.0, -10.0)
    howls = [e for e in heard(maker.sound, "set") if e.kind == "howl"]
    assert [e.ring.frequency_hz for e in howls] == pytest.approx([1234.0], rel=TEN_CENTS)
    return howls[0].at_s


@pytest.mark.parametrize("beside", ["offset", "rumble", "whistle of a supply"])
def test_what_nobody_hears_delays_no_howl(beside: str) -> None:
    """A quiet ring is found as soon as without it: it is judged beside what can be heard."""
    # Some hops: what an offset or a rumble leaves of its window's foot is part of the floor.
    # A rumble has it five hops of 21 ms sooner; sooner than that nobody has looked into.
    assert -0.12 < howl_s(beside) - howl_s("") < 0.1


def test_a_howl_has_the_band_of_its_own_frequency() -> None:
    """Border of 315 and 400 Hz: 10^(25.5 / 10) = 354.8 Hz (IEC 61260-1); what is called ringing
    early may be some cents off, on the other side."""
    border_hz = 10.0**2.55
    for cents in range(-8, 9, 2):
        maker = Maker(sample_rate_hz=RATE_HZ, seconds=8.0, seed=cents + 50)
        maker.add_noise(-60.0)
        climbing(maker, border_hz * 2.0 ** (cents / 1200.0), to_dbfs=-20.0, from_s=1.0)
        for event in heard(maker.sound, "soundcheck"):
            below = event.ring.frequency_hz < border_hz
            assert event.ring.band.label == ("315" if below else "400")
