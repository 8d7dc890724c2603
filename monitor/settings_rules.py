"""What each setting may be: in words for the error message, and as a check."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.advice.choice import ALL_KINDS, MOST_FILTERS
from monitor.advice.labels import parse_frequency
from monitor.advice.widths import WIDTHS
from monitor.link.endpoint import LONGEST_PATH_BYTES
from monitor.placing.stage_file import REVERBERATION_S


@dataclass(frozen=True, slots=True)
class Rule:
    """What is expected of one key, in words and as a check."""

    expected: str
    check: Callable[[Any], bool]


def is_whole(value: Any) -> bool:
    """Return whether the value is a whole number; true and false are not."""
    return isinstance(value, int) and not isinstance(value, bool)


def whole(lowest: int, highest: int) -> Rule:
    """A whole number within bounds, both included."""
    return Rule(
        f"a whole number from {lowest} to {highest}",
        lambda v: is_whole(v) and lowest <= v <= highest,
    )


def is_number(value: Any) -> bool:
    """Return whether the value is a finite number; true and false are not."""
    return is_whole(value) or (isinstance(value, float) and math.isfinite(value))


def number(lowest: float, highest: float) -> Rule:
    """A number within bounds, both included."""
    return Rule(
        f"a number from {lowest:g} to {highest:g}",
        lambda v: is_number(v) and lowest <= v <= highest,
    )


def _hz(value: Any) -> float:
    """Return the frequency a label means, NaN for what is none: NaN passes no comparison."""
    try:
        return parse_frequency(value) if isinstance(value, str) else math.nan
    except ValueError:
        return math.nan


def frequency(*, empty: bool) -> Rule:
    """A frequency as it is printed; with ``empty`` there may be none."""
    none = ', or "" for none' if empty else ""
    return Rule(
        f'a frequency in quotes, like "80" or "2.5k"{none}',
        lambda v: _hz(v) > 0.0 or (empty and v == ""),
    )


def one_of(*choices: str) -> Rule:
    """One of a few words."""
    return Rule("one of " + ", ".join(f'"{c}"' for c in choices), lambda v: v in choices)


def text(longest: int, *, empty: bool = False) -> Rule:
    """Printable text up to a length; with ``empty`` there may be none."""
    shortest = 0 if empty else 1
    return Rule(
        f"text in quotes of {shortest} to {longest} characters",
        lambda v: (
            isinstance(v, str)
            and shortest <= len(v) <= longest
            and (v.isprintable() or (empty and v == ""))
        ),
    )


def place(longest_bytes: int) -> Rule:
    """A file's whole path, or none: two processes that start elsewhere must mean the same."""

    def check(value: Any) -> bool:
        if not isinstance(value, str) or not value.isprintable():
            return False
        if not value.startswith(("/", "~/")):
            return value == ""
        try:
            return len(os.fsencode(Path(value).expanduser())) <= longest_bytes
        except RuntimeError:  # nobody knows where this user's home is
            return False

    return Rule(
        f'a whole path that begins with / or ~/, of up to {longest_bytes} bytes, or ""', check
    )


def listed(
    each: Callable[[Any], bool], expected: str, *, shortest: int = 0, longest: int = 64
) -> Rule:
    """A list whose every item passes ``each``."""
    return Rule(
        expected,
        lambda v: (
            isinstance(v, list) and shortest <= len(v) <= longest and all(each(item) for item in v)
        ),
    )


def _are_low_cuts(value: Any) -> bool:
    if value == [FREE]:
        return True
    if not isinstance(value, list) or not 1 <= len(value) <= 16:
        return False
    found_hz = [_hz(each) for each in value]
    lowest_hz, highest_hz = LOW_CUTS_HZ
    return len({*found_hz}) == len(value) and all(lowest_hz <= f <= highest_hz for f in found_hz)


SPI_PANELS = ("st7735", "st7789", "pcd8544")
_PANEL_DRIVERS = ("none ssd1306 ssd1309 ssd1325 ssd1327 sh1106 sh1107").split()

FREE = "free"
"""In ``line.low_cuts``: the low cut can be turned to any frequency."""

LOW_CUTS_HZ = (20.0, 500.0)
"""A low cut outside this is not one of a vocal channel: a slip of the pen."""

_RATES = listed(
    lambda v: is_whole(v) and 8000 <= v <= 192000,
    "a list of 1 to 8 sample rates from 8000 to 192000, like [48000, 44100]",
    shortest=1,
    longest=8,
)


