"""The resolutions at which the sound is looked at: one spectrum history and its candidates each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.listening.decimate import LowEnd
from monitor.listening.evidence import Candidates, Evidence, kept_hops, phase_hops
from monitor.listening.frames import HOP_S
from monitor.listening.onset import Onset
from monitor.listening.spectrum import DB_TO_NEPERS, SpectrumHistory, friendly_length


@dataclass(frozen=True, slots=True)
class Resolution:
    """One window length: what it answers for and how often it looks (every ``stride`` hops)."""

    window_s: float
    stride: int
    lowest_hz: float
    highest_hz: float
    kept_hz: float
    floor_bins: int

    @property
    def hop_s(self) -> float:
        """Time between two looks, before it is rounded to samples."""
        return self.stride * HOP_S


RESOLUTIONS = (
    # A third octave at 100 Hz is 23 Hz wide: two lines in it need the long window.
    # The ranges overlap by a bin, so that no line falls between them.
    Resolution(0.1707, 2, 60.0, 256.0, 1100.0, 12),
    Resolution(0.0853, 1, 250.0, 12500.0, 20000.0, 20),
)


TRACE_S = 3.0
"""How far back a line's level can be read: a slow loop climbs for seconds before it is flagged."""
_ROOM = 5.0
"""A lower rate must be this many times the highest frequency kept: what folds then has more than
half the band to be filtered out in."""


class Layer:
    """One resolution at one sample rate.

    ``window_samples`` is the length of its window in samples of that rate.
    """

    def __init__(self, resolution: Resolution, sample_rate_hz: float) -> None:
        self.resolution = resolution
        self.window_samples = friendly_length(resolution.window_s, sample_rate_hz)
        step_samples = resolution.stride * round(HOP_S * sample_rate_hz)
        self.hop_s = step_samples / sample_rate_hz
        # Where only the low end is looked at, most samples carry nothing.
        factor = max(
            f for f in (1, 2, 4, 8) if f == 1 or f * _ROOM * resolution.kept_hz <= sample_rate_hz
        )
        asked_hops = kept_hops(resolution.hop_s, resolution.window_s)
        self.history = SpectrumHistory(
            sample_rate_hz=sample_rate_hz / factor,
            window_s=resolution.window_s,
            n_hops=max(asked_hops, round(TRACE_S / self.hop_s)),
            highest_hz=resolution.kept_hz,
            floor_bins=resolution.floor_bins,
            phase_hops=phase_hops(resolution.hop_s, resolution.window_s),
        )
        self._low_end = (
            LowEnd(
                factor=factor, step_samples=step_samples, kept_samples=self.history.window_samples
            )
            if factor > 1
            else None
        )
        self.lowest_hz = resolution.lowest_hz
        self.highest_hz = min(resolution.highest_hz, 0.45 * sample_rate_hz)
        self.onset = Onset(
            sample_rate_hz=sample_rate_hz / factor,
            window_s=resolution.window_s,
            hop_s=resolution.hop_s,
            step_samples=step_samples / factor,
            highest_hz=self.highest_hz,
        )
        self.evidence = Evidence(
            self.history,
            self.onset,
            hop_s=resolution.hop_s,
            window_s=resolution.window_s,
            lowest_hz=self.lowest_hz,
            highest_hz=self.highest_hz,
        )

    def outside_hz(self, frequency_hz: float) -> float:
        """How far a frequency lies outside of what is looked at here; 0 inside."""
        return max(self.lowest_hz - frequency_hz, frequency_hz - self.highest_hz, 0.0)

    def reset(self) -> None:
        """Forget what was heard."""
        self.history.reset()
        self.evidence.reset()
        self.onset.reset()
        if self._low_end:
            self._low_end.reset()

    def trace(self, frequency_hz: float, hops: int) -> tuple[np.ndarray, np.ndarray]:
        """Level and floor in dBFS of the line at a frequency over the last hops, oldest first.

        The level is that of the power in three bins, the main lobe's most.
        """
        middle = round(frequency_hz / self.history.bin_hz)
        lobe = slice(max(middle - 1, 0), middle + 2)
        power = np.exp(DB_TO_NEPERS * self.history.level_db(hops)[:, lobe])
        level_db = np.log(power.sum(axis=1)) / DB_TO_NEPERS
        floor_db = self.history.floor_db(hops)[:, min(middle, self.history.n_bins - 1)]
        return level_db, floor_db.copy()

    def take_in(self, window: np.ndarray) -> None:
        """Take in the newest samples [>= window_samples]; call once every ``stride`` hops."""
        own = self._low_end.advance(window) if self._low_end else window
        self.history.push(own)
        self.onset.push(own)

    def look(self, window: np.ndarray, *, measure: bool = True) -> Candidates | None:
        """Take in the newest samples [>= window_samples]; return the lines that stand out.

        None where nothing does, or when nobody wants them measured.
        """
        self.take_in(window)
        return self.evidence.find(measure=measure)
