"""Rooms of the practice stage, and the impulse responses of everything that sounds in them.

Conventions
-----------
Metres; x across, y from the back wall towards the audience, z up.  Gains are relative to 1 m of
free field.  Walls absorb more above about 3 kHz and less below about 400 Hz, as plaster, wood
and people do.  Band and rooms are inventions.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from monitor.stage.filters import band_limit_response, peaking_response
from monitor.stage.images import SOUND_SPEED_M_S, Images, Point, images, placed

LONGEST_S = 0.6
_T60_OF_BAND = (1.2, 1.0, 0.7)
"""Low, middle and high reverberation time beside the middle one's: common practice, no source."""
_CROSSOVERS_HZ = (400.0, 3000.0)

Place = Literal["mains", "wedge", "badly placed"]
PLACES: tuple[Place, ...] = ("mains", "wedge", "badly placed")


@dataclass(frozen=True, slots=True)
class Loudspeaker:
    """Where it stands, where it aims (unit vector), and its band in Hz (-3 dB)."""

    position_m: Point
    aim: Point
    low_hz: float = 80.0
    high_hz: float = 15000.0


@dataclass(frozen=True, slots=True)
class VocalMicrophone:
    """Pattern a + (1 - a) cos of the angle to the aim: 1 omni, 0.5 cardioid, 0.37 super."""

    position_m: Point
    aim: Point
    omni_part: float = 0.5


@dataclass(frozen=True)
class Room:
    """One room with everything that stands in it.

    ``t60_s`` 0 means no walls at all.  ``seed`` decides the small unevennesses that make every
    loudspeaker and microphone its own.
    """

    name: str
    size_m: Point
    t60_s: float
    loudspeakers: tuple[Loudspeaker, ...]
    microphone: VocalMicrophone
    box_m: Point
    mouth_m: Point
    seed: int = 0
    description: str = ""
    uneven_db: float = 3.0


@dataclass(frozen=True)
class Responses:
    """Impulse responses, float32.

    ``feedback``: loudspeakers to vocal microphone.  ``covered``: the same with a hand round the
    grille.  ``box``: loudspeakers to the box.  ``voice_box``: the performer to the box, beside
    the level that the vocal microphone gets.
    """

    sample_rate_hz: int
    feedback: np.ndarray
    covered: np.ndarray
    box: np.ndarray
    voice_box: np.ndarray
    shortest_s: float


def unit(x: float, y: float, z: float) -> Point:
    """Return the direction as a unit vector."""
    norm = math.sqrt(x * x + y * y + z * z)
    return (x / norm, y / norm, z / norm)


def _towards(here: Point, there: Point) -> Point:
    return unit(there[0] - here[0], there[1] - here[1], there[2] - here[2])


def check_room(room: Room) -> None:
    """Raise ValueError with one clear line if something stands where nothing can stand."""
    if not 0.0 <= room.t60_s <= 10.0:
        raise ValueError(f"t60_s={room.t60_s} must lie between 0 (no walls) and 10 s")
    things = {
        "vocal microphone": room.microphone.position_m,
        "box": room.box_m,
        "mouth": room.mouth_m,
        **{f"loudspeaker {i + 1}": s.position_m for i, s in enumerate(room.loudspeakers)},
    }
    if not room.loudspeakers:
        raise ValueError("a room needs at least one loudspeaker")
    for name, place in things.items():
        if room.t60_s > 0.0 and not all(
            0.0 < p < size for p, size in zip(place, room.size_m, strict=True)
        ):
            raise ValueError(f"the {name} at {place} m is not inside the room of {room.size_m} m")
    for i, speaker in enumerate(room.loudspeakers):
        for name in ("vocal microphone", "box"):
            if math.dist(speaker.position_m, things[name]) < 0.3:
                raise ValueError(f"loudspeaker {i + 1} is less than 0.3 m from the {name}")


