"""What is printed on an equaliser, and the frequency it means.

Third-octave and coarser standard labels stand for the exact base-10 frequency ("2.5k" is
2511.9 Hz); other labels mean what they say.

Sources: 31 bands, exact frequencies: IEC 61260-1:2014 and ISO 266.  Ten octave bands: Rumsey
and McCormick, *Sound and Recording*.  15 bands: every second third octave of ISO 266, common
practice.  9, 7 and 5 bands: common practice, not standardised; type the labels if yours differ.
"""

from __future__ import annotations

import re

from monitor.listening.bands import THIRD_OCTAVES

LOWEST_HZ = 10.0
HIGHEST_HZ = 40_000.0

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
        If the text is no frequency from 10 Hz to 40 kHz, or could be two ("12,500"); one clear
        line.
    """
    match = _LABEL.fullmatch(text.strip()) if text.isascii() and len(text) <= 20 else None
    if match is None:
        shown = "".join(c if c.isprintable() else "?" for c in text[:20])
        shown += "..." if len(text) > 20 else ""
        raise ValueError(f'"{shown}" is not a frequency; write it like 2500, 2.5k or 2k5')
    if _could_be_thousands(match):
        whole, fraction = match["whole"], match["fraction"]
        raise ValueError(
            f'"{text.strip()}" could be {whole}.{fraction} Hz or {whole}{fraction} Hz; '
            f"write {whole}{fraction}, or {whole}.{fraction.rstrip('0') or '0'}"
        )
    digits = match["whole"] + "." + (match["after"] or match["fraction"] or "0")
    value_hz = float(digits) * (1000.0 if match["infix"] or match["kilo"] else 1.0)
    if not LOWEST_HZ <= value_hz <= HIGHEST_HZ:
        raise ValueError(f'"{text.strip()}" is not between {LOWEST_HZ:g} Hz and 40 kHz')
    return value_hz


def is_frequency(text: str) -> bool:
    """Return whether a label means a frequency; a filter's name says nothing of where it is."""
    try:
        parse_frequency(text)
    except ValueError:
        return False
    return True


def _could_be_thousands(match: re.Match[str]) -> bool:
    """Whether a dot or comma stands where people also part thousands: "10,000", "16.000 Hz"."""
    is_kilo = match["infix"] or match["kilo"]
    fraction = match["fraction"] or ""
    return not is_kilo and len(fraction) == 3 and len(match["whole"]) <= 3


_NOMINAL_HZ = {parse_frequency(band.label): band.midband_hz for band in THIRD_OCTAVES}


def centre_of(label: str) -> float:
    """Return the exact frequency in Hz that a printed label stands for.

    Raises
    ------
    ValueError
        If the label is no frequency; one clear line.
    """
    hz = parse_frequency(label)
    return _NOMINAL_HZ.get(hz, hz)


def decibels(value_db: float) -> str:
    """Return decibels as a person says them: "4", "4.5"."""
    return f"{value_db:z.1f}".removesuffix(".0")


def with_unit(frequency_hz: float) -> str:
    """Return a frequency that is no slider's name: "272 Hz", "2.48k"."""
    name = written(frequency_hz)
    return name if name.endswith("k") else f"{name} Hz"


def written(frequency_hz: float) -> str:
    """Return a frequency as one would dial it in, to three figures: "83.1", "248", "2.48k"."""
    if frequency_hz < 999.5:
        return f"{frequency_hz:.3g}"
    return f"{float(f'{frequency_hz:.3g}') / 1000.0:g}k"
