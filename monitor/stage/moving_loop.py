"""The loop of one run: what is moved in it and how, and the gain at which it would ring."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy.fft import next_fast_len

from monitor.stage.filters import band_limit_response, low_cut_response
from monitor.stage.fir import folded
from monitor.stage.nyquist import highest_gain_db
from monitor.stage.room import Place, Responses, random_room, responses
from monitor.stage.run_spec import RunSpec

_SURELY_STABLE_DB = -0.7
"""Hand and walk start at least this far below the limit, so that they are what provokes."""
HAND_S = 0.25
WALK_S = 1.5


@lru_cache(maxsize=4)
def stage_of(
    room_seed: int, t60_s: float, place: Place, below_m: float | None, rate: int
) -> Responses:
    """The responses of a random room, the box ``below_m`` beneath the microphone on its stand."""
    room = random_room(room_seed, t60_s=t60_s, place=place)
    if below_m is not None:
        x, y, z = room.microphone.position_m
        room = replace(room, box_m=(x + 0.03, y + 0.08, max(z - below_m, 0.2)))
    return responses(room, rate)


@dataclass
class MovingLoop:
    """The loop of one run: two responses to go between, a moving reflection, a gain in dB.

    ``weight`` and ``gain_db`` are per sample; ``delay`` per sample or None; what is critical is
    found at a few moments and joined by straight lines.
    """

    first: np.ndarray
    second: np.ndarray
    tap: np.ndarray | None
    weight: np.ndarray
    delay: np.ndarray | None
    gain_db: np.ndarray

    def taps_at(self, i: int) -> np.ndarray:
        """The whole response (without the gain) at one sample."""
        w = float(self.weight[i])
        taps = self.first if w == 0.0 else (1.0 - w) * self.first + w * self.second
        if self.tap is None or self.delay is None or w == 0.0:
            return taps
        taps = taps.copy() if taps is self.first else taps
        whole = int(self.delay[i])
        part = self.delay[i] - whole
        for shift, share in ((whole, 1.0 - part), (whole + 1, part)):
            taps[shift : shift + len(self.tap)] += share * w * self.tap
        return taps

    def limits_db(self, moments: np.ndarray) -> np.ndarray:
        """The gain at which the loop becomes unstable, at each of the moments (samples)."""
        known: dict[tuple[float, float], float] = {}
        out = []
        for i in moments:
            key = (float(self.weight[i]), 0.0 if self.delay is None else float(self.delay[i]))
            if key not in known:
                known[key] = -highest_gain_db(self.taps_at(i))
            out.append(known[key])
        return np.array(out)


def smooth_step(t: np.ndarray, start_s: float, length_s: float) -> np.ndarray:
    """From 0 to 1 at times ``t`` [n], without a corner."""
    x = np.clip((t - start_s) / length_s, 0.0, 1.0)
    return x * x * (3.0 - 2.0 * x)


def _gain_track(
    spec: RunSpec, t: np.ndarray, limit_db: float, rng: np.random.Generator
) -> np.ndarray:
    """The fader over time for the provocations that are made with it."""
    end_db = limit_db + spec.excess_db
    start_db = min(limit_db, end_db) - float(rng.uniform(1.0, 6.0))
    if spec.provocation == "step":
        return start_db + (end_db - start_db) * smooth_step(t, spec.onset_s, 0.03)
    # The push passes the limit about a second after it begins, or sooner.
    rise = np.maximum(t - spec.onset_s, 0.0) * spec.push_db_per_s
    start_db = max(start_db, min(limit_db, end_db) - max(spec.push_db_per_s, 0.5))
    return np.minimum(start_db + rise, end_db)


def planned(spec: RunSpec, stage: Responses, n: int, rng: np.random.Generator) -> MovingLoop:
    """The loop of a run of ``n`` samples: the electronics folded in, and what moves."""
    rate = spec.sample_rate_hz
    latency = int(spec.latency_s * rate)
    length = len(stage.feedback) + latency + int(0.02 * rate)
    size = next_fast_len(length + int(0.05 * rate), real=True)
    frequency_hz = np.fft.rfftfreq(size, 1.0 / rate)
    channel = low_cut_response(
        corner_hz=spec.low_cut_hz, frequency_hz=frequency_hz, sample_rate_hz=rate
    )
    first = folded(stage.feedback, channel, size=size, length=length, delay=latency)
    second, tap, delay = first, None, None
    t = np.arange(n) / rate
    weight = np.zeros(n)
    if spec.provocation == "hand":
        second = folded(stage.covered, channel, size=size, length=length, delay=latency)
        weight = smooth_step(t, spec.onset_s, HAND_S)
    elif spec.provocation == "walk":
        cone = channel * band_limit_response(low_hz=80.0, high_hz=6000.0, frequency_hz=frequency_hz)
        pulse = np.zeros(8, np.float32)
        pulse[0] = 1.0
        tap = folded(pulse, cone, size=size, length=int(0.012 * rate))
        direct = int(np.argmax(np.abs(first)))
        # Someone stops where the reflection is about as strong as what came before.
        tap *= float(rng.uniform(0.6, 1.2)) * math.sqrt(float(np.sum(first**2))) * 0.7
        ends = direct + rate * rng.uniform(0.001, 0.012, 4)
        begins = ends + rate * float(rng.uniform(0.002, 0.008)) * float(rng.choice([-1.0, 1.0]))
        begins = np.maximum(begins, latency + int(stage.shortest_s * rate) + 8)
        weight = smooth_step(t, spec.onset_s, WALK_S)
        loops = []
        for begin, end in zip(begins, ends, strict=True):
            delay = begin + (end - begin) * weight
            loop = MovingLoop(first, second, tap, weight, delay, np.zeros(n))
            loops.append((float(loop.limits_db(np.array([n - 1]))[0]), delay))
        delay = min(loops, key=lambda pair: pair[0])[1]
    loop = MovingLoop(first, second, tap, weight, delay, np.zeros(n))
    before_db, after_db = (float(x) for x in loop.limits_db(np.array([0, n - 1])))
    if spec.moves:
        wanted_db = after_db + spec.excess_db
        calm_db = min(wanted_db, before_db + _SURELY_STABLE_DB)
        # Where covering or walking alone does not reach the excess, the fader is up a little
        # later too: the singer notices nothing and asks for more.
        loop.gain_db = calm_db + (wanted_db - calm_db) * smooth_step(t, spec.onset_s, 0.4)
    else:
        loop.gain_db = _gain_track(spec, t, after_db, rng)
    if spec.acts_s is not None:
        loop.gain_db = loop.gain_db - spec.acts_db * smooth_step(t, spec.acts_s, 0.15)
    return loop
