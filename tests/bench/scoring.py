"""Right, false and late: what a detector's flags are worth beside the truth of a run.

Pure functions: flags and a run in, plain values out.  A detector is whatever gives ``Flagged``
episodes, so that ours, the hand rule and published criteria are scored by the same lines.

Conventions
-----------
Times are seconds from the first sample; None: never happened; ``inf``: not within the sound.
A flag is *at* a frequency within ``NEAR_PART`` of it (or ``NEAR_HZ``, if that is more).

Terms
-----
judged
    A loop whose feedback overtakes the programme (in its own third octave) at least
    ``ROOM_TO_ACT_S`` before somebody acts or the sound ends: the howls that must be caught.  Not
    one that a compressor holds further than ``HELD_DB`` under its limit for most of that time:
    what it feeds back dies away by itself.
right
    A flag at a frequency that the Nyquist criterion calls unstable at the worst moment, shown
    while the loop is within ``NEAR_DB`` of ringing (or up to ``LINGERS_S`` after), and not over
    before the loop is unstable.  One raised too early and still shown then counts from then on;
    raised too early, it is false as well.
false
    A flag raised anywhere else: at a frequency stable by more than ``NEAR_DB``, or long before or
    after.  What lies between the two is neither: a resonance that close rings on by itself.
stop
    When a ring has stopped: the first moment after the loop is stable for good at which the
    feedback, in the third octave of the flagged frequency, has fallen ``STOPPED_DB`` below its
    highest or below the programme in the same band, and stays so for ``STAYS_S``.  The levels
    are those of the overtake: means over 30 ms of the feedback and 200 ms of the programme.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from monitor.listening.bands import third_octave_of
from monitor.listening.rings import RingEvent
from monitor.stage.provoke import Run
from monitor.stage.run_truth import NEAR_DB, in_band, running_level

NEAR_PART = 0.012
"""A flag is for a frequency when it lies this near: less than a quarter tone, more than drift."""
NEAR_HZ = 6.0
"""... or this near, if that is more: about a bin of the longer window."""
ROOM_TO_ACT_S = 0.5
"""Overtaken later than this before the end, nothing could have been caught in time."""
HELD_DB = -0.25
"""With a loop time of 50 ms this falls by 5 dB a second: it rings on, it does not howl."""
LINGERS_S = 1.0
"""A loop just left stable still sounds for about this long."""
STOPPED_DB = 10.0
"""Half as loud (S. S. Stevens, "The measurement of loudness", J. Acoust. Soc. Am. 27, 1955)."""
STAYS_S = 0.1
ROOM_TO_CLOSE_S = 0.5
"""A ring that stops later than this before the end is not asked how soon it closed."""


@dataclass(frozen=True, slots=True)
class Flagged:
    """One ring as a detector flagged it: when it was called ringing and howl, and when closed.

    ``band`` is the number of the third octave that would be shown.
    """

    frequency_hz: float
    band: int
    ringing_s: float | None
    howl_s: float | None
    end_s: float


@dataclass(frozen=True, slots=True)
class LoopFacts:
    """What a run was and what happened in it, whoever listens; the axes the tables go by.

    ``held_excess_db`` is the median excess while it rings, from the onset until somebody acts,
    with what a compressor takes away: one that squeezes hard holds the loop at its limit, where
    it swells with the programme and does not grow.
    """

    seed: int
    stable: bool
    t60_s: float
    place: str
    programme: str
    provocation: str
    peak_excess_db: float
    held_excess_db: float
    limiter: str
    compressor_ratio: float
    box_below_m: float
    box_noise_dbfs: float
    sample_rate_hz: int
    length_s: float
    onset_s: float | None
    overtake_s: float | None
    louder_s: float | None
    end_s: float

    @property
    def judged(self) -> bool:
        """True for the howls that must be caught."""
        return (
            self.overtake_s is not None
            and self.overtake_s <= self.end_s - ROOM_TO_ACT_S
            and self.held_excess_db >= HELD_DB
        )


@dataclass(frozen=True, slots=True)
class LoopScore:
    """What one row of the tables made of one run.

    ``howl_s`` and ``ringing_s`` are the first right flags; a howl's only if it came before
    somebody acted.  ``cents`` is its distance from the true frequency, ``right_band`` None
    where the true frequency is within 1 % of an edge.  ``close_s`` holds for each ring that
    was open when it stopped how long it took to close; ``lit_part`` is the part of the time from
    the first right howl until the loop is stable in which a right howl was shown (None where
    a detector only gives moments).
    """

    howl_s: float | None
    ringing_s: float | None
    cents: float | None
    right_band: bool | None
    false_howls: int
    false_ringings: int
    close_s: tuple[float, ...]
    lit_part: float | None


def episodes(events: Iterable[RingEvent]) -> list[Flagged]:
    """Each ring of a stream of events, in the order in which they began."""
    rings: dict[int, Flagged] = {}
    for event in events:
        ring = event.ring
        known = rings.get(ring.id)
        rings[ring.id] = Flagged(
            frequency_hz=ring.frequency_hz,
            band=ring.band.number,
            ringing_s=event.at_s if known is None else known.ringing_s,
            howl_s=event.at_s if event.kind == "howl" else known.howl_s if known else None,
            end_s=event.at_s if event.kind == "closed" else math.inf,
        )
    return list(rings.values())


def moments(flags: Iterable[tuple[float, float]]) -> list[Flagged]:
    """Howls of a detector that only says when, s, and where, Hz: each over at once."""
    return [
        Flagged(hz, third_octave_of(hz).number, ringing_s=None, howl_s=at_s, end_s=at_s)
        for at_s, hz in flags
    ]


def is_at(frequency_hz: float, places_hz: np.ndarray) -> bool:
    """Whether a frequency is one of these [n]."""
    reach_hz = max(NEAR_PART * frequency_hz, NEAR_HZ)
    return bool(np.any(np.abs(places_hz - frequency_hz) <= reach_hz))


def facts_of(run: Run, *, programme: str) -> LoopFacts:
    """The facts of a run; ``programme`` names what was played through it."""
    spec = run.spec
    length_s = len(run.closed) / run.sample_rate_hz
    end_s = length_s if run.acts_s is None else run.acts_s
    begin_s = 0.0 if run.onset_s is None else run.onset_s
    rings = (run.excess_time_s >= begin_s) & (run.excess_time_s <= end_s)
    return LoopFacts(
        seed=spec.seed,
        stable=not run.truth,
        t60_s=spec.t60_s,
        place=spec.place,
        programme=programme,
        provocation=spec.provocation,
        peak_excess_db=run.peak_excess_db,
        held_excess_db=float(np.median(run.excess_db[rings])),
        limiter=spec.limiter,
        compressor_ratio=spec.compressor_ratio,
        box_below_m=spec.box_below_m or 0.0,
        box_noise_dbfs=spec.box_noise_dbfs,
        sample_rate_hz=run.sample_rate_hz,
        length_s=length_s,
        onset_s=run.onset_s,
        overtake_s=run.overtake_s,
        louder_s=run.louder_than_programme_s,
        end_s=end_s,
    )


class Truth:
    """What is known of a run, worked out once for all that is scored on it.

    ``true_hz`` are the frequencies that ring, ``near_hz`` these and the ones that nearly do;
    flags for them are not false from ``first_s`` to ``last_s``.
    """

    def __init__(self, run: Run) -> None:
        self.run = run
        self.true_hz = np.array([mode.frequency_hz for mode in run.truth])
        self.near_hz = np.array([mode.frequency_hz for mode in (*run.truth, *run.near)])
        self.length_s = len(run.closed) / run.sample_rate_hz
        self.end_s = self.length_s if run.acts_s is None else run.acts_s
        near = run.excess_time_s[run.excess_db > -NEAR_DB]
        self.first_s = float(near[0]) if len(near) else math.inf
        self.last_s = float(near[-1]) + LINGERS_S if len(near) else -math.inf
        self._stops_s: dict[int, float | None] = {}

    def excuses(self, ring: Flagged, at_s: float | None) -> bool:
        """Whether a flag at this moment is not false."""
        in_time = at_s is not None and self.first_s <= at_s <= self.last_s
        return in_time and is_at(ring.frequency_hz, self.near_hz)

    def right_from_s(self, ring: Flagged, at_s: float | None) -> float | None:
        """The moment from which a flag raised at ``at_s`` is right; None: never."""
        onset_s = self.run.onset_s
        if at_s is None or onset_s is None or not is_at(ring.frequency_hz, self.true_hz):
            return None
        from_s = max(at_s, self.first_s)
        return from_s if from_s <= self.last_s and ring.end_s >= max(from_s, onset_s) else None

    def stop_s(self, frequency_hz: float) -> float | None:
        """When the ring at this frequency stopped (see the top of this module)."""
        number = third_octave_of(frequency_hz).number
        if number not in self._stops_s:
            self._stops_s[number] = self._stop_s(frequency_hz)
        return self._stops_s[number]

    def _stop_s(self, frequency_hz: float) -> float | None:
        run = self.run
        if run.off_s is None or run.onset_s is None:
            return None
        rate = run.sample_rate_hz
        feedback, programme = band_levels(run, frequency_hz)
        onset, off = round(run.onset_s * rate), round(run.off_s * rate)
        highest = float(feedback[onset : off + 1].max())
        gone = (feedback < highest * 10.0 ** (-STOPPED_DB / 10.0)) | (feedback < programme)
        stays = round(STAYS_S * rate)
        count = np.concatenate(([0], np.cumsum(gone[off:])))
        whole = np.flatnonzero(count[stays:] - count[:-stays] == stays)
        return (off + int(whole[0])) / rate if len(whole) else None


def band_levels(run: Run, frequency_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """Power of feedback and programme in the third octave of a frequency, float64 [n] each.

    Means over 30 and 200 ms, as the overtake is measured.
    """
    rate = run.sample_rate_hz
    feedback = in_band(run.feedback, frequency_hz, rate).astype(np.float64)
    programme = in_band(run.opened, frequency_hz, rate).astype(np.float64)
    return running_level(feedback**2, int(0.03 * rate)), running_level(
        programme**2, int(0.2 * rate)
    )


def score_loop(truth: Truth, flagged: Sequence[Flagged]) -> LoopScore:
    """Score a detector's episodes on a run."""
    howls = _from_s((truth.right_from_s(ring, ring.howl_s), ring) for ring in flagged)
    ringings = _from_s((truth.right_from_s(ring, ring.ringing_s), ring) for ring in flagged)
    caught = [(at_s, ring) for at_s, ring in howls if at_s <= truth.end_s]
    cents, band = _place(caught[0][1], truth.true_hz) if caught else (None, None)
    return LoopScore(
        howl_s=caught[0][0] if caught else None,
        ringing_s=ringings[0][0] if ringings else None,
        cents=cents,
        right_band=band,
        false_howls=_false(truth, [(ring, ring.howl_s) for ring in flagged]),
        false_ringings=_false(truth, [(ring, ring.ringing_s) for ring in flagged]),
        close_s=_close_times(truth, flagged),
        lit_part=_lit_part(truth, howls) if caught else None,
    )