RULES: dict[str, dict[str, Rule]] = {
    "box": {
        "name": Rule(
            "1 to 16 letters, digits, spaces, - or _, in quotes, and not only spaces",
            lambda v: isinstance(v, str) and bool(re.fullmatch(r"(?! *$)[\w -]{1,16}", v)),
        )
    },
    "microphone": {
        "device": text(80),
        "channel": whole(1, 64),
        "rates_hz": _RATES,
    },
    "line": {
        "device": Rule(
            'a card\'s name other than "auto" in up to 80 characters, or "" for none',
            lambda v: text(80, empty=True).check(v) and v != "auto",
        ),
        "channel": whole(1, 64),
        "rates_hz": _RATES,
        "meter": one_of("digital", "analogue"),
        "zero_dbfs": number(-60, 0),
        "low_cuts": Rule(
            'a list of 1 to 16 different frequencies from 20 to 500 Hz, like ["80", "120"], or '
            '["free"]',
            _are_low_cuts,
        ),
        "low_cut_slope_db": Rule("12, 18 or 24", lambda v: is_whole(v) and v in (12, 18, 24)),
    },
    "listening": {"way": one_of("soundcheck", "set")},
    "equaliser": {
        "kind": one_of(*ALL_KINDS),
        "labels": listed(
            lambda v: isinstance(v, str) and 1 <= len(v) <= 12,
            'a list of labels in quotes, like ["100", "1k", "3k3"]',
        ),
        "deepest_db": number(1, 30),
        "step_db": number(0.1, 6),
        "shape": one_of(*WIDTHS),
        "filters": whole(1, MOST_FILTERS),
        "filter_range": Rule(
            'the lowest and the highest frequency, like ["20", "20k"]',
            lambda v: isinstance(v, list) and len(v) == 2 and _hz(v[0]) < _hz(v[1]),
        ),
        "filter_q": Rule(
            "the widest and the narrowest Q from 0.1 to 100, like [0.5, 10]",
            lambda v: (
                isinstance(v, list)
                and len(v) == 2
                and all(map(is_number, v))
                and 0.1 <= v[0] <= v[1] <= 100
            ),
        ),
        "strip_high": frequency(empty=True),
        "strip_mid": Rule(
            'a list of its frequency, of the two it is swept between, or of none, like ["2.5k"], '
            '["250", "5k"] or []',
            lambda v: (
                v == []
                or (isinstance(v, list) and len(v) == 1 and _hz(v[0]) > 0.0)
                or (isinstance(v, list) and len(v) == 2 and _hz(v[0]) < _hz(v[1]))
            ),
        ),
        "strip_low": frequency(empty=True),
        "strip_low_cut": frequency(empty=True),
    },
    "advice": {
        "margin_db": number(0.5, 12),
        "t60_s": Rule(
            '"unknown", "dead", "usual", "live", or seconds from 0.1 to 5',
            lambda v: v in ("unknown", *REVERBERATION_S) or (is_number(v) and 0.1 <= v <= 5.0),
        ),
    },
    "lamp": {
        "enabled": Rule("true or false", lambda v: isinstance(v, bool)),
        "gpio_pin": whole(0, 27),
    },
    "button": {
        "enabled": Rule("true or false", lambda v: isinstance(v, bool)),
        "gpio_pin": whole(0, 27),
    },
    "panel": {
        "driver": one_of(*_PANEL_DRIVERS, *SPI_PANELS),
        "bus": whole(0, 31),
        "address": whole(0x03, 0x77),
        "width": whole(64, 320),
        "height": whole(32, 320),
        "rotate": whole(0, 3),
    },
    "page": {
        "host": text(64),
        # Below, a port is root's alone, and the page is not root.
        "port": whole(1024, 65535),
        "streams": whole(1, 64),
    },
    "access": {
        "control": one_of("code", "open", "off"),
        "code": Rule(
            'six digits in quotes, or "" for a fresh code each time',
            lambda v: isinstance(v, str) and bool(re.fullmatch(r"([0-9]{6})?", v)),
        ),
    },
    "link": {"socket": place(LONGEST_PATH_BYTES)},
    "journal": {"file": place(400), "keep_rings": whole(100, 1_000_000)},
    "gigs": {"quiet_ends_min": whole(10, 600), "keep": whole(1, 1000)},
}
