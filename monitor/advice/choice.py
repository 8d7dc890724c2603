"""What the settings say of somebody's equaliser, and the sliders that follow from it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from monitor.advice.labels import KINDS, centre_of, parse_frequency
from monitor.advice.sliders import DEEPEST_DB, FILTER, STEP_DB, Slider, low_cut_switch
from monitor.advice.widths import BUTTERWORTH_Q, WIDTHS, Width, slider_q

MOST_SLIDERS = 64
MOST_FILTERS = 16
NEAREST_PART = 0.02
"""Sliders lie a sixth of an octave (12 %) apart or more; what is nearer than 2 % is one slider
written twice, the label once as printed and once exactly ("2.5k" stands for 2512 Hz)."""
ALL_KINDS = (*KINDS, "typed", "parametric", "strip")
_MIDDLE_Q = 0.7
"""A channel strip's middle is about two octaves wide: common practice, no source."""


@dataclass(frozen=True, slots=True)
class EqualiserChoice:
    """What the settings say of the user's equaliser.

    ``labels`` only with kind "typed", ``filters`` and what begins so only with "parametric",
    what begins with ``strip`` only with "strip".  ``strip_mid`` holds one frequency, or two
    between which it is swept; an empty text means that there is no such control.
    """

    kind: str
    labels: tuple[str, ...] = ()
    deepest_db: float = DEEPEST_DB
    step_db: float = STEP_DB
    shape: Width = "proportional"
    filters: int = 4
    filter_range: tuple[str, ...] = ("20", "20k")
    filter_q: tuple[float, ...] = (0.5, 10.0)
    strip_high: str = "10k"
    strip_mid: tuple[str, ...] = ("250", "5k")
    strip_low: str = "80"
    strip_low_cut: str = "100"


def sliders_of(choice: EqualiserChoice) -> tuple[Slider, ...]:
    """Return the sliders, lowest first where they are fixed.

    Raises
    ------
    ValueError
        For an unknown kind, no labels, too many, a label that is no frequency, two that mean
        nearly the same one, or a range that is none; one clear line.
    """
    _check_travel(choice)
    if choice.kind == "parametric":
        return _filters(choice)
    return _strip(choice) if choice.kind == "strip" else _graphic(choice)


def _check_travel(choice: EqualiserChoice) -> None:
    if choice.kind not in ALL_KINDS:
        raise ValueError(f'kind "{choice.kind}" is unknown; known: {", ".join(ALL_KINDS)}')
    if choice.shape not in WIDTHS:
        raise ValueError(f'shape "{choice.shape}" is unknown; known: {", ".join(WIDTHS)}')
    if not 0.0 < choice.step_db <= choice.deepest_db:
        raise ValueError(
            f"step_db {choice.step_db:g} must be more than 0 and at most deepest_db, "
            f"{choice.deepest_db:g}"
        )


def graphic(
    places: Sequence[tuple[str, float]], choice: EqualiserChoice | None = None
) -> tuple[Slider, ...]:
    """Return sliders for (label, centre in Hz), lowest first, as wide as their distances."""
    choice = choice or EqualiserChoice("typed")
    return tuple(
        Slider(
            label,
            centre_hz,
            q=q,
            width=choice.shape,
            deepest_db=float(choice.deepest_db),
            step_db=float(choice.step_db),
        )
        for (label, centre_hz), q in zip(places, slider_q([hz for _, hz in places]), strict=True)
    )


def _graphic(choice: EqualiserChoice) -> tuple[Slider, ...]:
    labels = KINDS.get(choice.kind, choice.labels)
    if not labels:
        raise ValueError("an equaliser needs at least one slider label")
    if len(labels) > MOST_SLIDERS:
        raise ValueError(f"{len(labels)} labels given, at most {MOST_SLIDERS} are possible")
    places = sorted(((label.strip(), centre_of(label)) for label in labels), key=lambda p: p[1])
    for low, high in pairwise(places):
        if high[1] < low[1] * (1.0 + NEAREST_PART):
            same = "mean the same frequency" if high[1] == low[1] else "lie less than 2 % apart"
            raise ValueError(f'"{low[0]}" and "{high[0]}" {same}; give each slider once')
    return graphic(places, choice)


def _range_hz(ends: Sequence[str], what: str) -> tuple[float, float]:
    if len(ends) != 2:
        raise ValueError(f'{what} has {len(ends)} frequencies; give two, like ["20", "20k"]')
    low_hz, high_hz = (parse_frequency(end) for end in ends)
    if not low_hz < high_hz:
        raise ValueError(f'{what}: "{ends[0]}" is not below "{ends[1]}"; give the lower one first')
    return low_hz, high_hz


def _filters(choice: EqualiserChoice) -> tuple[Slider, ...]:
    if not 1 <= choice.filters <= MOST_FILTERS:
        raise ValueError(f"filters is {choice.filters}, 1 to {MOST_FILTERS} are possible")
    low_hz, high_hz = _range_hz(choice.filter_range, "filter_range")
    if len(choice.filter_q) != 2 or not 0.0 < choice.filter_q[0] <= choice.filter_q[1]:
        raise ValueError(
            f"filter_q is {list(choice.filter_q)}; give the widest and the narrowest Q, "
            "like [0.5, 10]"
        )
    one = Slider(
        "",
        math.sqrt(low_hz * high_hz),
        q=choice.filter_q[1],
        width=choice.shape,
        deepest_db=float(choice.deepest_db),
        step_db=float(choice.step_db),
        lowest_hz=low_hz,
        highest_hz=high_hz,
        lowest_q=choice.filter_q[0],
        highest_q=choice.filter_q[1],
    )
    return tuple(replace(one, label=f"{FILTER} {n + 1}") for n in range(choice.filters))


def _strip(choice: EqualiserChoice) -> tuple[Slider, ...]:
    one = Slider(
        "",
        1000.0,
        BUTTERWORTH_Q,
        width=choice.shape,
        deepest_db=float(choice.deepest_db),
        step_db=float(choice.step_db),
    )
    found = []
    if choice.strip_low_cut:
        found.append(low_cut_switch(parse_frequency(choice.strip_low_cut)))
    if choice.strip_low:
        low_hz = parse_frequency(choice.strip_low)
        found.append(replace(one, label="low", centre_hz=low_hz, kind="low shelf"))
    if choice.strip_mid:
        ends = choice.strip_mid
        if len(ends) == 1:
            middle_hz = parse_frequency(ends[0])
            middle = replace(one, label="mid", centre_hz=middle_hz, q=_MIDDLE_Q)
        else:
            low_hz, high_hz = _range_hz(ends, "strip_mid")
            centre_hz = math.sqrt(low_hz * high_hz)
            middle = replace(one, label="mid", centre_hz=centre_hz, q=_MIDDLE_Q)
            middle = replace(middle, lowest_hz=low_hz, highest_hz=high_hz)
        found.append(middle)
    if choice.strip_high:
        high_hz = parse_frequency(choice.strip_high)
        found.append(replace(one, label="high", centre_hz=high_hz, kind="high shelf"))
    if not found:
        raise ValueError("a channel strip needs at least one of high, mid, low and low cut")
    return tuple(found)