def _from_s(rings: Iterable[tuple[float | None, Flagged]]) -> list[tuple[float, Flagged]]:
    """The right ones, in the order in which they became so."""
    right = [(at_s, ring) for at_s, ring in rings if at_s is not None]
    return sorted(right, key=lambda pair: pair[0])


def _false(truth: Truth, flags: Sequence[tuple[Flagged, float | None]]) -> int:
    return sum(at_s is not None and not truth.excuses(ring, at_s) for ring, at_s in flags)


def _place(ring: Flagged, true_hz: np.ndarray) -> tuple[float, bool | None]:
    """Distance in cents from the nearest true frequency, and whether the band is its band."""
    nearest_hz = float(true_hz[np.argmin(np.abs(true_hz - ring.frequency_hz))])
    true_band = third_octave_of(nearest_hz)
    inside = true_band.lower_hz * 1.01 < nearest_hz < true_band.upper_hz / 1.01
    cents = 1200.0 * abs(math.log2(ring.frequency_hz / nearest_hz))
    return cents, ring.band == true_band.number if inside else None


def _close_times(truth: Truth, flagged: Sequence[Flagged]) -> tuple[float, ...]:
    """How long after it stopped each ring that was still open closed, s; ``inf``: never."""
    took_s = []
    for ring in flagged:
        opened_s = ring.howl_s if ring.ringing_s is None else ring.ringing_s
        if (
            opened_s is None
            or ring.end_s == opened_s
            or not is_at(ring.frequency_hz, truth.true_hz)
        ):
            continue
        stop_s = truth.stop_s(ring.frequency_hz)
        if stop_s is None or stop_s > truth.length_s - ROOM_TO_CLOSE_S:
            continue
        if opened_s <= stop_s <= ring.end_s:
            took_s.append(ring.end_s - stop_s)
    return tuple(took_s)


def _lit_part(truth: Truth, howls: Sequence[tuple[float, Flagged]]) -> float | None:
    """Part of the time from the first howl until the loop is stable with a howl shown."""
    if all(ring.end_s == ring.howl_s for _, ring in howls):
        return None
    begin_s = howls[0][0]
    end_s = truth.length_s if truth.run.off_s is None else truth.run.off_s
    lit_s, reached_s = 0.0, begin_s
    for at_s, ring in howls:
        from_s, until_s = max(reached_s, at_s), min(ring.end_s, end_s)
        if until_s > from_s:
            lit_s += until_s - from_s
            reached_s = until_s
    return lit_s / (end_s - begin_s) if end_s > begin_s else 1.0
