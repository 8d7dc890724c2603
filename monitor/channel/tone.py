"""Tones that no voice makes: a single partial that stands dead still.

A loop that rings on the line, a test tone or a whistle have a pitch as clear as a sung note's, but
a voice brings partials along and its pitch is never still.  Nothing of them may turn the gain up.
"""

from __future__ import annotations

from collections import deque

import numpy as np

from monitor.listening.spectrum import friendly_length, hann

PURE_SHARE = 0.97
LASTS_S = 0.4
STILL_SEMITONES = 0.03
"""So much of the power in one partial, which moves by no more than that for so long.  So are all
hops after the first 0.4 s of a sine of 500 Hz 20 dB over white noise.  Of made sopranos, whose "oo"
on a high note is nearly one partial, 1 hop in 100 is, of other singing 2 at most, of speech none in
1000.  Within 0.1 semitone for 0.25 s 11 hops in 100 of the sopranos were."""
WINDOW_S = 0.04
_LOBE_BINS = 2
"""To either side: the main lobe of a Hann window."""


class ToneWatch:
    """Looks at the newest ``WINDOW_S`` of each hop, float [n] or more at a rate."""

    def __init__(self, sample_rate_hz: float, hop_s: float) -> None:
        self._window = hann(friendly_length(WINDOW_S, sample_rate_hz))
        self._bin_hz = sample_rate_hz / len(self._window)
        self._keys: deque[float] = deque(maxlen=max(2, round(LASTS_S / hop_s)))

    def reset(self) -> None:
        """Begin anew after a gap."""
        self._keys.clear()

    def push(self, window: np.ndarray) -> bool:
        """Whether such a tone has stood for ``LASTS_S``."""
        key = self._key_of_only_partial(window)
        if key is None:
            self._keys.clear()
            return False
        self._keys.append(key)
        is_long = len(self._keys) == self._keys.maxlen
        return is_long and max(self._keys) - min(self._keys) <= STILL_SEMITONES

    def _key_of_only_partial(self, window: np.ndarray) -> float | None:
        """Semitones above 1 Hz of the one partial there is, None if there are more or none."""
        power = np.abs(np.fft.rfft(window[-len(self._window) :] * self._window)) ** 2
        power[: _LOBE_BINS + 1] = 0.0  # offset and the slowest rumble
        middle = int(np.argmax(power))
        lobe = power[max(middle - _LOBE_BINS, 0) : middle + _LOBE_BINS + 1]
        if lobe.sum() <= PURE_SHARE * power.sum() or middle + 1 >= len(power):
            return None
        below, here, above = np.log(power[middle - 1 : middle + 2] + 1e-30)
        curvature = below - 2.0 * here + above
        shift = 0.5 * (below - above) / curvature if curvature < 0.0 else 0.0
        return float(12.0 * np.log2((middle + shift) * self._bin_hz))
