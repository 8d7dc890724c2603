"""Third-octave bands by the exact base-10 grid.

Conventions
-----------
Band number ``k`` counts from 1 kHz: midband 1000 * 10**(k/10) Hz, edges at
midband * 10**(+-1/20).  Labels are nominal frequencies; a band is always chosen on the exact
grid, never by the nearest printed label, which differs by up to 0.95 %.

Source: IEC 61260-1:2014 (base-10 system, G = 10**(3/10), b = 3) with the nominal
frequencies of ISO 266.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

_FIRST_NUMBER = -17  # 20 Hz
_LABELS = [
    "20",
    "25",
    "31.5",
    "40",
    "50",
    "63",
    "80",
    "100",
    "125",
    "160",
    "200",
    "250",
    "315",
    "400",
    "500",
    "630",
    "800",
    "1k",
    "1.25k",
    "1.6k",
    "2k",
    "2.5k",
    "3.15k",
    "4k",
    "5k",
    "6.3k",
    "8k",
    "10k",
    "12.5k",
    "16k",
    "20k",
]


@dataclass(frozen=True, slots=True)
class Band:
    """One third-octave band; ``number`` is 0 at 1 kHz, ``label`` as sliders print it."""

    number: int
    label: str
    midband_hz: float
    lower_hz: float
    upper_hz: float


def _band(number: int, label: str) -> Band:
    return Band(
        number,
        label,
        midband_hz=1000.0 * 10.0 ** (number / 10.0),
        lower_hz=1000.0 * 10.0 ** ((2 * number - 1) / 20.0),
        upper_hz=1000.0 * 10.0 ** ((2 * number + 1) / 20.0),
    )


THIRD_OCTAVES: tuple[Band, ...] = tuple(
    _band(_FIRST_NUMBER + i, label) for i, label in enumerate(_LABELS)
)
"""The 31 bands from 20 Hz to 20 kHz, lowest first."""


def third_octave_of(frequency_hz: float) -> Band:
    """Return the band a frequency lies in; beyond 20 Hz and 20 kHz the end bands.

    Raises
    ------
    ValueError
        If ``frequency_hz`` is not a finite positive number.
    """
    if not (math.isfinite(frequency_hz) and frequency_hz > 0.0):
        raise ValueError(f"frequency {frequency_hz} Hz is not a positive finite number")
    number = round(10.0 * math.log10(frequency_hz / 1000.0))
    return THIRD_OCTAVES[min(max(number - _FIRST_NUMBER, 0), len(THIRD_OCTAVES) - 1)]
