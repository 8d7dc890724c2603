"""How much a spectral line behaves like a feedback loop: what is measured on each candidate.

A loop that has gone unstable grows along a straight line in dB, at a frequency that stands
still, out of the floor and without harmonics until something clips.  Instruments and voices
begin with a jump, wander, or bring harmonics along.  Each candidate line of a hop is described
by the numbers of ``FEATURES``: the newest second (``recent``), the sound besides
(``surroundings``), its phase (``steadiness``), the seconds before (``past``) and, in short
windows, its beginning (``onset``).  Whether they add up to feedback is the scorer's business.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from monitor.listening.attention import Attention
from monitor.listening.candidates import LineFinder
from monitor.listening.onset import ONSET_FEATURES, Onset
from monitor.listening.past import PAST_FEATURES, LongPast, past_hops
from monitor.listening.recent import HISTORY_HOPS, RECENT_FEATURES, Recent
from monitor.listening.spectrum import SpectrumHistory
from monitor.listening.steadiness import STEADINESS_FEATURES, Steadiness, steadiness_hops
from monitor.listening.surroundings import SURROUNDINGS_FEATURES, Surroundings

FEATURES: tuple[str, ...] = (
    *RECENT_FEATURES,
    *SURROUNDINGS_FEATURES,
    *STEADINESS_FEATURES,
    *PAST_FEATURES,
    *ONSET_FEATURES,
)


@dataclass(frozen=True, slots=True)
class Candidates:
    """The lines of one hop: floats [n], ``bins`` int [n], ``features`` [n, n_features].

    Shares compare the line's power with that of all the sound and of the octave around it.
    """

    bins: np.ndarray
    frequency_hz: np.ndarray
    level_db: np.ndarray
    slope_db_per_s: np.ndarray
    share_of_power_db: np.ndarray
    share_of_octave_db: np.ndarray
    features: np.ndarray


class Evidence:
    """Finds the candidate lines of one resolution and measures them.

    Parameters
    ----------
    history : SpectrumHistory
        ``kept_hops`` long, ``phase_hops`` of them with their phase; pushed by the caller.
    hop_s, window_s : float
        Time between two pushes and length of a window, as planned, before they are rounded to
        samples.
    lowest_hz, highest_hz : float
        The range this resolution answers for.
    onset : Onset
        Of the same samples; pushed and reset by the caller too.
    """

    def __init__(
        self,
        history: SpectrumHistory,
        onset: Onset,
        *,
        hop_s: float,
        window_s: float,
        lowest_hz: float,
        highest_hz: float,
    ) -> None:
        self._finder = LineFinder(
            history,
            hop_s=hop_s,
            lowest_hz=lowest_hz,
            highest_hz=highest_hz,
            n_hops=kept_hops(hop_s, window_s),
        )
        window_hops = window_hops_of(hop_s, window_s)
        self._recent = Recent(history, hop_s=hop_s, window_s=window_s, window_hops=window_hops)
        self._surroundings = Surroundings(history, hop_s=hop_s, n_hops=HISTORY_HOPS)
        self._steadiness = Steadiness(history, hop_s=hop_s, window_hops=window_hops)
        self._past = LongPast(history, hop_s=hop_s, window_hops=window_hops)
        self._onset = onset

    def reset(self) -> None:
        """Forget the programme's past (history and onset are reset by their owner)."""
        self._finder.reset()
        self._surroundings.reset()

    @property
    def attention(self) -> Attention:
        """Which lines are passed over."""
        return self._finder.attention

    def find(self, *, measure: bool = True) -> Candidates | None:
        """Candidates of the newest hop, or None; call exactly once a hop."""
        self._surroundings.follow()
        found = self._finder.find()
        return self._measure(*found) if found is not None and measure else None

    def _measure(self, bins: np.ndarray, shares_db: np.ndarray) -> Candidates:
        finder = self._finder
        line = self._recent.measure(bins, shares_db, finder.total_power)
        features = np.vstack(
            (
                line.features,
                self._surroundings.measure(bins, line.level_db, line.on_ramp, finder.peaks),
                self._steadiness.measure(bins, line.frequency_hz),
                self._past.measure(bins, line.exact_bins, finder.total_power, finder.looks),
                self._onset.measure(line.frequency_hz),
            )
        )
        return Candidates(
            bins=bins,
            frequency_hz=line.frequency_hz,
            level_db=line.line_level_db,
            slope_db_per_s=line.slope_db_per_s,
            share_of_power_db=shares_db[0],
            share_of_octave_db=shares_db[1],
            features=features.T,
        )


def window_hops_of(hop_s: float, window_s: float) -> int:
    """Hops in a window: after so many it holds nothing of what it held."""
    return max(2, round(window_s / hop_s))


def kept_hops(hop_s: float, window_s: float) -> int:
    """How many hops the history must hold."""
    return max(HISTORY_HOPS, past_hops(hop_s, window_hops_of(hop_s, window_s)) + 1)


def phase_hops(hop_s: float, window_s: float) -> int:
    """How many hops of its phase the history must hold."""
    return steadiness_hops(window_hops_of(hop_s, window_s))
