"""The resolutions at which the sound is looked at: one spectrum history and its candidates each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.listening.evidence import HISTORY_HOPS, Candidates, Evidence
from monitor.listening.frames import HOP_S
from monitor.listening.spectrum import SpectrumHistory


@dataclass(frozen=True, slots=True)
class Resolution:
    """One window length: what it answers for and how often it looks (every ``stride`` hops)."""

    window_s: float
    stride: int
    lowest_hz: float
    highest_hz: float
    kept_hz: float
    floor_bins: int


RESOLUTIONS = (
    # A third octave at 100 Hz is 23 Hz wide: two lines in it need the long window.
    Resolution(0.1707, 2, 60.0, 250.0, 1100.0, 12),
    Resolution(0.0853, 1, 250.0, 12500.0, 20000.0, 20),
)


class Layer:
    """One resolution at one sample rate."""

    def __init__(self, resolution: Resolution, sample_rate_hz: float) -> None:
        self.resolution = resolution
        self.hop_s = resolution.stride * HOP_S
        self.history = SpectrumHistory(
            sample_rate_hz=sample_rate_hz,
            window_s=resolution.window_s,
            n_hops=HISTORY_HOPS,
            highest_hz=resolution.kept_hz,
            floor_bins=resolution.floor_bins,
        )
        self.evidence = Evidence(
            self.history,
            hop_s=self.hop_s,
            lowest_hz=resolution.lowest_hz,
            highest_hz=min(resolution.highest_hz, 0.45 * sample_rate_hz),
        )

    def reset(self) -> None:
        """Forget what was heard."""
        self.history.reset()
        self.evidence.reset()

    def look(self, window: np.ndarray) -> Candidates | None:
        """Take in the newest samples [>= window_samples]; return the lines that stand out."""
        self.history.push(window)
        return self.evidence.find()
