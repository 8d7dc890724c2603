"""Short ways to say counts, frequencies and odds; every number in them is a counted one."""

from __future__ import annotations

from monitor.advice.labels import written
from monitor.listening.bands import third_octave_of

MOST_ODDS = 50.0
"""Where the model was surer than 99 %, between 70 and 170 to 1 were right in the bench: no more is
said than half of that."""


def band_of(frequency_hz: float) -> str:
    """Return the third octave a frequency lies in, as sliders print it."""
    return third_octave_of(frequency_hz).label


def of_evenings(count: int, of: int) -> str:
    """Return "3 of 4 evenings", "the one evening", "none of 7"."""
    if count == 0:
        return f"none of {of}"
    if of == 1:
        return "the one evening"
    return f"{count} of {of} evenings"


def odds_words(odds: float) -> str:
    """Return "20 to 1", to two figures; "" below 1.5, which says nothing."""
    if odds < 1.5:
        return ""
    if odds >= MOST_ODDS:
        return f"over {MOST_ODDS:g} to 1"
    return f"{float(f'{odds:.2g}'):g} to 1"


def name_of(frequency_hz: float) -> str:
    """Return a frequency for a sentence: "248 Hz", "2.48 kHz"."""
    text = written(frequency_hz)
    return f"{text[:-1]} kHz" if text.endswith("k") else f"{text} Hz"