def wall_reflection(room: Room, found: Images, *, t60_s: float, heard: np.ndarray) -> float:
    """Return the pressure kept at each wall hit so that the images decay with ``t60_s``.

    Starts from Eyring's formula and corrects it by the decay of these very images as they are
    ``heard`` (amplitude by angle), because sound in a flat room runs longest where it hits least.
    """
    if t60_s <= 0.0:
        return 0.0
    a, b, c = room.size_m
    surface = 2.0 * (a * b + b * c + a * c)
    log_kept = -0.5 * 0.161 * a * b * c / (surface * t60_s)
    travel = found.distance_m.astype(np.float64) / SOUND_SPEED_M_S
    step_s = 0.004
    slot = (travel / step_s).astype(np.int64)
    base = (heard / found.distance_m) ** 2
    for _ in range(6):
        energy = np.bincount(slot, np.exp(2.0 * log_kept * found.hits) * base)
        # What lies beyond the reach: taken as the same decay going on.
        rest = energy[-1] / max(1.0 - 10.0 ** (-6.0 * step_s / t60_s), 1e-6)
        left = 10.0 * np.log10(np.cumsum(energy[::-1])[::-1] + rest + 1e-30)
        left -= left[0]
        part = np.flatnonzero((left < -5.0) & (left > -25.0))
        if len(part) < 4:
            break
        slope = np.polyfit(part * step_s, left[part], 1)[0]
        log_kept *= float(np.clip((-60.0 / t60_s) / slope, 0.5, 2.0))
    return math.exp(log_kept)


def _bands(frequency_hz: np.ndarray) -> list[np.ndarray]:
    """Return three real weights that add up to one: low, middle, high."""
    low = 1.0 / (1.0 + (frequency_hz / _CROSSOVERS_HZ[0]) ** 2)
    high = 1.0 - 1.0 / (1.0 + (frequency_hz / _CROSSOVERS_HZ[1]) ** 2)
    return [low, 1.0 - low - high, high]


def _throw(cosine: np.ndarray, band: int) -> np.ndarray:
    """Return a loudspeaker's amplitude off its axis: round below, narrower and narrower above.

    About -1, -6 and -12 dB to the side: a simple cabinet, common practice, no source.
    """
    return ((1.0 + np.maximum(cosine, -0.98)) / 2.0) ** (0.17, 1.0, 2.0)[band]


def _uneven(
    frequency_hz: np.ndarray, *, sample_rate_hz: int, depth_db: float, rng: np.random.Generator
) -> np.ndarray:
    """Return the response of a few broad random bumps and dips, as real devices have them."""
    response = np.ones(len(frequency_hz), complex)
    for centre_hz in np.exp(rng.uniform(math.log(120.0), math.log(9000.0), 6)):
        response *= peaking_response(
            centre_hz=float(centre_hz),
            gain_db=float(rng.uniform(-depth_db, depth_db)),
            q=float(rng.uniform(0.7, 3.0)),
            frequency_hz=frequency_hz,
            sample_rate_hz=sample_rate_hz,
        )
    return response


def _kept_at_walls(room: Room, to_mic: Images, pattern: np.ndarray) -> list[float]:
    """Return the pressure kept at each wall hit in every band, for what a microphone hears."""
    by_angle = _throw(to_mic.departure_cos, 1) * pattern
    return [
        wall_reflection(room, to_mic, t60_s=room.t60_s * part, heard=by_angle)
        for part in _T60_OF_BAND
    ]


def _weights(found: Images, kept: float) -> np.ndarray:
    """Return the amplitude of every image beside 1 m of free field; ``kept`` at each wall hit."""
    if kept <= 0.0:
        return np.where(found.hits == 0, 1.0 / found.distance_m, 0.0)
    return np.exp(math.log(kept) * found.hits) / found.distance_m


def _taps(spectrum: np.ndarray, length: int, first: int) -> np.ndarray:
    """Return the impulse response with nothing before sample ``first`` and a faded end."""
    from scipy.fft import irfft

    taps = irfft(spectrum, 2 * length)[:length]
    taps[:first] = 0.0
    fade = length // 10
    taps[-fade:] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(fade) / fade)
    return taps.astype(np.float32)


