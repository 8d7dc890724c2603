"""The ways of the sound from one loudspeaker to one place: straight, by one wall, and by the room.

Energies by octave band beside the loudspeaker's own on its axis at 1 m.  The straight way and the
six single reflections are reckoned one by one (image sources); all later ones are taken as a
diffuse field, 16 pi (1 - a)^2 / (Q A): each has met two walls at least and lost a part a at each.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from monitor.placing.acoustics import BANDS_HZ, SABINE_S_PER_M, T60_OF_BAND
from monitor.placing.directivity import (
    BandTables,
    directivity_factors,
    half_coverage_deg,
    loudspeaker_tables,
    microphone_tables,
    random_efficiency,
)
from monitor.placing.stage import Loudspeaker, Microphone, Point, Room

BAND_COUNT = len(BANDS_HZ)
NEAREST_M = 0.2
"""Nearer than this a cabinet is no point, and the inverse square says too much."""
Bands = tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Paths:
    """Energies by band of the ways from a loudspeaker to a place.

    ``amplitude`` is the sum over the single reflections' amplitudes, ``single`` the sum of their
    energies; the straight way is in neither.
    """

    distance_m: float
    off_loudspeaker_deg: float
    off_receiver_deg: float
    straight: Bands
    single: Bands
    amplitude: Bands
    diffuse: Bands

    def total(self, band: int) -> float:
        """Return all the energy in a band."""
        return self.straight[band] + self.single[band] + self.diffuse[band]


@dataclass(frozen=True, slots=True)
class Walls:
    """What a room does by band: energy kept at a wall hit, and diffuse energy for Q = 1."""

    size_m: Point
    kept: Bands
    diffuse: Bands


@dataclass(frozen=True, slots=True)
class Receiver:
    """A place that hears: a microphone, or ears (which hear all sides alike)."""

    position_m: Point
    aim: Point
    tables: BandTables
    efficiency: float


def walls_of(room: Room) -> Walls:
    """Return what the room does to sound, from its size and T60."""
    kept, diffuse = [], []
    for factor in T60_OF_BAND:
        absorbed = SABINE_S_PER_M * room.volume_m3 / (room.t60_s * factor)  # A, in square metres
        left = math.exp(-absorbed / room.surface_m2)
        kept.append(left)
        diffuse.append(16.0 * math.pi * left * left / absorbed)
    return Walls(room.size_m, tuple(kept), tuple(diffuse))


def microphone_receiver(microphone: Microphone) -> Receiver:
    """Return a microphone as a place that hears."""
    return Receiver(
        microphone.position_m,
        microphone.aim,
        microphone_tables(microphone.pattern),
        random_efficiency(microphone.pattern),
    )


def ears(place: Point) -> Receiver:
    """Return ears at a place."""
    return Receiver(place, (0.0, 1.0, 0.0), microphone_tables("omni"), 1.0)


def paths(walls: Walls, loudspeaker: Loudspeaker, receiver: Receiver) -> Paths:
    """Return the ways from a loudspeaker to a place in the room."""
    source, aim = loudspeaker.position_m, loudspeaker.aim
    straight, distance_m, off_deg, heard_deg = _way(loudspeaker, source, aim, receiver)
    single = [0.0] * BAND_COUNT
    amplitude = [0.0] * BAND_COUNT
    for axis in range(3):
        for wall in (0.0, walls.size_m[axis]):
            mirrored = list(source)
            mirrored[axis] = 2.0 * wall - source[axis]
            turned = list(aim)
            turned[axis] = -aim[axis]
            place = (mirrored[0], mirrored[1], mirrored[2])
            way = (turned[0], turned[1], turned[2])
            energy, _, _, _ = _way(loudspeaker, place, way, receiver)
            for band in range(BAND_COUNT):
                here = energy[band] * walls.kept[band]
                single[band] += here
                amplitude[band] += math.sqrt(here)
    quality = directivity_factors(round(math.sqrt(math.prod(loudspeaker.coverage_deg)) / 2.0))
    diffuse = tuple(
        walls.diffuse[band] * receiver.efficiency / quality[band] for band in range(BAND_COUNT)
    )
    return Paths(distance_m, off_deg, heard_deg, straight, tuple(single), tuple(amplitude), diffuse)


def _way(
    loudspeaker: Loudspeaker, source: Point, aim: Point, receiver: Receiver
) -> tuple[Bands, float, float, float]:
    """Return energies by band, distance, and both angles of one straight line."""
    x = receiver.position_m[0] - source[0]
    y = receiver.position_m[1] - source[1]
    z = receiver.position_m[2] - source[2]
    distance_m = math.sqrt(x * x + y * y + z * z)
    if distance_m == 0.0:
        return (1.0 / NEAREST_M**2,) * BAND_COUNT, 0.0, 0.0, 0.0
    forward = (x * aim[0] + y * aim[1] + z * aim[2]) / distance_m
    # Beside the axis: across lies in the floor's plane, up is what is left.
    flat = math.hypot(aim[0], aim[1])
    across = (x * aim[1] - y * aim[0]) / (distance_m * flat) if flat > 1e-9 else x / distance_m
    up = math.sqrt(max(0.0, 1.0 - forward * forward - across * across))
    off_deg = math.degrees(math.acos(max(-1.0, min(1.0, forward))))
    look = receiver.aim
    towards = -(x * look[0] + y * look[1] + z * look[2]) / distance_m
    heard_deg = math.degrees(math.acos(max(-1.0, min(1.0, towards))))
    sent = loudspeaker_tables(half_coverage_deg(loudspeaker.coverage_deg, across, up))
    near = 1.0 / max(distance_m, NEAREST_M) ** 2
    i, j = round(off_deg), round(heard_deg)
    heard = receiver.tables
    return (
        tuple(near * sent[b][i] * heard[b][j] for b in range(BAND_COUNT)),
        distance_m,
        off_deg,
        heard_deg,
    )
