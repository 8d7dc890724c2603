"""The panel's face while something rings: what to do in large type, then what rings.  Pure."""

from __future__ import annotations

from collections.abc import Sequence

from firmware.ports import Face
from monitor.advice.ring_out_state import RingOutState
from monitor.advice.ring_out_words import STILL_RINGS
from monitor.advice.set_advice import SetAdvice, by
from monitor.present_advice import COME_DOWN, HOLD
from monitor.tonight import Shown


def hz_text(frequency_hz: float) -> str:
    """Return a frequency in whole Hz, below 100 Hz with one decimal."""
    return f"{frequency_hz:.1f} Hz" if frequency_hz < 99.95 else f"{frequency_hz:.0f} Hz"


def ring_face(rings: Sequence[Shown], advice: SetAdvice | None, leads: RingOutState | None) -> Face:
    """Return the face for rings of now, the first one leading.

    The largest type is what the hand looks for: the slider, where it has another name than the
    band.  The page's goes by the same rule (``view.js``).

    Parameters
    ----------
    rings : sequence of Shown
        At least one.
    advice : SetAdvice or None
        For the first; without it its nearest slider is told, without a depth.
    leads : RingOutState or None
        A ring-out that leads and asks for no pull now.
    """
    first = rings[0]
    names, rows = _in_set(first, advice) if leads is None else ((), (_in_ring_out(leads),))
    is_other = bool(names) and first.band.label not in names
    headline = names[0] if is_other else first.band.label
    if len(rings) > 1:
        bands = dict.fromkeys(r.band.label for r in rings[1:])
        # The same label twice tells nothing; that there is one more does.
        others = tuple(label for label in bands if label != headline)
        line_1, line_2 = (*rows, f"{len(rings)} at once")[:2]
        return Face("several", headline, line_1, line_2, others)
    hz = hz_text(first.frequency_hz)
    if first.again > 1:
        hz = f"{hz}  again! {first.again}"
    elif is_other:
        hz = f"{hz} rings"
    line_1, line_2 = (*rows, hz)[:2]
    return Face(first.degree, headline, line_1, line_2)


def _in_set(first: Shown, advice: SetAdvice | None) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return what the sliders are called, and a row for each in the words of a ring-out."""
    if advice is None:
        return (first.slider.label,), (f"pull {first.slider.label}",)
    if not advice.pulls:
        return (), (advice.line,)
    told = [by(name, pull) for name, pull in zip(advice.names, advice.pulls, strict=True)]
    return advice.names, (f"pull {told[0]}", *(f"and {one}" for one in told[1:]))


def _in_ring_out(state: RingOutState) -> str:
    """Return what to do about a ring that is asked for in a moment, or was left alone."""
    is_left = state.phase == "back_off" or state.detail == STILL_RINGS
    return COME_DOWN if is_left else HOLD
