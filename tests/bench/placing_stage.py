"""Random stages for the plan's bench, and the same stages on the practice stage's simulated room.

One simulated response a pair of microphone and loudspeaker, put together here into one loop: all
mains driven alike until the listener has what the plan says is needed, wedges until their
performer has, each microphone by the distance of its mouth, as the plan does it, but with the
simulation's own levels at the listener and the ears.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np

from monitor.placing.acoustics import MARGIN_DB
from monitor.placing.loop import WEDGE_ABOVE_DB, Reckoner, serves
from monitor.placing.stage import (
    Listener,
    Loudspeaker,
    Microphone,
    Point,
    Room,
    Stage,
    StageError,
    facing,
)
from monitor.placing.stage_file import parse_stage, stage_fields
from monitor.stage import room as simulated
from monitor.stage.seat import flat_loop_gain_db
from tests.bench.placing_room import as_room, feedback, served_energy

RATE_HZ = 24000
"""Nothing here rings above 10 kHz; against 48 kHz three rooms differed by 0.06 dB at most."""
COVERAGE_DEG = (130.0, 130.0)
"""Between the -6 dB points of the simulated cabinet's high band: ((1 + cos) / 2)^2 is 0.5 there."""
STAND_M = 0.1
"""Nobody puts a stand where the plan says to better than a hand's breadth."""
APART_M = 0.6
"""The practice stage takes nothing nearer than 0.3 m, and both may stand a hand's breadth off."""
_PATTERNS = ("cardioid", "cardioid", "supercardioid", "hypercardioid", "omni")
_LAYOUTS = ("one mains", "two mains", "wedge", "mains and wedge", "two mains and wedge")


def random_stage(seed: int) -> Stage:
    """Return an invented stage: one or two microphones, one to three loudspeakers."""
    for attempt in range(200):
        try:
            stage = _random(np.random.default_rng([seed, attempt, 4242]))
            stage = parse_stage(stage_fields(stage))
        except StageError:
            continue
        if _apart_m(stage) >= APART_M:
            return stage
    raise RuntimeError(f"seed {seed} gives no stage")


def _apart_m(stage: Stage) -> float:
    return min(
        math.dist(microphone.position_m, loudspeaker.position_m)
        for microphone in stage.microphones
        for loudspeaker in stage.loudspeakers
    )


def _random(rng: np.random.Generator) -> Stage:
    t60_s = float(np.exp(rng.uniform(math.log(0.25), math.log(1.2))))
    scale = (t60_s / 0.6) ** 0.25
    room = Room(
        float(rng.uniform(5.0, 9.0) * scale),
        float(rng.uniform(7.5, 13.0) * scale),
        float(rng.uniform(2.6, 4.0) * scale),
        t60_s,
        t60_s,
    )
    middle = room.width_m * float(rng.uniform(0.35, 0.65))
    first = _microphone(rng, "lead", middle, float(rng.uniform(1.6, 2.6)))
    microphones = [first]
    if rng.random() < 0.5:
        side = 1.0 if middle < room.width_m / 2.0 else -1.0
        x = middle + side * float(rng.uniform(1.0, 1.8))
        microphones.append(_microphone(rng, "second", x, float(rng.uniform(1.2, 2.6))))
    loudspeakers = _loudspeakers(rng, room, first)
    listener = Listener(room.width_m * float(rng.uniform(0.3, 0.7)), room.depth_m - 0.8, 1.4)
    return Stage(room, tuple(microphones), tuple(loudspeakers), listener, 1.5)


def _microphone(rng: np.random.Generator, name: str, x: float, y: float) -> Microphone:
    return Microphone(
        name=name,
        x_m=x,
        y_m=y,
        height_m=float(rng.uniform(1.4, 1.65)),
        pattern=str(rng.choice(_PATTERNS)),  # type: ignore[arg-type]
        aim_deg=float(180.0 + rng.normal(0.0, 10.0)) % 360.0,
        tilt_deg=float(rng.uniform(-5.0, 25.0)),
        mouth_m=float(rng.choice([0.04, 0.06, 0.15])),
        open=True,
    )