def response_length(room: Room, sample_rate_hz: int) -> int:
    """Return how many samples the responses have: to -60 dB or 0.6 s, at least 0.06 s."""
    return int(sample_rate_hz * min(max(1.1 * room.t60_s, 0.06), LONGEST_S))


def responses(room: Room, sample_rate_hz: int) -> Responses:
    """Compute the impulse responses of a room.

    Raises
    ------
    ValueError
        If something stands where nothing can stand; one clear line.
    """
    from scipy.fft import next_fast_len

    check_room(room)
    length = next_fast_len(response_length(room, sample_rate_hz), real=True)
    frequency_hz = np.fft.rfftfreq(2 * length, 1.0 / sample_rate_hz)
    band = _bands(frequency_hz)
    rng = np.random.default_rng(room.seed)
    # A vocal microphone rolls off below the voice, far from the mouth (common practice).
    capsule = band_limit_response(
        low_hz=90.0, high_hz=15000.0, frequency_hz=frequency_hz
    ) * _uneven(frequency_hz, sample_rate_hz=sample_rate_hz, depth_db=room.uneven_db, rng=rng)
    reach_m = length / sample_rate_hz * SOUND_SPEED_M_S if room.t60_s > 0.0 else 0.0
    total = {"feedback": np.zeros(length + 1, complex)}
    total |= {name: np.zeros(length + 1, complex) for name in ("covered", "box", "voice_box")}
    shortest_m = math.inf
    kept: list[float] = []

    def heard(source: Point, aim: Point, receiver: Point, salt: int) -> Images:
        return images(
            size_m=room.size_m,
            source_m=source,
            receiver_m=receiver,
            aim=aim,
            reach_m=max(reach_m, math.dist(source, receiver) * 1.001),
            seed=room.seed * 64 + salt,
        )

    def add(name: str, found: Images, weights: np.ndarray, by: np.ndarray) -> None:
        total[name] += by * placed(found, weights, sample_rate_hz=sample_rate_hz, length=length)

    mic = room.microphone
    for i, speaker in enumerate(room.loudspeakers):
        cabinet = band_limit_response(
            low_hz=speaker.low_hz, high_hz=speaker.high_hz, frequency_hz=frequency_hz
        ) * _uneven(frequency_hz, sample_rate_hz=sample_rate_hz, depth_db=room.uneven_db, rng=rng)
        to_mic = heard(speaker.position_m, speaker.aim, mic.position_m, 2 * i)
        to_box = heard(speaker.position_m, speaker.aim, room.box_m, 2 * i + 1)
        shortest_m = min(shortest_m, math.dist(speaker.position_m, mic.position_m))
        pattern = mic.omni_part + (1.0 - mic.omni_part) * (to_mic.arrival @ np.array(mic.aim))
        # The walls are fitted to the first loudspeaker at the microphone.
        kept = kept or _kept_at_walls(room, to_mic, pattern)
        for b in range(3):
            loud = _weights(to_mic, kept[b]) * _throw(to_mic.departure_cos, b)
            add("feedback", to_mic, loud * pattern, band[b] * cabinet)
            add("covered", to_mic, loud, band[b] * cabinet)
            loud = _weights(to_box, kept[b]) * _throw(to_box.departure_cos, b)
            add("box", to_box, loud, band[b] * cabinet)
    voice = heard(room.mouth_m, unit(0.0, 1.0, 0.0), room.box_m, 63)
    near_m = math.dist(room.mouth_m, mic.position_m)
    for b in range(3):
        add("voice_box", voice, _weights(voice, kept[b]) * near_m, band[b])
    # A hand round the grille makes a small cavity: a broad resonance between 1 and 3 kHz.
    cup = peaking_response(
        centre_hz=float(rng.uniform(1000.0, 2800.0)),
        gain_db=float(rng.uniform(4.0, 8.0)),
        q=1.8,
        frequency_hz=frequency_hz,
        sample_rate_hz=sample_rate_hz,
    )
    first = int(shortest_m / SOUND_SPEED_M_S * sample_rate_hz) - 1
    return Responses(
        sample_rate_hz=sample_rate_hz,
        feedback=_taps(total["feedback"] * capsule, length, first),
        covered=_taps(total["covered"] * capsule * cup, length, first),
        box=_taps(total["box"], length, 0),
        voice_box=_taps(total["voice_box"], length, 0),
        shortest_s=first / sample_rate_hz,
    )


