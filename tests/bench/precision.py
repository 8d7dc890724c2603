"""How exact the flagged frequency is: a steady sine in noise beside the Cramer-Rao bound.

Run with ``python -m tests.bench.precision``; takes a minute.  The first tables give the rms
error of the chain's own estimator, on the very window it looks at when it flags a line, over the
bound for the same samples.  The last one listens from end to end to sines that grow out of the
noise as a loop does, and gives the error of the flagged frequency in cents.

Conventions
-----------
``snr_db`` is that of all the band: the sine's power A^2/2 over the noise's sigma^2.
"""

from __future__ import annotations

import itertools
import math

import numpy as np

from monitor.listening.layers import RESOLUTIONS, Layer
from monitor.listening.listener import Listener
from monitor.listening.spectrum import SpectrumHistory, line_frequency_hz

FREQUENCIES_HZ = (80.0, 125.0, 220.0, 300.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 12000.0)
SNRS_DB = (-15.0, 0.0, 20.0, 40.0)
"""A line that stands out just enough to be looked at has about -20 dB."""
RATES_HZ = (44100, 48000)
TRIALS = 300
MOST_OVER_BOUND = 1.8
"""The goal.  The maximum of a Hann-windowed spectrum gives 1.53 at best: its variance over the
bound's is (integral of w^2 t^2) / (integral of w t^2)^2 / 12 = 2.34, w from -1/2 to 1/2."""

GROWTHS_DB_PER_S = (10.0, 20.0, 40.0, 80.0)
MEDIAN_CENTS, MOST_CENTS = 2.0, 10.0


def bound_hz(*, sample_rate_hz: float, n_samples: int, snr_db: float) -> float:
    """Least rms error of an unbiased estimate of a steady real sine's frequency in white noise.

    var(f) >= 12 fs^2 / ((2 pi)^2 rho N (N^2 - 1)), rho = A^2 / (2 sigma^2), amplitude and phase
    unknown, the frequency well away from 0 and fs/2 (S. M. Kay, *Fundamentals of Statistical
    Signal Processing: Estimation Theory*, 1993, eq. 3.41; for the complex exponential D. C. Rife,
    R. R. Boorstyn, "Single-tone parameter estimation from discrete-time observations", IEEE
    Trans. Inf. Theory 20(5), 1974).
    """
    rho = 10.0 ** (snr_db / 10.0)
    n = float(n_samples)
    variance = 12.0 * sample_rate_hz**2 / ((2.0 * math.pi) ** 2 * rho * n * (n * n - 1.0))
    return math.sqrt(variance)


def answering_layer(frequency_hz: float, *, sample_rate_hz: int) -> Layer:
    """The resolution that answers for this frequency."""
    for resolution in RESOLUTIONS:
        if resolution.lowest_hz <= frequency_hz < resolution.highest_hz:
            return Layer(resolution, sample_rate_hz)
    raise ValueError(f"no resolution answers for {frequency_hz} Hz")


def over_bound(near_hz: float, *, sample_rate_hz: int, snr_db: float, trials: int) -> np.ndarray:
    """Errors of the chain's estimate over the bound of the same samples, float [trials].

    Each trial draws its own noise, phase and place within the bin.  The guess that the estimator
    starts from is the middle of the highest bin, the worst that the chain can hand it.
    """
    rng = np.random.default_rng([sample_rate_hz, round(near_hz), round(snr_db) + 100])
    layer = answering_layer(near_hz, sample_rate_hz=sample_rate_hz)
    resolution = layer.resolution
    n = layer.window_samples
    # The low end is listened to at a lower rate; for the guess the whole rate says the same.
    history = SpectrumHistory(
        sample_rate_hz=sample_rate_hz,
        window_s=resolution.window_s,
        n_hops=1,
        highest_hz=resolution.kept_hz,
        floor_bins=resolution.floor_bins,
    )
    bins = np.arange(history.n_bins)
    reach = np.abs(bins * history.bin_hz - near_hz) <= 3.0 * history.bin_hz
    times_s = np.arange(n) / sample_rate_hz
    bound = bound_hz(sample_rate_hz=sample_rate_hz, n_samples=n, snr_db=snr_db)
    errors = np.empty(trials)
    for trial in range(trials):
        frequency_hz = near_hz + history.bin_hz * rng.uniform(-0.5, 0.5)
        phase = rng.uniform(0.0, 2.0 * math.pi)
        sine = 0.25 * np.sin(2.0 * math.pi * frequency_hz * times_s + phase)
        sigma = 0.25 / math.sqrt(2.0) * 10.0 ** (-snr_db / 20.0)
        samples = (sine + sigma * rng.standard_normal(n)).astype(np.float32)
        history.push(samples)
        highest = int(np.argmax(np.where(reach, history.power, 0.0)))
        found_hz = line_frequency_hz(
            samples, sample_rate_hz=sample_rate_hz, near_hz=highest * history.bin_hz
        )
        errors[trial] = found_hz - frequency_hz
    return errors / bound


