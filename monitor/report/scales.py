"""Where things lie in the report's pictures: time across, frequency up, and the marks of both.

Lengths are in the pictures' own units (``shapes`` calls them centimetres); a wide picture is
1000 across, so that a tenth, to which SVG text is rounded, is not seen.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from monitor.listening.bands import THIRD_OCTAVES, Band
from monitor.report.words import EveningClock

_STEPS_S = (60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 21600, 43200, 86400)
_HALF_BAND = 10.0**0.05
"""From a third octave's midband to its edge (IEC 61260-1)."""
LOW_HZ, HIGH_HZ = 200.0, 8000.0
"""The least that is shown: where vocal microphones ring (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Sizes:
    """A picture's own measures: width, size of type, height of a band's row."""

    width: float
    type: float
    row: float
    left: float
    most_marks: int


@dataclass(frozen=True, slots=True)
class Across:
    """Seconds to x."""

    left: float
    right: float
    length_s: float

    def x(self, at_s: float) -> float:
        """Return where a moment lies; outside, the nearer end."""
        part = min(max(at_s / self.length_s, 0.0), 1.0)
        return self.left + part * (self.right - self.left)


@dataclass(frozen=True, slots=True)
class Up:
    """Frequency to y, over whole third octaves; ``row`` is the height of one."""

    top: float
    row: float
    bands: tuple[Band, ...]

    @property
    def bottom(self) -> float:
        """The lower edge of the lowest band."""
        return self.top + self.row * len(self.bands)

    def y(self, frequency_hz: float) -> float:
        """Return where a frequency lies; outside, the nearer edge."""
        bands_up = 10.0 * math.log10(frequency_hz / (self.bands[0].midband_hz / _HALF_BAND))
        return self.bottom - self.row * min(max(bands_up, 0.0), float(len(self.bands)))


def bands_for(frequencies_hz: list[float]) -> tuple[Band, ...]:
    """Return the third octaves that hold all of these and the least that is shown."""
    lowest, highest = min([LOW_HZ, *frequencies_hz]), max([HIGH_HZ, *frequencies_hz])
    return tuple(
        band
        for band in THIRD_OCTAVES
        if band.upper_hz > lowest and band.lower_hz < highest
    ) or THIRD_OCTAVES  # fmt: skip


def time_marks(length_s: float, clock: EveningClock, most: int) -> list[tuple[float, str]]:
    """Return moments and what to write at them, at round times, ``most`` at the most."""
    step_s = next((s for s in _STEPS_S if length_s / s <= most), 0)
    step_s = step_s or 86400 * math.ceil(length_s / most / 86400)
    begun = clock.moment(0.0)
    # Round by the local clock where there is one.
    past_s = 0.0
    if begun is not None:
        past_s = 3600 * begun.hour + 60 * begun.minute + begun.second + 1e-6 * begun.microsecond
    first_s = -past_s % step_s
    count = math.floor((length_s - first_s) / step_s) + 1
    moments = [first_s + n * step_s for n in range(max(0, count))]
    # A hair later: 59.999999 s is the minute.
    return [(at_s, clock.at(at_s + 1e-3)) for at_s in moments]
