"""How wide a slider works, in octaves and as Q; without numpy, which the page must not load."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

Width = Literal["proportional", "constant"]
WIDTHS: tuple[Width, ...] = ("proportional", "constant")
"""How the dip changes with the pull; ``sections`` says how."""

BUTTERWORTH_Q = math.sqrt(0.5)
"""Q of a second-order low cut, and of a shelf that is as steep as it gets without a bump."""
_NARROWEST_OCTAVES = 1.0 / 12.0
_WIDEST_OCTAVES = 2.0
"""Sliders printed very near to or far from each other are not that narrow or wide: our choice."""


def q_of(octaves: float) -> float:
    """Return the Q of a band that many octaves wide: 1 / (2^(n/2) - 2^(-n/2))."""
    return float(1.0 / (2.0 ** (octaves / 2.0) - 2.0 ** (-octaves / 2.0)))


THIRD_OCTAVE_Q = q_of(1.0 / 3.0)


def slider_q(centres_hz: Sequence[float]) -> list[float]:
    """Return each slider's Q: as wide as the distance to its neighbours.

    A lone slider counts as one octave wide.
    """
    if len(centres_hz) < 2:
        return [q_of(1.0)] * len(centres_hz)
    place = [math.log2(c) for c in centres_hz]
    qs = []
    for i in range(len(place)):
        below = place[i] - place[i - 1] if i > 0 else place[1] - place[0]
        above = place[i + 1] - place[i] if i + 1 < len(place) else place[i] - place[i - 1]
        octaves = (below + above) / 2.0
        qs.append(q_of(min(max(octaves, _NARROWEST_OCTAVES), _WIDEST_OCTAVES)))
    return qs
