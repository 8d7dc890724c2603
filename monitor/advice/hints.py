"""What would serve better than many sliders: a low cut, a notch, moving the loudspeaker."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from monitor.advice import harm
from monitor.advice.effect import depth_db
from monitor.advice.equaliser import Equaliser
from monitor.advice.filter_places import NOTCH_Q
from monitor.advice.labels import written
from monitor.advice.least_harm import TOLERANCE_DB
from monitor.advice.pulls import Pull, Reached
from monitor.advice.sliders import LOW_CUT_DB, Slider, low_cut_switch

_LOW_HZ = 130.0
_LOW_CUT_HZ = 100.0
"""Voices have little below 80 to 120 Hz, so one switch does there without harm what several
sliders would do: common practice, no source."""
_LOW_SLIDERS = 2
_NOTCH_GAIN_DB = 1.0
_NOTCH_SHARE = 1.0 / 3.0
"""A notch is worth its trouble where it leaves a third of the tone cost and a decibel of it is
won: our choice."""
_MOVE_SLIDERS = 5
_MOVE_PULL_DB = 3.0
"""Five to seven cuts are a room's limit: common practice, no source.  Twice the distance, or the
loudspeaker where a cardioid is 6 dB down, takes 6 dB off all rings at once (inverse square law;
J. Eargle, Sound System Design Reference Manual, ch. 4), each slider off one only."""


HintKind = Literal["low cut", "notch", "move"]


@dataclass(frozen=True, slots=True)
class Hint:
    """What would do better, as a kind and as one line for the person."""

    kind: HintKind
    text: str


def hints_for(
    equaliser: Equaliser, pulls: Sequence[Pull], reached: Sequence[Reached], cost_db: float
) -> tuple[Hint, ...]:
    """Return what would serve better than these pulls; often nothing."""
    found = []
    has_low_cut = any(p.label == s.label for p in pulls for s in equaliser.sliders if _is_cut(s))
    low = [p for p in pulls if p.centre_hz <= _LOW_HZ]
    if len(low) >= _LOW_SLIDERS and not has_low_cut and _low_cut_does(equaliser, pulls, reached):
        labels = " and ".join(p.label for p in low[:2]) if len(low) == 2 else f"{len(low)} sliders"
        found.append(
            Hint("low cut", f"a low cut at about {_LOW_CUT_HZ:g} Hz would do the work of {labels}")
        )
    if notch := _notch(equaliser, reached, cost_db):
        found.append(notch)
    deep = [p for p in pulls if p.pull_db >= _MOVE_PULL_DB]
    missed = [r for r in reached if not r.met]
    if missed:
        where = ", ".join(written(r.frequency_hz) for r in missed[:3])
        found.append(
            Hint(
                "move",
                f"this equaliser cannot hold {where}: move or turn the loudspeaker, or come down",
            )
        )
    elif len(deep) >= _MOVE_SLIDERS:
        found.append(
            Hint(
                "move",
                f"{len(deep)} deep pulls: moving or turning the loudspeaker helps all at once",
            )
        )
    return tuple(found)


def _is_cut(slider: Slider) -> bool:
    return slider.kind == "low cut"


def _low_cut_does(equaliser: Equaliser, pulls: Sequence[Pull], reached: Sequence[Reached]) -> bool:
    """Whether all rings that are held would be so with a low cut in the place of low sliders.

    A low cut takes 3 dB at its corner and half of that a third of an octave above.
    """
    held = [ring for ring in reached if ring.met]
    there = np.array([ring.frequency_hz for ring in held])
    kept_db = {p.label: p.pull_db for p in pulls if p.centre_hz > _LOW_HZ}
    others_db = [kept_db.get(slider.label, 0.0) for slider in equaliser.sliders]
    low_cut_db = depth_db(low_cut_switch(_LOW_CUT_HZ), LOW_CUT_DB, there)
    depths_db = low_cut_db - equaliser.response_db(others_db, there)
    needs_db = np.array([ring.need_db for ring in held])
    return bool(np.all(depths_db >= needs_db - TOLERANCE_DB))


def _notch(equaliser: Equaliser, reached: Sequence[Reached], cost_db: float) -> Hint | None:
    """Weigh the same depths by one notch a ring."""
    if any(s.highest_q for s in equaliser.sliders):
        return None
    cost_of_notches_db = 0.0
    for ring in reached:
        notch = Slider("", ring.frequency_hz, q=NOTCH_Q)
        cost_of_notches_db += harm.weight(notch) * max(ring.need_db, 0.0)
    gain_db = cost_db - cost_of_notches_db
    if gain_db < _NOTCH_GAIN_DB or cost_of_notches_db > _NOTCH_SHARE * cost_db:
        return None
    return Hint(
        "notch",
        "narrow notches of a parametric equaliser would cost "
        f"{cost_of_notches_db:.1f} dB of tone in the place of {cost_db:.1f} dB",
    )
