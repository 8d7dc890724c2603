"""One slider of somebody's equaliser: where it works and how far it goes.

A pull is how far a slider is pulled in dB, 0 or more; a filter's depth at a frequency is how
far the level there goes down.  Both are positive.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from monitor.advice.labels import decibels, with_unit
from monitor.advice.widths import BUTTERWORTH_Q, THIRD_OCTAVE_Q, Width

SliderKind = Literal["peak", "low shelf", "high shelf", "low cut"]

DEEPEST_DB = 12.0
STEP_DB = 1.0
"""Most graphic equalisers cut 12 or 15 dB; a slider is set to a decibel or so: common practice."""
LEAST_DB = 0.05
"""What is less is told as 0.0 dB, and no plan misses it."""
LOW_CUT_DB = 12.3
"""A low cut is a switch, off or all of this: its depth one octave below its corner.  For reckoning
only; a person is told on or off."""
LOW_CUT = "low cut"
FILTER = "filter"
"""How a strip's switch and a parametric's filters (with a number) are labelled."""


@dataclass(frozen=True, slots=True)
class Slider:
    """One slider, filter or switch: the label as printed, its centre, shape and travel.

    ``lowest_hz`` and ``highest_hz`` are given where the frequency can be swept, ``lowest_q`` and
    ``highest_q`` where the width can be set too.  ``centre_hz`` of a shelf or low cut is its
    corner.
    """

    label: str
    centre_hz: float
    q: float = THIRD_OCTAVE_Q
    kind: SliderKind = "peak"
    width: Width = "proportional"
    deepest_db: float = DEEPEST_DB
    step_db: float = STEP_DB
    lowest_hz: float | None = None
    highest_hz: float | None = None
    lowest_q: float | None = None
    highest_q: float | None = None

    @property
    def is_swept(self) -> bool:
        """Whether the frequency can be chosen."""
        return self.lowest_hz is not None

    def within(self, frequency_hz: float) -> float:
        """Return the frequency nearest to this one that the slider can be set to."""
        if self.lowest_hz is None or self.highest_hz is None:
            return self.centre_hz
        return min(max(frequency_hz, self.lowest_hz), self.highest_hz)

    def q_within(self, q: float) -> float:
        """Return the Q nearest to this one that the slider can be set to."""
        if self.lowest_q is None or self.highest_q is None:
            return self.q
        return min(max(q, self.lowest_q), self.highest_q)

    def moved(self, frequency_hz: float, q: float | None = None) -> Slider:
        """Return the slider set to another frequency, and width, as far as it can be."""
        return replace(
            self,
            centre_hz=self.within(frequency_hz),
            q=self.q if q is None else self.q_within(q),
        )

    def steps_db(self, standing_db: float = 0.0) -> list[float]:
        """Return the pulls it can be set to: where it stands, then every step to its end.

        Less than half a step from where it stands is no step: no hand could make it.  Its end
        can be felt, and is one from ``LEAST_DB`` on.
        """
        count = math.floor(self.deepest_db / self.step_db + 1e-9)
        steps = [self.step_db * n for n in range(count + 1)]
        if steps[-1] < self.deepest_db - 1e-9:
            steps.append(self.deepest_db)
        nearest_db = standing_db + 0.5 * self.step_db - 1e-9
        end_db = self.deepest_db if self.deepest_db >= standing_db + LEAST_DB else math.inf
        return [standing_db, *(step for step in steps if step > nearest_db or step >= end_db)]


def place_words(label: str, centre_hz: float, q: float) -> str:
    """Return where a filter stands: "200 Hz, Q 10"; a Q only where it can be set."""
    where = with_unit(centre_hz)
    return f"{where}, Q {decibels(q)}" if label.startswith(FILTER) else where


def low_cut_switch(corner_hz: float) -> Slider:
    """Return a low cut that can be switched on."""
    return Slider(
        LOW_CUT,
        corner_hz,
        q=BUTTERWORTH_Q,
        kind="low cut",
        deepest_db=LOW_CUT_DB,
        step_db=LOW_CUT_DB,
    )
