"""What limits the loop: the loudspeaker's end stop and a compressor."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Literal

import numpy as np

LimiterKind = Literal["soft", "hard", "none"]
LIMITERS: tuple[LimiterKind, ...] = ("soft", "hard", "none")
BARE_HEADROOM = 4.0
"""Without a limiter the amplifier's own rails, 12 dB above, are the end."""
ATTACK_S = 0.01
RELEASE_S = 0.2
"""Usual for voices: common practice, no source."""


def _soft(x: np.ndarray) -> np.ndarray:
    return np.tanh(x)


def _hard(x: np.ndarray) -> np.ndarray:
    return np.clip(x, -1.0, 1.0)


def _rails(x: np.ndarray) -> np.ndarray:
    return np.clip(x, -BARE_HEADROOM, BARE_HEADROOM)


def limiter(kind: LimiterKind) -> Callable[[np.ndarray], np.ndarray]:
    """Return the function that keeps a signal within [-1, 1] (4 for "none").

    Raises
    ------
    ValueError
        For an unknown kind.
    """
    functions = {"soft": _soft, "hard": _hard, "none": _rails}
    if kind not in functions:
        raise ValueError(f"limiter {kind!r} is unknown; known: {', '.join(LIMITERS)}")
    return functions[kind]


class Compressor:
    """Feed-forward compressor on the block's level; the gain moves in a straight line.

    ``ATTACK_S`` and ``RELEASE_S`` are time constants; no make-up gain.
    """

    def __init__(
        self,
        *,
        threshold_db: float,
        ratio: float,
        block_s: float,
    ) -> None:
        if not ratio >= 1.0:
            raise ValueError(f"ratio={ratio} must be at least 1")
        self.threshold_db = threshold_db
        self._share = 1.0 - 1.0 / ratio
        self._attack = 1.0 - math.exp(-block_s / ATTACK_S)
        self._release = 1.0 - math.exp(-block_s / RELEASE_S)
        self.reduction_db = 0.0
        self._gain = 1.0

    def push(self, x: np.ndarray) -> np.ndarray:
        """Return one block with its gain reduced."""
        power = float(np.dot(x, x)) / len(x)
        over_db = 10.0 * math.log10(power + 1e-20) - self.threshold_db
        wanted_db = self._share * max(0.0, over_db)
        pace = self._attack if wanted_db > self.reduction_db else self._release
        self.reduction_db += pace * (wanted_db - self.reduction_db)
        before = self._gain
        self._gain = 10.0 ** (-self.reduction_db / 20.0)
        if before == self._gain == 1.0:
            return x
        return x * np.linspace(before, self._gain, len(x), dtype=np.float32)