def random_room(seed: int, *, t60_s: float | None = None, place: Place | None = None) -> Room:
    """Return an invented small venue with one microphone, one loudspeaker and the box.

    T60 0.2 to 1.5 s, evenly by its logarithm; small rooms are not the most reverberant ones.
    """
    rng = np.random.default_rng([seed, 7001])
    t60_s = float(np.exp(rng.uniform(math.log(0.2), math.log(1.5)))) if t60_s is None else t60_s
    place = PLACES[int(rng.integers(len(PLACES)))] if place is None else place
    if place not in PLACES:
        raise ValueError(f"place {place!r} is unknown; known: {', '.join(PLACES)}")
    scale = (t60_s / 0.6) ** 0.25
    width, depth, height = (
        float(rng.uniform(5.0, 9.0) * scale),
        float(rng.uniform(6.5, 13.0) * scale),
        float(rng.uniform(2.6, 4.0) * scale),
    )
    mic: Point = (
        width * float(rng.uniform(0.35, 0.65)),
        float(rng.uniform(1.6, 2.4)),
        float(rng.uniform(1.4, 1.65)),
    )
    mouth: Point = (mic[0], mic[1] - float(rng.uniform(0.03, 0.12)), mic[2] + 0.02)
    # The microphone looks at the mouth: back, away from the audience, a little up.
    aim = unit(float(rng.normal(0.0, 0.1)), -1.0, float(rng.uniform(-0.1, 0.5)))
    side = float(rng.choice([-1.0, 1.0]))
    if place == "mains":
        speaker: Point = (
            float(np.clip(mic[0] + side * rng.uniform(1.6, 3.0), 0.4, width - 0.4)),
            mic[1] + float(rng.uniform(0.4, 1.6)),
            float(min(rng.uniform(1.5, 2.2), height - 0.3)),
        )
        speaker_aim = unit(float(rng.normal(0.0, 0.15)), 1.0, -0.1)
    elif place == "wedge":
        turn = float(rng.uniform(-0.9, 0.9))
        away_m = float(rng.uniform(1.0, 1.8))
        speaker = (mic[0] + away_m * math.sin(turn), mic[1] + away_m * math.cos(turn) * 0.7, 0.25)
        speaker_aim = _towards(speaker, mouth)
    else:
        speaker = (
            float(np.clip(mic[0] + side * rng.uniform(1.2, 2.6), 0.4, width - 0.4)),
            max(mic[1] - float(rng.uniform(0.5, 1.2)), 0.4),
            float(min(rng.uniform(1.2, 2.0), height - 0.3)),
        )
        speaker_aim = unit(-side * float(rng.uniform(0.1, 0.8)), 1.0, 0.0)
    below = float(rng.uniform(0.15, 0.6))
    box: Point = (mic[0] + float(rng.normal(0.0, 0.06)), mic[1] + 0.08, mic[2] - below)
    return Room(
        name=f"room {seed}",
        size_m=(width, depth, height),
        t60_s=t60_s,
        loudspeakers=(Loudspeaker(speaker, speaker_aim),),
        microphone=VocalMicrophone(mic, aim, float(rng.choice([0.5, 0.37, 0.25]))),
        box_m=box,
        mouth_m=mouth,
        seed=seed,
        description=f"{place}, T60 {t60_s:.2f} s",
    )
