"""A room for the ring-out's bench: where its loop rings with which pulls, and what is heard of it.

The loop's own response decides (zero phase and more than unit gain, as in ``stage.nyquist``); no
sound is made.  Each frequency that meets the phase condition has a level that climbs and dies by
``margin.growth_of`` and is heard when it stands out of the programme.

Conventions
-----------
Levels in dB over the programme at that frequency.  0 dB of gain is where the room begins to ring
with a flat equaliser.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.fft import rfft

from monitor.advice.equaliser import Equaliser
from monitor.advice.growth import Slope
from monitor.advice.margin import growth_of
from monitor.advice.ring_out_state import RingNews
from monitor.stage.filters import low_cut_response
from monitor.stage.nyquist import _crossings, grid_size
from monitor.stage.room import random_room, responses

RATE_HZ = 48000
LATENCY_S = 0.002
LOW_CUT_HZ = 100.0
FOLLOWED = 48
"""So many frequencies of a room are followed: all within 6 dB of the first, mostly."""

HEARD_DB = 20.0
"""A narrow line is seen when it stands 13 to 20 dB out (measured before this project)."""
GONE_DB = 8.0
END_DB = 45.0
"""The end stop's level over the programme."""
FLOOR_DB = 0.0
HEARS_S = 0.3
"""From there until it is told."""


@dataclass(frozen=True, slots=True)
class HeardErrors:
    """Errors of what is heard, as natural logarithms: mean and one standard deviation.

    ``climb`` is that of the excess beside the true one if the loop time were known, ``fall`` that
    of the loop time learnt from an answer beside the true one.
    """

    climb: tuple[float, float] = (-0.115, 0.19)
    fall: tuple[float, float] = (0.19, 0.45)


HEARD_ERRORS = HeardErrors()
"""``growth.SLOPE_PART`` and ``margin.ANSWER_SPREAD`` say where from: 8 in 10 of 115 runs of the
practice stage between -0.36 and +0.13, and of 110 answers between -0.38 and +0.76."""


@dataclass(slots=True)
class _Mode:
    frequency_hz: float
    level_db: float
    margin_db: float
    loop_time_s: float
    id: int | None = None
    out_s: float = 0.0
    told: bool = False


