"""How much of a chance an evening gave a frequency to ring.

An evening on which nothing rang says little if it was short, and nothing if the frequency stood
pulled from the beginning: then the pull worked.  Both are counted as parts of a usual evening.
"""

from __future__ import annotations

import math

from monitor.memory.clusters import octaves_apart
from monitor.memory.gig_memory import LIKELY_HEARD_S, GigMemory, PullMemory

RING_OUT_TIMES = 2.0
"""A ring-out looks for what rings: it is taken for as much as a second evening.  Our choice."""
MOST_TIMES = 3.0
"""Longer is not more: after some hours, what can ring has rung."""
HIDES_DB = 6.0
"""A frequency that lies this much lower than it would is taken not to ring: 6 dB of margin is
standard design practice (Eargle; Handbook for Sound Engineers, equation 34-21)."""
USUAL_REACH_OCTAVES = 1.0 / 6.0
"""Of a slider of which nothing is told: of a third-octave equaliser."""


def half_width_octaves(pull: PullMemory) -> float:
    """Return how far from its middle a pull still takes away half its decibels.

    From q by the bandwidth N between half-gain points, 1/q = 2 sinh(N ln 2 / 2) (the analogue form
    of Bristow-Johnson's equaliser cookbook, from memory).
    """
    if pull.q is not None and pull.q > 0.0:
        return math.asinh(1.0 / (2.0 * pull.q)) / math.log(2.0)
    return pull.reach_octaves or USUAL_REACH_OCTAVES


def depth_db(pull: PullMemory, frequency_hz: float) -> float:
    """Return about how much a pull took away at a frequency when it was made, in dB.

    It is deepened when something rings in spite of it, and then it has not hidden that.  A bell's
    decibels over octaves, roughly: full in the middle, half at the edges of its band.
    """
    away = octaves_apart(frequency_hz, pull.centre_hz) / half_width_octaves(pull)
    begun_db = pull.pull_db if pull.begun_db is None else pull.begun_db
    return begun_db / (1.0 + away**2)


def hidden_part(gig: GigMemory, frequency_hz: float, until_s: float | None = None) -> float:
    """Return how much of the evening's chance the pulls took away, from 0 to 1.

    ``until_s`` is when it rang first: what was pulled after that has hidden nothing.
    """
    end_s = max(gig.heard_s if until_s is None else until_s, 1.0)
    hidden = 0.0
    for pull in gig.pulls:
        stood = 1.0 - min(max(pull.first_at_s, 0.0) / end_s, 1.0)
        hidden += stood * depth_db(pull, frequency_hz)
    return min(hidden / HIDES_DB, 1.0)


def exposure_times(gig: GigMemory) -> float:
    """Return how many usual evenings a gig was, whatever stood pulled."""
    times = gig.heard_s / LIKELY_HEARD_S * (RING_OUT_TIMES if gig.ring_out else 1.0)
    return min(times, MOST_TIMES)


def exposure(gig: GigMemory, frequency_hz: float, until_s: float | None = None) -> float:
    """Return the evening's chance for a frequency to ring; a usual evening without pulls is 1."""
    return exposure_times(gig) * (1.0 - hidden_part(gig, frequency_hz, until_s))
