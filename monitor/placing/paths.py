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
    half_mean_deg,
    loudspeaker_tables,
    microphone_tables,
    random_efficiency,
)
from monitor.placing.stage import Loudspeaker, Microphone, Point, Room

BAND_COUNT = len(BANDS_HZ)
NEAREST_M = 0.2
"""Nearer than this a cabinet is no point, and the inverse square says too much."""
FADING_S_PER_M = 0.04
"""13.8 / speed of sound: reflected energy falls by exp(-0.04 r / T60) (M. Barron, L.-J. Lee,
"Energy relations in concert auditoriums", J. Acoust. Soc. Am. 84, 1988, from memory).  It does
little on a small stage: practice rooms' placements are told to 1.7 dB rms, without it to 1.8."""
Bands = tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Paths:
    """Energies by band of the ways from a loudspeaker to a place.

    ``still`` is the amplitude of the straight way; ``amplitude`` the sum over the amplitudes of all
    single ways, the straight one included, ``single`` the sum of their energies.
    """

    distance_m: float
    off_loudspeaker_deg: float
    off_receiver_deg: float
    still: Bands
    amplitude: Bands
    single: Bands
    diffuse: Bands

    def total(self, band: int) -> float:
        """Return all the energy in a band."""
        return self.single[band] + self.diffuse[band]


@dataclass(frozen=True, slots=True)
class Walls:
    """What a room does by band, energies for Q = 1.

    ``kept``: of what meets a wall.  ``echoed``: all that comes back, 16 pi (1 - a) / A.
    ``diffuse``: what comes back by two walls or more.  ``fading_per_m``: by which rate the diffuse
    field gets weaker with the distance from the source, the later it can begin there.
    """

    size_m: Point
    kept: Bands
    echoed: Bands
    diffuse: Bands
    fading_per_m: Bands


@dataclass(frozen=True, slots=True)
class Receiver:
    """A place that hears: a microphone, or ears (which hear all sides alike)."""

    position_m: Point
    aim: Point
    tables: BandTables
    efficiency: float


def walls_of(room: Room) -> Walls:
    """Return what the room does to sound, from its size and T60."""
    kept, echoed, diffuse = [], [], []
    for factor in T60_OF_BAND:
        absorbed = SABINE_S_PER_M * room.volume_m3 / (room.t60_s * factor)  # A, in square metres
        left = math.exp(-absorbed / room.surface_m2)
        kept.append(left)
        echoed.append(16.0 * math.pi * left / absorbed)
        diffuse.append(16.0 * math.pi * left * left / absorbed)
    fading = tuple(FADING_S_PER_M / (room.t60_s * factor) for factor in T60_OF_BAND)
    return Walls(room.size_m, tuple(kept), tuple(echoed), tuple(diffuse), fading)


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


@dataclass(frozen=True, slots=True)
class Image:
    """A loudspeaker as it is seen straight, or in one wall: where, and which way it looks."""

    position_m: Point
    aim: Point


@dataclass(frozen=True, slots=True)
class Source:
    """A loudspeaker with its six images in the walls, and the diffuse energy it makes."""

    coverage_deg: tuple[float, float]
    straight: Image
    mirrored: tuple[Image, ...]
    diffuse: Bands


def source_of(walls: Walls, loudspeaker: Loudspeaker) -> Source:
    """Return a loudspeaker as a source in the room."""
    here, aim = loudspeaker.position_m, loudspeaker.aim
    mirrored = []
    for axis in range(3):
        for wall in (0.0, walls.size_m[axis]):
            place, way = list(here), list(aim)
            place[axis] = 2.0 * wall - place[axis]
            way[axis] = -way[axis]
            mirrored.append(Image((place[0], place[1], place[2]), (way[0], way[1], way[2])))
    quality = directivity_factors(half_mean_deg(loudspeaker.coverage_deg))
    diffuse = tuple(one / q for one, q in zip(walls.diffuse, quality, strict=True))
    return Source(loudspeaker.coverage_deg, Image(here, aim), tuple(mirrored), diffuse)


def paths(walls: Walls, source: Source, receiver: Receiver) -> Paths:
    """Return the ways from a loudspeaker to a place in the room."""
    straight, distance_m, off_deg, heard_deg = _way(source.coverage_deg, source.straight, receiver)
    still = tuple(math.sqrt(energy) for energy in straight)
    amplitude = list(still)
    single = straight
    for image in source.mirrored:
        for band, energy in enumerate(_way(source.coverage_deg, image, receiver)[0]):
            here = energy * walls.kept[band]
            single[band] += here
            amplitude[band] += math.sqrt(here)
    diffuse = tuple(
        one * receiver.efficiency * math.exp(-distance_m * rate)
        for one, rate in zip(source.diffuse, walls.fading_per_m, strict=True)
    )
    return Paths(distance_m, off_deg, heard_deg, still, tuple(amplitude), tuple(single), diffuse)


def _way(
    coverage_deg: tuple[float, float], image: Image, receiver: Receiver
) -> tuple[list[float], float, float, float]:
    """Return energies by band, distance, and the angles off both axes of one straight line."""
    here, aim, look = image.position_m, image.aim, receiver.aim
    x = receiver.position_m[0] - here[0]
    y = receiver.position_m[1] - here[1]
    z = receiver.position_m[2] - here[2]
    distance_m = math.sqrt(x * x + y * y + z * z)
    if distance_m == 0.0:
        return [1.0 / NEAREST_M**2] * BAND_COUNT, 0.0, 0.0, 0.0
    forward = (x * aim[0] + y * aim[1] + z * aim[2]) / distance_m
    # Beside the axis: across lies in the floor's plane, up is what is left.
    flat = math.hypot(aim[0], aim[1])
    across = (x * aim[1] - y * aim[0]) / (distance_m * flat) if flat > 1e-9 else x / distance_m
    up = math.sqrt(max(0.0, 1.0 - forward * forward - across * across))
    off_deg = math.degrees(math.acos(max(-1.0, min(1.0, forward))))
    towards = -(x * look[0] + y * look[1] + z * look[2]) / distance_m
    heard_deg = math.degrees(math.acos(max(-1.0, min(1.0, towards))))
    sent = loudspeaker_tables(half_coverage_deg(coverage_deg, across, up))
    near = 1.0 / max(distance_m, NEAREST_M) ** 2
    i, j = round(off_deg), round(heard_deg)
    energies = [near * a[i] * b[j] for a, b in zip(sent, receiver.tables, strict=True)]
    return energies, distance_m, off_deg, heard_deg
