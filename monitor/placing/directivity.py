"""How much less a microphone hears, and a loudspeaker sends, away from its axis, by octave band.

Conventions
-----------
Energies beside the axis (1 is on the axis), in tables by whole degrees from 0 to 180, one table for
each of ``BANDS_HZ``; angles in degrees.  No null is deep in a real device, and patterns widen
towards the bass: "most designers realise no more than 4-6 dB overall" from directional microphones
and loudspeakers (J. Eargle, Sound System Design Reference Manual, p. 4-3).
"""

from __future__ import annotations

import math
from functools import cache

from monitor.placing.acoustics import BANDS_HZ
from monitor.placing.stage import Pattern

OMNI_PART: dict[Pattern, float] = {
    "omni": 1.0,
    "subcardioid": 0.7,
    "cardioid": 0.5,
    "supercardioid": 0.37,
    "hypercardioid": 0.25,
    "figure-8": 0.0,
}
"""A of the pattern A + (1 - A) cos (a public dictionary of microphones, "1st order pattern")."""
REJECTION_DB = (12.0, 16.0, 20.0, 22.0, 22.0, 18.0, 15.0)
"""The deepest a null of a stage microphone gets in each band; shallow in the bass and where the
capsule is as large as the wave (common practice, no source).  It is added everywhere, as sound that
gets past the pattern, so that a little more off the null is always a little worse."""
BEHIND_DB = (2.0, 5.0, 9.0, 13.0, 17.0, 20.0, 20.0)
"""The most a cabinet loses behind itself: about 4 dB more each octave, as the wave gets shorter
than the cabinet (common practice, no source)."""
CONE_M = 0.25
"""Diameter of the cone of a usual cabinet, about 30 cm nominal (common practice, no source)."""
_CONE_DEG_M_HZ = 27700.0
"""Angle between a piston's -6 dB points x frequency x diameter: 2 x 2.215 / (pi) c in degrees, from
the piston's 2 J1(ka sin) / (ka sin) = 0.5 at ka sin = 2.215, for small angles (textbook)."""
BandTables = tuple[tuple[float, ...], ...]


def pattern_amplitude(pattern: Pattern, angle_deg: float) -> float:
    """Return the ideal A + (1 - A) cos of an angle off the axis; negative behind some nulls."""
    part = OMNI_PART[pattern]
    return part + (1.0 - part) * math.cos(math.radians(angle_deg))


def random_efficiency(pattern: Pattern) -> float:
    """Return the part of a diffuse field's energy that is heard: A^2 + (1 - A)^2 / 3.

    J. Eargle, The Microphone Book, 2nd ed., eq. 6.4 to 6.6 and table 6-1.
    """
    part = OMNI_PART[pattern]
    return part * part + (1.0 - part) ** 2 / 3.0


def null_deg(pattern: Pattern) -> float | None:
    """Return the angle off the axis where the pattern is deaf: arccos(-A / (1 - A)); or None."""
    part = OMNI_PART[pattern]
    if part > 0.5:
        return None
    return math.degrees(math.acos(-part / (1.0 - part)))


def deafest_deg(pattern: Pattern) -> float:
    """Return the angle where it hears least: its null, or straight behind."""
    null = null_deg(pattern)
    return 180.0 if null is None else null


@cache
def microphone_tables(pattern: Pattern) -> BandTables:
    """Return what a microphone hears by band and degree: its pattern, and what fills its nulls."""
    tables = []
    for deepest_db in REJECTION_DB:
        leak = 10.0 ** (-deepest_db / 10.0)
        ideal = (pattern_amplitude(pattern, deg) ** 2 for deg in range(181))
        tables.append(tuple((one + leak) / (1.0 + leak) for one in ideal))
    return tuple(tables)


@cache
def loudspeaker_tables(half_deg: int) -> BandTables:
    """Return what a loudspeaker sends by band and degree, whose -6 dB point is at ``half_deg``.

    The loss grows with the square of the angle, 6 dB at the edge of the coverage; below the band
    where the cone's own beam is wider than the coverage, the cone's width counts.
    """
    tables = []
    for band_hz, behind_db in zip(BANDS_HZ, BEHIND_DB, strict=True):
        edge_deg = edge_of_coverage_deg(half_deg, band_hz)
        # Soft towards the most it can lose, so that every degree away still helps a little.
        losses = (6.0 * (deg / edge_deg) ** 2 for deg in range(181))
        tables.append(tuple(10.0 ** (-_soft(db, behind_db) / 10.0) for db in losses))
    return tuple(tables)


def edge_of_coverage_deg(half_deg: float, band_hz: float) -> float:
    """Return the angle off the axis where a loudspeaker is 6 dB down at a frequency."""
    return max(half_deg, 0.5 * _CONE_DEG_M_HZ / (CONE_M * band_hz))


def _soft(loss_db: float, most_db: float) -> float:
    return most_db * math.tanh(loss_db / most_db)


@cache
def directivity_factors(half_deg: int) -> tuple[float, ...]:
    """Return Q by band: on-axis energy beside the mean over all directions."""
    return tuple(1.0 / _mean_energy(table) for table in loudspeaker_tables(half_deg))


def _mean_energy(table: tuple[float, ...]) -> float:
    total = ring = 0.0
    for deg, energy in enumerate(table):
        weight = math.sin(math.radians(deg))
        total += energy * weight
        ring += weight
    return total / ring


def half_coverage_deg(coverage_deg: tuple[float, float], across: float, up: float) -> int:
    """Return half the coverage in the plane of a direction, rounded to degrees.

    ``across`` and ``up`` are the direction's parts beside the axis; in between the edge of the
    coverage is an ellipse.
    """
    wide, high = coverage_deg[0] / 2.0, coverage_deg[1] / 2.0
    beside = across * across + up * up
    if wide == high or beside < 1e-12:
        return half_mean_deg(coverage_deg)
    edge = math.sqrt(beside / ((across / wide) ** 2 + (up / high) ** 2))
    return round(edge)


def half_mean_deg(coverage_deg: tuple[float, float]) -> int:
    """Return half the angle of a round beam that is as wide as this one, rounded to degrees."""
    return round(math.sqrt(coverage_deg[0] * coverage_deg[1]) / 2.0)
