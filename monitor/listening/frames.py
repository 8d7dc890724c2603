"""Streaming hops: any split of the same samples gives the same hops.

Everything after this step is called once a hop with the newest samples, so the result of a
stream cannot depend on how it was cut into blocks.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

HOP_S = 1024 / 48000
"""Time between two looks at the sound at every rate: 21 ms, a quarter of the main window."""


class HopBuffer:
    """Keeps the newest ``window_samples`` samples and steps through them hop by hop.

    Parameters
    ----------
    window_samples, hop_samples : int >= 1
        Length of what each hop may look back on, and the step between two hops.
    """

    def __init__(self, *, window_samples: int, hop_samples: int) -> None:
        if window_samples < 1 or hop_samples < 1:
            raise ValueError(
                f"window_samples={window_samples} and hop_samples={hop_samples} must be at least 1"
            )
        self.window_samples = window_samples
        self.hop_samples = hop_samples
        # Sliding within a longer buffer: the tail is moved to the front once in 64 hops.
        self._buffer = np.zeros(window_samples + 64 * hop_samples, dtype=np.float32)
        self.reset()

    def reset(self) -> None:
        """Forget everything heard; the next hop starts from silence."""
        self._buffer[: self.window_samples] = 0.0
        self._end = self.window_samples
        self._missing = self.hop_samples

    def newest(self, n_samples: int | None = None) -> np.ndarray:
        """The last samples taken in, ``window_samples`` by default; a view until the next push."""
        return self._buffer[self._end - (n_samples or self.window_samples) : self._end]

    def push(self, samples: np.ndarray) -> Iterator[np.ndarray]:
        """Take in float32 samples [n] and yield, for each hop completed, the newest window.

        The yielded array [window_samples] is a view that is valid until the next step.
        """
        taken = 0
        while taken < len(samples):
            n = min(self._missing, len(samples) - taken)
            if self._end + n > len(self._buffer):
                keep = self._buffer[self._end - self.window_samples : self._end].copy()
                self._buffer[: self.window_samples] = keep
                self._end = self.window_samples
            self._buffer[self._end : self._end + n] = samples[taken : taken + n]
            self._end += n
            taken += n
            self._missing -= n
            if self._missing == 0:
                self._missing = self.hop_samples
                yield self._buffer[self._end - self.window_samples : self._end]