def _loudspeakers(rng: np.random.Generator, room: Room, mic: Microphone) -> list[Loudspeaker]:
    layout = str(rng.choice(_LAYOUTS))
    found = []
    y = mic.y_m + float(rng.uniform(-1.2, 1.8))
    height = float(min(rng.uniform(1.5, 2.2), room.height_m - 0.3))
    turn = float(rng.normal(0.0, 15.0))
    out = float(rng.uniform(1.2, 2.6))
    sides = (-1.0, 1.0) if "two" in layout else (float(rng.choice([-1.0, 1.0])),)
    if "mains" in layout:
        for side in sides:
            x = float(np.clip(mic.x_m + side * out, 0.4, room.width_m - 0.4))
            aim = side * turn % 360.0
            name = f"mains {len(found) + 1}"
            found.append(
                Loudspeaker(name, "mains", x, max(y, 0.4), height, aim, -5.0, COVERAGE_DEG)
            )
    if "wedge" in layout:
        round_rad = float(rng.uniform(-1.6, 1.6))
        away_m = float(rng.uniform(0.9, 1.8))
        place = (
            mic.x_m + away_m * math.sin(round_rad),
            mic.y_m + away_m * math.cos(round_rad),
            0.3,
        )
        aim_deg, tilt_deg = facing(place, mic.ears_at_m)
        aim_deg = (aim_deg + float(rng.normal(0.0, 15.0))) % 360.0
        found.append(Loudspeaker("wedge", "wedge", *place, aim_deg, tilt_deg, COVERAGE_DEG))
    return found


def simulated_spare_db(stage: Stage, seed: int) -> float:
    """Return the gain that is spare on the practice stage, the margin of 6 dB kept.

    ``seed`` decides the devices' own unevenness and where exactly each thing stands.
    """
    stage = _as_placed(stage, seed)
    target = Reckoner(stage.room).voice(stage.ead_m)
    served: dict[Point, float] = {}
    places = [serves(stage, one) for one in stage.loudspeakers]
    for s, (one, place) in enumerate(zip(stage.loudspeakers, places, strict=True)):
        energy = _served(stage.room, one, place, seed + 100 * s)
        served[place] = served.get(place, 0.0) + energy
    total = np.zeros(1)
    shortest_s = math.inf
    for s, (one, place) in enumerate(zip(stage.loudspeakers, places, strict=True)):
        above = 10.0 ** (WEDGE_ABOVE_DB / 10.0) if one.kind == "wedge" else 1.0
        drive = math.sqrt(target * above / served[place])
        for _, microphone in stage.open_microphones():
            taps, delay_s = _pair(
                stage.room, one, replace(microphone, mouth_m=0.05), seed + 100 * s
            )
            total = total + taps * (drive * microphone.mouth_m)
            shortest_s = min(shortest_s, delay_s)
    whole = simulated.Responses(RATE_HZ, total, total, total, total, shortest_s)
    return -flat_loop_gain_db(whole) - MARGIN_DB


@lru_cache(maxsize=1024)
def _pair(
    room: Room, loudspeaker: Loudspeaker, microphone: Microphone, seed: int
) -> tuple[np.ndarray, float]:
    return feedback(as_room(room, loudspeaker, microphone, seed), RATE_HZ)


@lru_cache(maxsize=1024)
def _served(room: Room, loudspeaker: Loudspeaker, place: Point, seed: int) -> float:
    # The practice stage's room wants a microphone; what is served does not depend on it.
    middle = (0.5 * one for one in room.size_m)
    any_one = Microphone("any", *middle, "omni", 180.0, 0.0, 0.05, True)
    return served_energy(as_room(room, loudspeaker, any_one, seed), place, RATE_HZ)


def _as_placed(stage: Stage, seed: int) -> Stage:
    """Return the stage as it comes to stand: each thing off by as much whatever else is moved."""

    def shifted(one: Any, index: int, size_m: Point) -> Any:
        by = np.random.default_rng([seed, index, 99]).uniform(-STAND_M, STAND_M, 2)
        x, y = (
            float(min(max(at + d, 0.15), size - 0.15))
            for at, d, size in zip((one.x_m, one.y_m), by, size_m, strict=False)
        )
        return replace(one, x_m=x, y_m=y)

    size_m = stage.room.size_m
    return replace(
        stage,
        microphones=tuple(shifted(one, i, size_m) for i, one in enumerate(stage.microphones)),
        loudspeakers=tuple(
            shifted(one, 50 + i, size_m) for i, one in enumerate(stage.loudspeakers)
        ),
    )