class BenchRoom:
    """One random room's loop on a frequency grid."""

    def __init__(self, seed: int) -> None:
        room = random_room(seed)
        known = responses(room, RATE_HZ)
        size = grid_size(len(known.feedback))
        whole_hz = np.fft.rfftfreq(size, 1.0 / RATE_HZ)
        cut = low_cut_response(corner_hz=LOW_CUT_HZ, frequency_hz=whole_hz, sample_rate_hz=RATE_HZ)
        turned = np.exp(-2j * np.pi * whole_hz * LATENCY_S)
        loop = rfft(known.feedback.astype(np.float64), size) * cut * turned
        first, last = np.searchsorted(whole_hz, [20.0, 20000.0])
        self.seed = seed
        self.grid_hz = whole_hz[first:last]
        self._loop = loop[first:last]
        self._loop = self._loop / _crossings(self._loop)[1].max()
        self._one = lru_cache(maxsize=256)(self._slider_response)

    def _slider_response(self, slider: object, pull_db: float) -> np.ndarray:
        return Equaliser("one", (slider,)).response([pull_db], self.grid_hz, RATE_HZ)  # type: ignore[arg-type]

    def equalised(self, equaliser: Equaliser, pulls_db: Sequence[float]) -> np.ndarray:
        """Return the loop's response with these pulls."""
        loop = self._loop
        for slider, pull_db in zip(equaliser.sliders, pulls_db, strict=True):
            if pull_db != 0.0:
                loop = loop * self._one(slider, float(pull_db))
        return loop

    def limit_db(self, equaliser: Equaliser, pulls_db: Sequence[float]) -> float:
        """Return the gain at which it begins to ring with these pulls."""
        return -20.0 * math.log10(_crossings(self.equalised(equaliser, pulls_db))[1].max())

    def modes(
        self, equaliser: Equaliser, pulls_db: Sequence[float], most: int = FOLLOWED
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return frequency, margin at 0 dB of gain and loop time of the most critical ones."""
        loop = self.equalised(equaliser, pulls_db)
        place, level = _crossings(loop)
        order = np.argsort(-level)[:most]
        cell = place[order].astype(int)
        step_hz = self.grid_hz[1] - self.grid_hz[0]
        turn = np.angle(loop[cell] * np.conj(loop[cell + 1]))
        frequency_hz = self.grid_hz[0] + place[order] * step_hz
        loop_time_s = np.maximum(turn / (2.0 * np.pi * step_hz), 0.002)
        return frequency_hz, -20.0 * np.log10(level[order]), loop_time_s


class Sounding:
    """A room that is played: levels go on, and what is heard of them is told."""

    def __init__(self, room: BenchRoom, equaliser: Equaliser, rng: np.random.Generator) -> None:
        self._room, self._rng = room, rng
        self.gain_db = -3.0
        self.clock_s = 0.0
        self._modes: list[_Mode] = []
        self._ids = 0
        self.set(equaliser, [0.0] * len(equaliser.sliders))

    def set(self, equaliser: Equaliser, pulls_db: Sequence[float]) -> None:
        """Pull sliders: the frequencies move a little, what sounds goes on sounding."""
        self.equaliser, self.pulls_db = equaliser, list(pulls_db)
        found = self._room.modes(equaliser, pulls_db)
        old, self._modes = self._modes, []
        for hz, margin_db, time_s in zip(*(column.tolist() for column in found), strict=True):
            near = [m for m in old if abs(m.frequency_hz - hz) < max(3.0, 0.004 * hz)]
            mode = min(near, key=lambda m: abs(m.frequency_hz - hz), default=None)
            if mode is None:
                self._modes.append(_Mode(hz, FLOOR_DB, margin_db, time_s))
            else:
                old.remove(mode)
                mode.frequency_hz, mode.margin_db, mode.loop_time_s = hz, margin_db, time_s
                self._modes.append(mode)
        # What was heard and is no frequency of the loop any more dies.
        self._lost = [m for m in old if m.id is not None]

    def rings(self) -> list[_Mode]:
        """What is heard now."""
        return [m for m in self._modes if m.id is not None]

    def pass_s(self, seconds: float) -> list[RingNews]:
        """Let time go by; return what was heard."""
        self.clock_s += seconds
        news = [self._close(m, None) for m in self._lost]
        self._lost = []
        ended = [self.gain_db - m.margin_db for m in self._modes if m.level_db >= END_DB]
        # At the end stop the loop's gain comes down to one for the strongest, and for all.
        squeezed_db = max([0.0, *ended])
        for mode in self._modes:
            excess_db = self.gain_db - mode.margin_db
            growth = growth_of(max(excess_db - squeezed_db, -8.0), mode.loop_time_s)
            if excess_db < -8.0:
                growth *= excess_db / -8.0
            level_db = min(max(mode.level_db + growth * seconds, FLOOR_DB), END_DB)
            mode.level_db = level_db
            news += self._told(mode, excess_db, seconds)
        return news

    def _told(self, mode: _Mode, excess_db: float, seconds: float) -> list[RingNews]:
        if mode.id is not None:
            return [self._close(mode, excess_db)] if mode.level_db < GONE_DB else []
        mode.out_s = mode.out_s + seconds if mode.level_db >= HEARD_DB else 0.0
        if mode.out_s < HEARS_S or excess_db <= 0.0:
            return []
        self._ids += 1
        mode.id = self._ids
        return [self._news("opened", mode, self._slope(excess_db, mode, HEARD_ERRORS.climb))]

    def _close(self, mode: _Mode, excess_db: float | None) -> RingNews:
        slope = None
        if excess_db is not None and excess_db < 0.0:
            slope = self._slope(excess_db, mode, (-HEARD_ERRORS.fall[0], HEARD_ERRORS.fall[1]))
        news = self._news("closed", mode, slope)
        mode.id, mode.out_s = None, 0.0
        return news

    def _slope(self, excess_db: float, mode: _Mode, error: tuple[float, float]) -> Slope:
        rate = growth_of(max(excess_db, -8.0), mode.loop_time_s)
        rate *= math.exp(self._rng.normal(*error))
        return Slope(rate, 0.2 * abs(rate), self.clock_s - 1.0, self.clock_s)

    def _news(self, kind: str, mode: _Mode, slope: Slope | None) -> RingNews:
        assert mode.id is not None
        level_dbfs = mode.level_db - 60.0
        return RingNews(
            kind,  # type: ignore[arg-type]
            mode.id,
            mode.frequency_hz,
            level_dbfs,
            self.clock_s,
            slope,
        )
