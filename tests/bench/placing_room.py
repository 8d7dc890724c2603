"""One way through the practice stage's simulated room: what ``monitor.stage.room.responses`` makes
for a loudspeaker and a microphone, without the rest that it makes.

The bench needs thousands of these.  The walls are another matter: there they are worked out anew
for each placement, so that the decay as that microphone hears it is right; here once a room, so
that they stay when a thing is moved, from a source and a receiver that are round, as reverberation
time is measured (ISO 3382-2, from memory).  With the same walls both are the same to the sample,
which a test holds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from monitor.placing.acoustics import BANDS_HZ, SPEECH_BANDS
from monitor.placing.directivity import OMNI_PART
from monitor.placing.stage import Loudspeaker, Microphone, Point, Room
from monitor.stage import room as simulated
from monitor.stage.filters import band_limit_response
from monitor.stage.images import SOUND_SPEED_M_S, Images, images, placed

_SOURCE = (0.31, 0.23, 0.42)
_RECEIVER = (0.63, 0.71, 0.55)
"""Parts of the room's size: two places off its middles and apart."""


@dataclass(frozen=True)
class _Grid:
    """The sizes and the devices' responses of one room and seed."""

    sample_rate_hz: int
    length: int
    frequency_hz: np.ndarray
    capsule: np.ndarray
    cabinet: np.ndarray


def as_room(room: Room, loudspeaker: Loudspeaker, microphone: Microphone, seed: int) -> Any:
    """Return the practice stage's room with these two in it."""
    size_m = room.size_m
    return simulated.Room(
        name="bench",
        size_m=size_m,
        t60_s=room.t60_s,
        loudspeakers=(simulated.Loudspeaker(loudspeaker.position_m, loudspeaker.aim),),
        microphone=simulated.VocalMicrophone(
            microphone.position_m, microphone.aim, OMNI_PART[microphone.pattern]
        ),
        box_m=(0.5 * size_m[0], 0.9 * size_m[1], 0.5 * size_m[2]),
        mouth_m=microphone.mouth_at_m,
        seed=seed,
    )


def feedback(whole: Any, sample_rate_hz: int) -> tuple[np.ndarray, float]:
    """Return the impulse response from loudspeaker to microphone, and its delay in seconds."""
    simulated.check_room(whole)
    microphone = whole.microphone
    grid = _grid(whole, sample_rate_hz)
    found = _images(whole, grid, microphone.position_m, salt=0)
    part = microphone.omni_part
    pattern = part + (1.0 - part) * (found.arrival @ np.array(microphone.aim))
    spectrum = _through(whole, grid, found, pattern) * grid.capsule
    apart_m = math.dist(whole.loudspeakers[0].position_m, microphone.position_m)
    first = int(apart_m / SOUND_SPEED_M_S * sample_rate_hz) - 1
    return simulated._taps(spectrum, grid.length, first), first / sample_rate_hz


def served_energy(whole: Any, place: Point, sample_rate_hz: int) -> float:
    """Return the mean energy of the speech octaves that the loudspeaker brings to a place."""
    grid = _grid(whole, sample_rate_hz)
    found = _images(whole, grid, place, salt=1)
    energy = np.abs(_through(whole, grid, found, np.ones(len(found.hits)))) ** 2
    hz, root = grid.frequency_hz, math.sqrt(2.0)
    centres = (BANDS_HZ[band] for band in SPEECH_BANDS)
    octaves = [energy[(hz >= f / root) & (hz < f * root)].mean() for f in centres]
    return float(np.mean(octaves))


@lru_cache(maxsize=64)
def walls_kept(size_m: Point, t60_s: float) -> tuple[float, ...]:
    """Return the pressure kept at a wall hit by band: low, middle, high."""
    source_m, receiver_m = (
        (size_m[0] * a, size_m[1] * b, size_m[2] * c) for a, b, c in (_SOURCE, _RECEIVER)
    )
    ahead = (0.0, 1.0, 0.0)
    found = images(
        size_m=size_m,
        source_m=source_m,
        receiver_m=receiver_m,
        aim=ahead,
        reach_m=min(1.1 * t60_s, simulated.LONGEST_S) * SOUND_SPEED_M_S,
        seed=0,
    )
    microphone = simulated.VocalMicrophone(receiver_m, ahead)
    empty = simulated.Room("walls", size_m, t60_s, (), microphone, receiver_m, receiver_m)
    every_side = np.ones(len(found.hits))
    return tuple(
        simulated.wall_reflection(empty, found, t60_s=t60_s * ratio, heard=every_side)
        for ratio in simulated._T60_OF_BAND
    )


def _grid(whole: Any, sample_rate_hz: int) -> _Grid:
    from scipy.fft import next_fast_len

    length = next_fast_len(simulated.response_length(whole, sample_rate_hz), real=True)
    hz = np.fft.rfftfreq(2 * length, 1.0 / sample_rate_hz)
    rng = np.random.default_rng(whole.seed)
    speaker = whole.loudspeakers[0]

    def device(low_hz: float, high_hz: float) -> np.ndarray:
        flat = band_limit_response(low_hz=low_hz, high_hz=high_hz, frequency_hz=hz)
        return flat * simulated._uneven(
            hz, sample_rate_hz=sample_rate_hz, depth_db=whole.uneven_db, rng=rng
        )

    capsule = device(90.0, 15000.0)
    return _Grid(sample_rate_hz, length, hz, capsule, device(speaker.low_hz, speaker.high_hz))


def _images(whole: Any, grid: _Grid, place: Point, salt: int) -> Images:
    speaker = whole.loudspeakers[0]
    reach_m = grid.length / grid.sample_rate_hz * SOUND_SPEED_M_S
    return images(
        size_m=whole.size_m,
        source_m=speaker.position_m,
        receiver_m=place,
        aim=speaker.aim,
        reach_m=max(reach_m, math.dist(speaker.position_m, place) * 1.001),
        seed=whole.seed * 64 + salt,
    )


def _through(whole: Any, grid: _Grid, found: Images, pattern: np.ndarray) -> np.ndarray:
    """Return the spectrum of all images, heard by a pattern."""
    total = np.zeros(grid.length + 1, complex)
    bands = simulated._bands(grid.frequency_hz)
    every_kept = walls_kept(whole.size_m, whole.t60_s)
    for band, (weight, kept) in enumerate(zip(bands, every_kept, strict=True)):
        loud = np.exp(math.log(kept) * found.hits) / found.distance_m
        loud = loud * simulated._throw(found.departure_cos, band) * pattern
        total += (weight * grid.cabinet) * placed(
            found, loud, sample_rate_hz=grid.sample_rate_hz, length=grid.length
        )
    return total
