"""The course of a line: how its log-odds, level and place have gone since it was first suspected.

One look says how much a line resembles feedback now (``evidence``, ``scorer``); looks overlap and
repeat each other's mistakes.  What decides is how the resemblance has gone: it builds up and
stays with a loop, it comes and goes with a note.  The course of every suspicious line is
described by the numbers of ``COURSE_FEATURES``, over up to some seconds and in constant time a
hop; a second scorer, of the same kind as the first, turns them into the log-odds that decide.

Conventions
-----------
Lines live in numbered slots; arrays over slots are [MOST_LINES], over candidates [n].
"""

from __future__ import annotations

import numpy as np

from monitor.listening.evidence import FEATURES, Candidates

MOST_LINES = 32
"""Twice what one look can bring."""
SURELY_NOT = -2.0
"""Log-odds below which a line is passed over for up to five hops, and none begins: 1 in 8."""
LOG_ODDS_LIMIT = 6.0
"""No single look may count for more than this: looks overlap and are not independent."""
MISSED_LOG_ODDS = -3.0
"""What a hop counts for at which a suspicious line is not found."""
SAME_LINE_BINS = 1.2
"""Two peaks of one hop cannot be closer than about two bins (the Hann main lobe)."""
LOST_S = 0.25
"""A line not found for so long has ended."""
CLIMB_S = 2.0
"""Time constant of the straight line through a line's level: slow loops climb for seconds."""
_MEANS_S = np.array([0.1, 0.3, 1.0, 3.0])
_DRIFTS = np.array([0.5, 2.0])
"""What each hop costs the two cumulative sums (E. S. Page, "Continuous inspection schemes",
Biometrika 41, 1954): one that is quick, one that is slow to believe."""
_MOST_SUM = 40.0
_NO_SLOTS = np.zeros(0, dtype=np.intp)

_TAKEN = (
    "prominence_db",
    "slope_16",
    "residual_16_db",
    "deviation_12_cents",
    "harmonic_2.00_db",
    "harmonic_0.50_db",
    "largest_rise_db",
    "ramp_s",
    "share_of_power_db",
    "share_of_octave_db",
    "rest_change_32_db",
    "follows_rest",
    "window_s",
    "linger_db",
    "over_others_db",
    "over_record_db",
    "over_record_octave_db",
    "unsteady_8_db",
    "unsteady_32_db",
    "unsteady_phase_16_db",
    "unsteady_phase_64_db",
    "drift_cents",
    "past_slope_2.5_s",
    "past_residual_2.5_s_db",
    "past_out",
    "past_age_s",
    "past_rise_db",
    "past_growth_since_rise_db",
    "past_wander_cents",
    "past_rest_spread_db",
    "past_follows_rest",
    "past_harmonic_2_db",
    "past_harmonic_2_follows",
    "fine_slope_8",
    "fine_slope_64",
    "fine_residual_8_db",
    "fine_residual_16_db",
    "fine_residual_64_db",
    "fine_since_30_s",
    "fine_knock_db",
    "fine_rest_rise_db",
    "fine_over_neighbours_db",
)
"""Taken over from the newest look."""
_TAKEN_PLACES = np.array([FEATURES.index(name) for name in _TAKEN])

COURSE_FEATURES: tuple[str, ...] = (
    "log_odds",
    *(f"mean_{s:g}_s" for s in _MEANS_S),
    *(f"sum_{drift:g}" for drift in _DRIFTS),
    "highest_log_odds",
    "found_part",
    "age_s",
    "growth_db",
    "fall_db",
    "climb_db_per_s",
    "climb_residual_db",
    "wander_cents",
    "others",
    *_TAKEN,
)


