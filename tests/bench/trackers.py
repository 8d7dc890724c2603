"""Spectral peak tracking as general libraries offer it, over the windows and hops of the chain.

What they do is a part of what the chain does: the peaks of each hop, exact to a fraction of a
bin (librosa) or to the bin (scipy), without a past, measurements or a decision.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import signal

from monitor.listening.frames import HOP_S, HopBuffer
from monitor.listening.layers import RESOLUTIONS, Resolution
from monitor.listening.spectrum import friendly_length
from monitor.listening.surroundings import OUT_DB

try:
    import librosa
except ModuleNotFoundError:  # an extra of its own; the tables then say that it is missing
    librosa = None

Tracker = Callable[..., int]
"""(samples, sample_rate_hz, window_samples, hop_samples, resolution) to how many peaks."""


def librosa_peaks(
    samples: np.ndarray,
    *,
    sample_rate_hz: int,
    window_samples: int,
    hop_samples: int,
    resolution: Resolution,
) -> int:
    """Peaks by ``librosa.piptrack``, its threshold and window as they come."""
    _, magnitudes = librosa.piptrack(
        y=samples,
        sr=sample_rate_hz,
        n_fft=window_samples,
        hop_length=hop_samples,
        fmin=resolution.lowest_hz,
        fmax=resolution.highest_hz,
        center=False,
    )
    return int(np.count_nonzero(magnitudes))


def scipy_peaks(
    samples: np.ndarray,
    *,
    sample_rate_hz: int,
    window_samples: int,
    hop_samples: int,
    resolution: Resolution,
) -> int:
    """Peaks by ``scipy.signal.stft`` and ``find_peaks``, as prominent as the chain's."""
    frequencies_hz, _, spectra = signal.stft(
        samples,
        fs=sample_rate_hz,
        nperseg=window_samples,
        noverlap=window_samples - hop_samples,
        boundary=None,
        padded=False,
    )
    asked = (frequencies_hz >= resolution.lowest_hz) & (frequencies_hz < resolution.highest_hz)
    levels_db = 20.0 * np.log10(np.abs(spectra[asked]) + 1e-9)
    return sum(len(signal.find_peaks(level_db, prominence=OUT_DB)[0]) for level_db in levels_db.T)


def bare_fft(window: np.ndarray, **_: object) -> int:
    """No peaks at all: numpy's FFT of a window, which no chain that looks hop by hop can spare."""
    np.fft.rfft(window)
    return 0


def trackers() -> dict[str, Tracker]:
    """Those that are installed, by name."""
    found: dict[str, Tracker] = {"scipy": scipy_peaks}
    if librosa is not None:
        found["librosa"] = librosa_peaks
    return found


def whole(tracker: Tracker, samples: np.ndarray, *, sample_rate_hz: int) -> int:
    """All the sound in one call for each resolution; how many peaks."""
    return sum(
        tracker(
            samples,
            sample_rate_hz=sample_rate_hz,
            window_samples=friendly_length(resolution.window_s, sample_rate_hz),
            hop_samples=resolution.stride * round(HOP_S * sample_rate_hz),
            resolution=resolution,
        )
        for resolution in RESOLUTIONS
    )


def hop_by_hop(tracker: Tracker, samples: np.ndarray, *, sample_rate_hz: int) -> int:
    """One call a hop and resolution on the newest window, as who listens live must."""
    lengths = [friendly_length(r.window_s, sample_rate_hz) for r in RESOLUTIONS]
    hops = HopBuffer(window_samples=max(lengths), hop_samples=round(HOP_S * sample_rate_hz))
    peaks = 0
    for hop, window in enumerate(hops.push(samples), start=1):
        for resolution, length in zip(RESOLUTIONS, lengths, strict=True):
            if hop % resolution.stride == 0:
                peaks += tracker(
                    window[-length:],
                    sample_rate_hz=sample_rate_hz,
                    window_samples=length,
                    hop_samples=length,
                    resolution=resolution,
                )
    return peaks
