"""The bench of poor microphones: each does to the sound what its name says."""

from __future__ import annotations

import numpy as np
import pytest

from tests.bench import microphones

RATE_HZ = 48000
T = np.arange(3 * RATE_HZ) / RATE_HZ


def sine(frequency_hz: float, level_dbfs: float) -> np.ndarray:
    peak = 10.0 ** (level_dbfs / 20.0)
    return (peak * np.sin(2.0 * np.pi * frequency_hz * T)).astype(np.float32)


def level_dbfs(samples: np.ndarray) -> float:
    """Of the last second, as of a sine."""
    return 10.0 * np.log10(2.0 * np.mean(np.square(samples[-len(samples) // 3 :], dtype=float)))


@pytest.mark.parametrize("name", microphones.MICROPHONES)
def test_a_microphone_gives_sound_that_can_be_listened_to(name: str) -> None:
    heard, rate_hz = microphones.MICROPHONES[name](sine(1000.0, -20.0), RATE_HZ)
    assert heard.dtype == np.float32
    assert len(heard) / rate_hz == pytest.approx(3.0)
    if name.startswith(("clipped", "set", "automatic")):
        assert np.abs(heard).max() <= 1.0


@pytest.mark.parametrize("over_db", [6.0, 18.0])
def test_clipping_cuts_as_much_of_a_sine_as_lies_over_full_scale(over_db: float) -> None:
    heard, _ = microphones.clipped(over_db)(sine(997.0, -30.0), RATE_HZ)
    # A sine is over x of its peak for 2 / pi * arccos(x) of the time.
    over = 2.0 / np.pi * np.arccos(10.0 ** (-over_db / 20.0))
    assert np.mean(np.abs(heard) == 1.0) == pytest.approx(over, abs=0.01)


def test_a_gain_too_low_leaves_a_few_steps_of_16_bits() -> None:
    heard, _ = microphones.quiet(sine(997.0, -10.0), RATE_HZ)
    steps = heard * 32768.0
    assert np.array_equal(steps, np.round(steps))
    assert steps.max() == pytest.approx(32768.0 * 10.0 ** (-55.0 / 20.0), abs=0.5)


@pytest.mark.parametrize("from_dbfs", [-45.0, -6.0])
def test_automatic_gain_brings_loud_and_quiet_to_the_same(from_dbfs: float) -> None:
    heard, _ = microphones.levelled(sine(997.0, from_dbfs), RATE_HZ)
    # Its level is that of the root mean square, 3 dB below a sine's.
    assert level_dbfs(heard) - 3.01 == pytest.approx(microphones.LEVELLED_DBFS, abs=1.0)


@pytest.mark.parametrize(
    ("through", "frequency_hz", "change_db"),
    [
        # Butterworth, second order: 3.01 dB down at the corner, 12.3 dB an octave below it.
        (microphones.thin, 250.0, -3.01),
        (microphones.thin, 125.0, -12.3),
        (microphones.thin, 4000.0, 0.0),
        (microphones.peaked, 4000.0, 12.0),
        (microphones.peaked, 200.0, 0.0),
    ],
)
def test_what_a_capsule_does_to_a_frequency(
    through: microphones.Through, frequency_hz: float, change_db: float
) -> None:
    heard, _ = through(sine(frequency_hz, -20.0), RATE_HZ)
    assert level_dbfs(heard[: 2 * RATE_HZ]) + 20.0 == pytest.approx(change_db, abs=0.1)


def test_a_slow_card_has_nothing_above_half_its_rate() -> None:
    for frequency_hz, is_there in ((1000.0, True), (12000.0, False)):
        heard, rate_hz = microphones.slow(sine(frequency_hz, -20.0), RATE_HZ)
        assert rate_hz == 16000
        assert (level_dbfs(heard) > -21.0) == is_there
        assert (level_dbfs(heard) < -60.0) != is_there