def rms(values: np.ndarray) -> float:
    """Root of the mean square."""
    return float(np.sqrt(np.mean(values**2)))


def growing(
    frequency_hz: float, *, sample_rate_hz: int, growth_db_per_s: float, seed: int
) -> np.ndarray:
    """A sine that climbs along a straight line from 40 dB below the noise, float32 [n].

    White noise of -60 dBFS rms; the sine ends when it stands at -20 dBFS.
    """
    rng = np.random.default_rng(seed)
    start_dbfs, end_dbfs, quiet_s = -100.0, -20.0, 1.0
    n = round((quiet_s + (end_dbfs - start_dbfs) / growth_db_per_s) * sample_rate_hz)
    times_s = np.arange(n) / sample_rate_hz
    level_dbfs = start_dbfs + growth_db_per_s * (times_s - quiet_s)
    sine = 10.0 ** (level_dbfs / 20.0) * np.sin(
        2.0 * math.pi * frequency_hz * times_s + rng.uniform(0.0, 2.0 * math.pi)
    )
    noise = 10.0 ** (-60.0 / 20.0) * rng.standard_normal(n)
    return (np.where(times_s < quiet_s, 0.0, sine) + noise).astype(np.float32)


def flagged_cents(
    near_hz: float, *, sample_rate_hz: int, growth_db_per_s: float, seed: int
) -> dict[str, float]:
    """Error of the flagged frequency, in cents by degree; what was not flagged is missing."""
    frequency_hz = near_hz * 2.0 ** np.random.default_rng(seed).uniform(-0.02, 0.02)
    samples = growing(
        frequency_hz, sample_rate_hz=sample_rate_hz, growth_db_per_s=growth_db_per_s, seed=seed
    )
    listener = Listener(sample_rate_hz=sample_rate_hz)
    cents: dict[str, float] = {}
    for event in listener.push(samples):
        error = 1200.0 * math.log2(event.ring.frequency_hz / frequency_hz)
        if event.kind != "closed" and abs(error) < 100.0:
            cents.setdefault(event.kind, error)
    return cents


def print_steady() -> None:
    """Print the table of steady sines."""
    print(
        f"steady sine in white noise: rms error over the Cramer-Rao bound, {TRIALS} trials a cell"
    )
    print("     rate   frequency  " + "".join(f"{snr:7.0f} dB" for snr in SNRS_DB))
    worst = 0.0
    for rate_hz, near_hz in itertools.product(RATES_HZ, FREQUENCIES_HZ):
        ratios = [
            rms(over_bound(near_hz, sample_rate_hz=rate_hz, snr_db=snr_db, trials=TRIALS))
            for snr_db in SNRS_DB
        ]
        worst = max(worst, *ratios)
        cells = "".join(f"{ratio:10.2f}" for ratio in ratios)
        print(f"{rate_hz:6d} Hz  {near_hz:7.0f} Hz  {cells}", flush=True)
    # The ratio of an rms from n trials itself spreads by 1 / sqrt(2 n).
    spread = 1.0 / math.sqrt(2.0 * TRIALS)
    print(f"worst {worst:.2f}, goal {MOST_OVER_BOUND}; each is uncertain by {100.0 * spread:.0f} %")


def print_growing() -> None:
    """Print the table of growing sines through the whole chain."""
    print("sine growing out of noise, set, whole chain: error of the flagged frequency in cents")
    print("     rate   degree    flagged of   median     95 %      max")
    for rate_hz in RATES_HZ:
        found = [
            flagged_cents(near_hz, sample_rate_hz=rate_hz, growth_db_per_s=growth, seed=seed)
            for seed, (growth, near_hz) in enumerate(
                itertools.product(GROWTHS_DB_PER_S, FREQUENCIES_HZ)
            )
        ]
        for degree in ("ringing", "howl"):
            cents = np.abs([one[degree] for one in found if degree in one])
            if len(cents) == 0:
                print(f"{rate_hz:6d} Hz  {degree:8s}  none of {len(found)}")
                continue
            print(
                f"{rate_hz:6d} Hz  {degree:8s}  {len(cents):3d} of {len(found):3d}"
                f"{np.median(cents):9.2f}{np.quantile(cents, 0.95):9.2f}{cents.max():9.2f}"
            )
    print(f"goal: median {MEDIAN_CENTS:.0f}, 95 % {MOST_CENTS:.0f}")


def main() -> None:
    """Print both tables."""
    print_steady()
    print_growing()


if __name__ == "__main__":
    main()
