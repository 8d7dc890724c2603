"""Which lines of one resolution are suspicious now, and what their courses have been."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.listening.courses import COURSE_FEATURES, SURELY_NOT, Courses
from monitor.listening.evidence import Candidates
from monitor.listening.layers import Layer
from monitor.listening.scorer import Scorer

_SUM_PLACE = COURSE_FEATURES.index("sum_2")


@dataclass(frozen=True, slots=True)
class Suspected:
    """The followed lines of one hop: floats [n], ``bins`` int [n].

    ``features`` [n, n_features] are those of their courses, ``sums`` [n] what their looks have
    added up to.
    """

    bins: np.ndarray
    frequency_hz: np.ndarray
    level_db: np.ndarray
    slope_db_per_s: np.ndarray
    share_of_power_db: np.ndarray
    share_of_octave_db: np.ndarray
    features: np.ndarray
    sums: np.ndarray


class Suspects:
    """Looks at every hop of one resolution and follows what is suspicious."""

    def __init__(self, layer: Layer, scorer: Scorer) -> None:
        self._layer = layer
        self._scorer = scorer
        self._courses = Courses(hop_s=layer.resolution.hop_s, bin_hz=layer.history.bin_hz)

    def reset(self) -> None:
        """Forget what was followed (the layer is reset by its owner)."""
        self._courses.reset()

    def look(self, window: np.ndarray) -> Suspected | None:
        """Take in the newest samples [>= window_samples]; None when nothing is followed now."""
        found = self._layer.look(window)
        if found is None:
            self._courses.miss()
            return None
        log_odds = self._scorer.log_odds(found.features)
        surely_not = log_odds < SURELY_NOT
        self._layer.evidence.attention.dismiss(found.bins[surely_not])
        if self._layer.resolution.stride == 1:
            # Every second hop is for what is already suspicious: half the work.
            self._layer.evidence.attention.attend(found.bins[~surely_not])
        slots = self._courses.follow(found, log_odds)
        chosen = (slots >= 0).nonzero()[0]
        if len(chosen) == 0:
            return None
        return self._of(found, chosen, slots[chosen])

    def _of(self, found: Candidates, chosen: np.ndarray, slots: np.ndarray) -> Suspected:
        features = self._courses.features(found, chosen, slots)
        return Suspected(
            bins=found.bins[chosen],
            frequency_hz=found.frequency_hz[chosen],
            level_db=found.level_db[chosen],
            slope_db_per_s=found.slope_db_per_s[chosen],
            share_of_power_db=found.share_of_power_db[chosen],
            share_of_octave_db=found.share_of_octave_db[chosen],
            features=features,
            sums=features[:, _SUM_PLACE],
        )
