"""``howl-lantern bands``: the third octave of a frequency, and one's own slider for it."""

from __future__ import annotations

from collections.abc import Sequence

from monitor.advice.choice import EqualiserChoice
from monitor.advice.equaliser import Equaliser
from monitor.advice.labels import parse_frequency
from monitor.errors import UsageError
from monitor.listening.bands import third_octave_of


def run(choice: EqualiserChoice, frequencies: Sequence[str]) -> int:
    """Print a line for each frequency, written as on an equaliser; return the exit code.

    Raises
    ------
    UsageError
        If one of them is no frequency.
    """
    equaliser = Equaliser.from_choice(choice)
    try:
        frequencies_hz = [parse_frequency(text) for text in frequencies]
    except ValueError as error:
        raise UsageError(str(error)) from error
    print(f"{'frequency':>12}  {'band':>6}  {'midband':>12}  {'edges':>25}  slider")
    for hz in frequencies_hz:
        band, slider = third_octave_of(hz), equaliser.nearest(hz)
        label, midband = band.label, f"{band.midband_hz:.2f} Hz"
        edges = f"{band.lower_hz:.2f} to {band.upper_hz:.2f} Hz"
        if not band.lower_hz <= hz <= band.upper_hz:
            label, midband, edges = "-", "-", "outside of them"
        print(f"{hz:>9.6g} Hz  {label:>6}  {midband:>12}  {edges:>25}  {slider.label}")
    return 0