class Courses:
    """Follows the suspicious lines of one resolution.

    Parameters
    ----------
    hop_s : float
        Time between two calls of ``follow`` or ``miss``.
    bin_hz : float
        Width of a bin.
    """

    def __init__(self, *, hop_s: float, bin_hz: float) -> None:
        self._hop_s = hop_s
        self._tolerance_hz = SAME_LINE_BINS * bin_hz
        self._lost_hops = round(LOST_S / hop_s)
        self._parts = 1.0 - np.exp(-hop_s / _MEANS_S)
        self._found_part = self._parts[2]
        self._keep = float(np.exp(-hop_s / CLIMB_S))
        self.reset()

    def reset(self) -> None:
        """Forget all lines."""
        self.alive = np.zeros(MOST_LINES, dtype=bool)
        self.frequency_hz = np.zeros(MOST_LINES)
        self._means = np.zeros((MOST_LINES, len(_MEANS_S)))
        self._sums = np.zeros((MOST_LINES, len(_DRIFTS)))
        self._highest = np.zeros(MOST_LINES)
        self._found = np.zeros(MOST_LINES)
        self._log_odds = np.zeros(MOST_LINES)
        self._age_hops = np.zeros(MOST_LINES)
        self._missed_hops = np.zeros(MOST_LINES)
        self._first = np.zeros((MOST_LINES, 2))  # level, frequency
        self._top_db = np.zeros(MOST_LINES)
        # Moments of (1, time, time^2, level, time * level, level^2, place, place^2), fading.
        self._moments = np.zeros((MOST_LINES, 8))

    def follow(self, found: Candidates, log_odds: np.ndarray) -> np.ndarray:
        """Take in one hop's lines (log-odds float [n]); return their slots, int [n], -1 for none.

        Call it every hop that brings candidates, and ``miss`` at every other.
        """
        slots = np.full(len(log_odds), -1)
        if not self.alive.any() and not (log_odds >= SURELY_NOT).any():
            return slots
        self._match(found, log_odds, slots)
        self._age(slots)
        matched = (slots >= 0).nonzero()[0]
        if len(matched):
            self._take(
                slots[matched],
                log_odds[matched],
                found.level_db[matched],
                found.frequency_hz[matched],
            )
        return slots

    def miss(self) -> None:
        """Let a hop pass that brought no candidates."""
        if self.alive.any():
            self._age(_NO_SLOTS)

    def features(self, found: Candidates, chosen: np.ndarray, slots: np.ndarray) -> np.ndarray:
        """Course features [k, n_features] of candidates ``chosen``, int [k], in slots int [k]."""
        values = np.empty((len(slots), len(COURSE_FEATURES)))
        values[:, 0] = self._log_odds[slots]
        values[:, 1:5] = self._means[slots]
        values[:, 5:7] = self._sums[slots]
        values[:, 7] = self._highest[slots]
        values[:, 8] = self._found[slots]
        values[:, 9] = self._age_hops[slots] * self._hop_s
        level_db = found.level_db[chosen]
        values[:, 10] = level_db - self._first[slots, 0]
        values[:, 11] = self._top_db[slots] - level_db
        n, t, tt, y, ty, yy, p, pp = self._moments[slots].T
        time, level, place = t / n, y / n, p / n
        spread = np.maximum(tt / n - time * time, 1e-6)
        slope = (ty / n - time * level) / spread
        values[:, 12] = slope
        values[:, 13] = np.sqrt(np.maximum(yy / n - level * level - slope * slope * spread, 0.0))
        values[:, 14] = np.sqrt(np.maximum(pp / n - place * place, 0.0))
        suspicious = self.alive & (self._sums[:, 0] > 0.0)
        values[:, 15] = suspicious.sum() - suspicious[slots]
        values[:, 16:] = found.features[np.ix_(chosen, _TAKEN_PLACES)]
        return values

    def _match(self, found: Candidates, log_odds: np.ndarray, slots: np.ndarray) -> None:
        """Give each candidate its line's slot, the loudest first; begin lines for the likely."""
        free = self.alive.copy()
        for i in np.argsort(-found.level_db):
            frequency_hz = found.frequency_hz[i]
            apart = np.abs(self.frequency_hz - frequency_hz)
            apart[~free] = np.inf
            slot = int(apart.argmin())
            if apart[slot] > self._tolerance_hz:
                if log_odds[i] < SURELY_NOT or self.alive.all():
                    continue
                slot = int(self.alive.argmin())
                self._begin(slot, float(found.level_db[i]), float(frequency_hz))
            free[slot] = False
            slots[i] = slot

    def _begin(self, slot: int, level_db: float, frequency_hz: float) -> None:
        self.alive[slot] = True
        self._means[slot] = SURELY_NOT
        self._sums[slot] = 0.0
        self._highest[slot] = -LOG_ODDS_LIMIT
        self._found[slot] = 0.0
        self._log_odds[slot] = SURELY_NOT
        self._age_hops[slot] = 0.0
        self._missed_hops[slot] = 0.0
        self._first[slot] = level_db, frequency_hz
        self._top_db[slot] = level_db
        self._moments[slot] = 0.0

    def _age(self, slots: np.ndarray) -> None:
        """Let a hop pass for all lines; end those that have not been found for too long."""
        alive = self.alive
        self._age_hops += alive
        missed = alive.copy()
        missed[slots[slots >= 0]] = False
        # Time moves on under the straight line: the newest level stands at 0.
        moments, hop_s = self._moments, self._hop_s
        moments[:, 2] += hop_s * (hop_s * moments[:, 0] - 2.0 * moments[:, 1])
        moments[:, 1] -= hop_s * moments[:, 0]
        moments[:, 4] -= hop_s * moments[:, 3]
        moments *= self._keep
        if not missed.any():
            return
        self._missed_hops += missed
        # What the scorer was sure about is passed over, which is no miss.
        counts = missed & (self._log_odds >= SURELY_NOT)
        if counts.any():
            means = self._means[counts]
            self._means[counts] = means + self._parts * (MISSED_LOG_ODDS - means)
            self._sums[counts] = np.maximum(self._sums[counts] + MISSED_LOG_ODDS, 0.0)
            self._found[counts] *= 1.0 - self._found_part
        self.alive[self._missed_hops > self._lost_hops] = False

    def _take(
        self,
        slots: np.ndarray,
        log_odds: np.ndarray,
        level_db: np.ndarray,
        frequency_hz: np.ndarray,
    ) -> None:
        odds = np.minimum(np.maximum(log_odds, -LOG_ODDS_LIMIT), LOG_ODDS_LIMIT)
        self.frequency_hz[slots] = frequency_hz
        self._log_odds[slots] = odds
        self._missed_hops[slots] = 0.0
        means = self._means[slots]
        self._means[slots] = means + self._parts * (odds[:, None] - means)
        sums = self._sums[slots] + odds[:, None] - _DRIFTS
        self._sums[slots] = np.minimum(np.maximum(sums, 0.0), _MOST_SUM)
        self._highest[slots] = np.maximum(self._highest[slots], odds)
        self._found[slots] += self._found_part * (1.0 - self._found[slots])
        self._top_db[slots] = np.maximum(self._top_db[slots], level_db)
        rise = level_db - self._first[slots, 0]
        cents = 1731.0 * (frequency_hz / self._first[slots, 1] - 1.0)
        moments = self._moments[slots]
        moments[:, 0] += 1.0
        moments[:, 3] += rise
        moments[:, 5] += rise * rise
        moments[:, 6] += cents
        moments[:, 7] += cents * cents
        self._moments[slots] = moments
