"""Bring rates of 72 kHz and more down to 36 to 60 kHz before listening.

Nothing above 20 kHz can ring on a stage, and windows keep their length in seconds at every
rate, so the extra samples would only cost time.
"""

from __future__ import annotations

import numpy as np

_TAPS_PER_PHASE = 24
"""With Kaiser's beta of 8: flat to 16 kHz, -1.8 dB at 20 kHz, 80 dB down from 27 kHz (measured for
96 and 192 kHz); what folds from below 27 kHz lands above 20 kHz."""


def decimation_factor(sample_rate_hz: int) -> int:
    """Whole factor that brings a rate nearest to 48 kHz; 1 below 72 kHz."""
    return max(1, round(sample_rate_hz / 48000))


def _low_pass(n_taps: int, cutoff: float) -> np.ndarray:
    """Kaiser-windowed sinc (beta 8), float32 [n_taps], gain 1; cutoff in half sample rates."""
    centre = np.arange(n_taps) - (n_taps - 1) / 2
    taps = cutoff * np.sinc(cutoff * centre) * np.kaiser(n_taps, 8.0)
    return np.asarray((taps / taps.sum()).astype(np.float32))


class Decimator:
    """Low-pass and keep each ``factor``-th sample, in a stream.

    The output does not depend on how the input was cut: it is computed in fixed steps of
    ``step_samples`` input samples.
    """

    def __init__(self, *, factor: int, step_samples: int) -> None:
        if step_samples % factor:
            raise ValueError(f"step_samples={step_samples} must be a multiple of {factor}")
        self.factor = factor
        self.step_samples = step_samples
        n_taps = _TAPS_PER_PHASE * factor + 1
        # 21.6 kHz of 24 at 48 kHz.
        self._taps = _low_pass(n_taps, 0.90 / factor)
        self._held = np.zeros(n_taps - 1, dtype=np.float32)
        self._waiting = np.zeros(0, dtype=np.float32)

    def reset(self) -> None:
        """Forget what was heard."""
        self._held[:] = 0.0
        self._waiting = self._waiting[:0]

    def push(self, samples: np.ndarray) -> np.ndarray:
        """Take in float32 [n]; return what is complete at the lower rate, float32 [m]."""
        waiting = np.concatenate((self._waiting, samples))
        out = []
        taken = 0
        while len(waiting) - taken >= self.step_samples:
            step = waiting[taken : taken + self.step_samples]
            taken += self.step_samples
            extended = np.concatenate((self._held, step))
            windows = np.lib.stride_tricks.sliding_window_view(extended, len(self._taps))
            out.append(windows[:: self.factor] @ self._taps)
            self._held = extended[self.step_samples :]
        self._waiting = waiting[taken:].copy()
        return np.concatenate(out) if out else np.zeros(0, dtype=np.float32)


class LowEnd:
    """The newest samples of a stream at a whole fraction of its rate, for looking at its low end.

    Flat up to a fifth of the lower rate; what would fold onto that is 80 dB down.

    Parameters
    ----------
    factor : int >= 2
    step_samples : int
        How many samples are new at each call of ``advance``.
    kept_samples : int
        How many samples of the lower rate are kept.
    """

    def __init__(self, *, factor: int, step_samples: int, kept_samples: int) -> None:
        self._factor = factor
        self._step_samples = step_samples
        n_taps = 8 * factor + 1  # Kaiser: 80 dB over a transition of 0.6 of the lower rate
        self._taps = _low_pass(n_taps, 1.0 / factor)
        self._kept = np.zeros(kept_samples, dtype=np.float32)
        self.reset()

    def reset(self) -> None:
        """Forget what was heard."""
        self._kept[:] = 0.0
        self._ahead = 0

    def advance(self, window: np.ndarray) -> np.ndarray:
        """Take in the newest samples, float32 [>= step_samples + 9 * factor].

        Returns the newest ``kept_samples`` of the lower rate, a view until the next call.
        """
        # Samples of the last call that were not yet enough for another one of the lower rate.
        pending = self._ahead + self._step_samples
        new, self._ahead = divmod(pending, self._factor)
        end = len(window) - self._ahead
        start = end - (new - 1) * self._factor - len(self._taps)
        newest = np.ascontiguousarray(window[start:end])
        step = newest.itemsize
        # Every factor-th stretch as long as the taps, as one array: a view, not a copy.
        stretches = np.ndarray(
            (new, len(self._taps)), newest.dtype, newest, strides=(self._factor * step, step)
        )
        self._kept[:-new] = self._kept[new:]
        self._kept[-new:] = stretches @ self._taps
        return self._kept
