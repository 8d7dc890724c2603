"""The user's own equaliser, and which of its sliders is nearest to a frequency.

Conventions
-----------
Sliders are ordered from low to high and carry the label printed on them.  Third-octave and
coarser standard labels stand for the exact base-10 frequency ("2.5k" is 2511.9 Hz); other
labels mean what they say.  Nearest is by log distance: borders lie at the geometric mean of
neighbouring centres.

Sources: 31 bands, exact frequencies: IEC 61260-1:2014 and ISO 266.  Ten octave bands: Rumsey
and McCormick, *Sound and Recording*.  15 bands: every second third octave of ISO 266, common
practice.  9, 7 and 5 bands: common practice, not standardised; type the labels if yours differ.
"""

from __future__ import annotations

import math
import re
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from monitor.listening.bands import THIRD_OCTAVES, third_octave_of

LOWEST_HZ = 10.0
HIGHEST_HZ = 40_000.0
MOST_SLIDERS = 64

KINDS: dict[str, tuple[str, ...]] = {
    "31": tuple(band.label for band in THIRD_OCTAVES),
    "15": tuple("25 40 63 100 160 250 400 630 1k 1.6k 2.5k 4k 6.3k 10k 16k".split()),
    "10": tuple("31.5 63 125 250 500 1k 2k 4k 8k 16k".split()),
    "9": tuple("63 125 250 500 1k 2k 4k 8k 16k".split()),
    "7": tuple("63 160 400 1k 2.5k 6.3k 16k".split()),
    "5": tuple("100 330 1k 3.3k 10k".split()),
}
"""The equalisers that can be chosen by their number of bands."""

_LABEL = re.compile(
    r"(?P<whole>\d+)"
    r"(?:(?P<infix>k)(?P<after>\d+)|(?:[.,](?P<fraction>\d+))?\s*(?P<kilo>k)?)"
    r"\s*(?:hz)?",
    re.IGNORECASE,
)


def parse_frequency(text: str) -> float:
    """Return the frequency in Hz that a printed or typed label means.

    "6k3", "6.3k", "6,3 kHz", "6300" and "6300 Hz" are all 6300.

    Raises
    ------
    ValueError
        If the text is no frequency from 10 Hz to 40 kHz; one clear line.
    """
    match = _LABEL.fullmatch(text.strip()) if text.isascii() and len(text) <= 20 else None
    if match is None:
        shown = "".join(c if c.isprintable() else "?" for c in text[:20])
        shown += "..." if len(text) > 20 else ""
        raise ValueError(f'"{shown}" is not a frequency; write it like 2500, 2.5k or 2k5')
    digits = match["whole"] + "." + (match["after"] or match["fraction"] or "0")
    value_hz = float(digits) * (1000.0 if match["infix"] or match["kilo"] else 1.0)
    if not LOWEST_HZ <= value_hz <= HIGHEST_HZ:
        raise ValueError(f'"{text.strip()}" is not between {LOWEST_HZ:g} Hz and 40 kHz')
    return value_hz


_NOMINAL_HZ = {parse_frequency(band.label): band.midband_hz for band in THIRD_OCTAVES}


@dataclass(frozen=True, slots=True)
class Slider:
    """One slider: the label as printed, and its centre in Hz."""

    label: str
    centre_hz: float


def _slider(label: str) -> Slider:
    hz = parse_frequency(label)
    return Slider(label.strip(), _NOMINAL_HZ.get(hz, hz))


@dataclass(frozen=True)
class Equaliser:
    """The sliders of one equaliser, lowest first."""

    name: str
    sliders: tuple[Slider, ...]
    _borders_hz: tuple[float, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        centres = [slider.centre_hz for slider in self.sliders]
        borders_hz = tuple(math.sqrt(low * high) for low, high in pairwise(centres))
        object.__setattr__(self, "_borders_hz", borders_hz)

    @classmethod
    def from_settings(cls, kind: str, labels: Sequence[str] = ()) -> Equaliser:
        """Build the equaliser that the settings describe.

        Parameters
        ----------
        kind : str
            "31", "15", "10", "9", "7", "5", or "typed" for ``labels``.
        labels : sequence of str
            The printed labels, in any order; only with "typed".

        Raises
        ------
        ValueError
            For an unknown kind, no labels, too many, a label that is no frequency, or two
            that mean the same one; one clear line.
        """
        if kind in KINDS:
            return cls(f"{kind} bands", tuple(_slider(label) for label in KINDS[kind]))
        if kind != "typed":
            raise ValueError(f'kind "{kind}" is unknown; known: {", ".join(KINDS)}, typed')
        if not labels:
            raise ValueError("an equaliser needs at least one slider label")
        if len(labels) > MOST_SLIDERS:
            raise ValueError(f"{len(labels)} labels given, at most {MOST_SLIDERS} are possible")
        sliders = sorted((_slider(label) for label in labels), key=lambda s: s.centre_hz)
        for low, high in pairwise(sliders):
            if high.centre_hz == low.centre_hz:
                raise ValueError(
                    f'"{low.label}" and "{high.label}" mean the same frequency; '
                    "give each slider once"
                )
        return cls("1 band" if len(sliders) == 1 else f"{len(sliders)} bands", tuple(sliders))

    def nearest(self, frequency_hz: float) -> Slider:
        """Return the slider nearest to a frequency by log distance; the lower one on a tie.

        Raises
        ------
        ValueError
            If ``frequency_hz`` is not a finite positive number.
        """
        if not (math.isfinite(frequency_hz) and frequency_hz > 0.0):
            raise ValueError(f"frequency {frequency_hz} Hz is not a positive finite number")
        return self.sliders[bisect_left(self._borders_hz, frequency_hz)]


def band_line(frequency_hz: float, equaliser: Equaliser) -> dict[str, str | float]:
    """Return the third octave of a frequency, its exact edges, and the slider to pull."""
    band = third_octave_of(frequency_hz)
    slider = equaliser.nearest(frequency_hz)
    return {
        "frequency_hz": frequency_hz,
        "band": band.label,
        "band_hz": band.midband_hz,
        "lower_hz": band.lower_hz,
        "upper_hz": band.upper_hz,
        "slider": slider.label,
        "slider_hz": slider.centre_hz,
    }
