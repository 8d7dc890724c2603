"""The user's own equaliser: its sliders, what they do together, and which is nearest.

Conventions
-----------
Sliders of a graphic equaliser are ordered from low to high and carry the label printed on
them.  Nearest is by log distance: borders lie at the geometric mean of neighbouring centres.
A parametric's filters and a channel strip's swept middle can be put anywhere in their range;
there the nearest is the one that does most, set to the frequency asked for.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from monitor.advice.choice import EqualiserChoice, sliders_of
from monitor.advice.labels import written
from monitor.advice.sliders import Slider
from monitor.counted import counted

if TYPE_CHECKING:
    # The page reads the settings, and must not load numpy; so the arithmetic is imported where
    # it is done.
    import numpy as np


@dataclass(frozen=True)
class Equaliser:
    """The sliders of one equaliser, lowest first where they are fixed."""

    name: str
    sliders: tuple[Slider, ...]
    _borders_hz: tuple[float, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if not self.sliders:
            raise ValueError("an equaliser needs at least one slider; give it a label")
        centres = [slider.centre_hz for slider in self.sliders]
        borders_hz = tuple(math.sqrt(low * high) for low, high in pairwise(centres))
        object.__setattr__(self, "_borders_hz", borders_hz)

    @classmethod
    def from_settings(cls, kind: str, labels: Sequence[str] = ()) -> Equaliser:
        """Build a graphic equaliser, or another kind as the defaults have it.

        Parameters
        ----------
        kind : str
            "31", "15", "10", "9", "7", "5", "parametric", "strip", or "typed" for ``labels``.
        labels : sequence of str
            The printed labels, in any order; only with "typed".

        Raises
        ------
        ValueError
            As ``from_choice``.
        """
        return cls.from_choice(EqualiserChoice(kind, tuple(labels)))

    @classmethod
    def from_choice(cls, choice: EqualiserChoice) -> Equaliser:
        """Build the equaliser that the settings describe.

        Raises
        ------
        ValueError
            For an unknown kind, no labels, too many, a label that is no frequency, two that
            mean the same one, or a range that is none; one clear line.
        """
        sliders = sliders_of(choice)
        if choice.kind == "strip":
            return cls("channel strip", sliders)
        noun = "filter" if choice.kind == "parametric" else "band"
        return cls(counted(len(sliders), noun), sliders)

    @property
    def is_graphic(self) -> bool:
        """Whether all it has are peaks at fixed places."""
        return all(s.kind == "peak" and not s.is_swept for s in self.sliders)

    def nearest(self, frequency_hz: float) -> Slider:
        """Return the slider to take for a frequency; the lower one on a tie.

        A filter that can be put anywhere is named by the frequency to put it to.

        Raises
        ------
        ValueError
            If ``frequency_hz`` is not a finite positive number.
        """
        if not (math.isfinite(frequency_hz) and frequency_hz > 0.0):
            raise ValueError(f"frequency {frequency_hz} Hz is not a positive finite number")
        if self.is_graphic:
            return self.sliders[bisect_left(self._borders_hz, frequency_hz)]
        from monitor.advice.effect import share

        # A low cut is no answer to one ring: it takes everything below away.
        best = max(
            (s for s in self.sliders if s.kind != "low cut"),
            key=lambda s: round(share(s, frequency_hz), 6),
            default=self.sliders[0],
        )
        if not best.is_swept:
            return best
        best = best.moved(frequency_hz)
        return replace(best, label=written(best.centre_hz)) if best.highest_q else best

    def with_sliders(self, sliders: Sequence[Slider]) -> Equaliser:
        """Return the same equaliser with its filters put elsewhere."""
        return replace(self, sliders=tuple(sliders))

    def response_db(self, pulls_db: Sequence[float], frequency_hz: np.ndarray) -> np.ndarray:
        """Return the level of the whole in dB; ``pulls_db`` are positive, one for each slider."""
        import numpy as np

        from monitor.advice.effect import depth_db

        total_db = np.zeros(len(frequency_hz))
        for slider, pull_db in zip(self.sliders, pulls_db, strict=True):
            if pull_db != 0.0:
                total_db -= depth_db(slider, pull_db, frequency_hz)
        return total_db

    def response(
        self, pulls_db: Sequence[float], frequency_hz: np.ndarray, sample_rate_hz: int
    ) -> np.ndarray:
        """Return the complex response at a sample rate; sliders too near half of it do nothing."""
        import numpy as np

        from monitor.advice.effect import response

        total = np.ones(len(frequency_hz), complex)
        for slider, pull_db in zip(self.sliders, pulls_db, strict=True):
            if pull_db != 0.0 and slider.centre_hz < 0.49 * sample_rate_hz:
                total *= response(slider, pull_db, frequency_hz, sample_rate_hz)
        return total
