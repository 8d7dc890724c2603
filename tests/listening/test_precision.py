"""The flagged frequency beside the Cramer-Rao bound, and in cents through the whole chain."""

import math

import numpy as np
import pytest

from tests.bench.precision import (
    MOST_CENTS,
    MOST_OVER_BOUND,
    bound_hz,
    flagged_cents,
    over_bound,
    rms,
)


@pytest.mark.parametrize("n_samples", [512, 4096])
def test_the_bound_is_that_of_the_fisher_information(n_samples):
    """The information matrix of amplitude, phase and frequency, summed and inverted as it is."""
    rate_hz, frequency_hz, amplitude, sigma = 48000.0, 5000.0, 0.3, 0.1
    times_s = np.arange(n_samples) / rate_hz
    angle = 2.0 * math.pi * frequency_hz * times_s + 0.4
    gradient = np.stack(
        [np.sin(angle), amplitude * np.cos(angle), amplitude * np.cos(angle) * 2 * np.pi * times_s]
    )
    variance = np.linalg.inv(gradient @ gradient.T / sigma**2)[2, 2]
    snr_db = 10.0 * math.log10(amplitude**2 / (2.0 * sigma**2))
    bound = bound_hz(sample_rate_hz=rate_hz, n_samples=n_samples, snr_db=snr_db)
    assert bound == pytest.approx(math.sqrt(variance), rel=0.01)


@pytest.mark.parametrize("near_hz", [80.0, 240.0, 400.0, 2000.0, 12000.0])
def test_a_steady_sine_is_named_almost_as_well_as_the_samples_allow(near_hz):
    # 1.53 is what a Hann window can reach; an rms of 240 trials spreads by 5 %.
    errors = [
        over_bound(near_hz, sample_rate_hz=rate_hz, snr_db=snr_db, trials=60)
        for rate_hz in (44100, 48000)
        for snr_db in (-15.0, 40.0)
    ]
    assert 1.0 < rms(np.concatenate(errors)) <= MOST_OVER_BOUND


@pytest.mark.parametrize("rate_hz", [44100, 48000])
@pytest.mark.parametrize("near_hz", [125.0, 300.0, 1000.0, 8000.0])
def test_a_sine_that_grows_out_of_noise_is_flagged_to_a_few_cents(near_hz, rate_hz):
    cents = flagged_cents(near_hz, sample_rate_hz=rate_hz, growth_db_per_s=30.0, seed=5)
    assert set(cents) == {"ringing", "howl"}
    assert max(abs(error) for error in cents.values()) <= MOST_CENTS
