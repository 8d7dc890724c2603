"""Provoke feedback on the practice stage, offline, with the truth beside the sound.

Every run is rendered twice from the same programme and the same noise: with the loop closed,
and its twin with the loop opened.  The difference is the feedback and nothing else.  What should
ring, when, and how fast comes from the Nyquist criterion on the loop's own response, never from
a detector.

Conventions
-----------
Times are seconds from the first sample.  Excess is 20 log10 |L| of the most critical frequency
with zero phase: negative is stable.  Signals are what the box's microphone hears, full scale 1.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft

from monitor.listening.bands import third_octave_of
from monitor.stage.dynamics import LIMITERS, Compressor, LimiterKind, limiter
from monitor.stage.filters import band_limit_response, low_cut_response
from monitor.stage.fir import PartitionedFir, convolved, folded
from monitor.stage.nyquist import Critical, criticals, highest_gain_db
from monitor.stage.performer import PROGRAMMES, perform
from monitor.stage.room import PLACES, Place, Responses, random_room, responses

Provocation = Literal["push", "step", "hand", "walk"]
PROVOCATIONS: tuple[Provocation, ...] = ("push", "step", "hand", "walk")

_BLOCKS = (512, 480, 384, 320, 256, 192, 160, 128, 96, 64)
_SURELY_STABLE_DB = -0.7
"""Hand and walk start at least this far below the limit, so that they are what provokes."""
NEAR_DB = 1.5
"""Within this of ringing, a frequency rings on for about as long as a loop climbs."""
_SAME_HZ = 3.0
"""A frequency that moves by less while somebody walks is one; two rings of a loop seldom lie so
near."""
_HAND_S = 0.25
_WALK_S = 1.5


@dataclass(frozen=True)
class RunSpec:
    """Everything that decides a run; the same spec gives the same samples.

    ``programme`` is one of the performer's, or "given" when the caller supplies the sound.
    ``excess_db`` is where the loop ends up; negative for runs that never ring.  ``onset_s`` is
    when the provocation begins; ``acts_s`` when somebody pulls the fader down again (None:
    nobody).  ``programme_db`` is the programme's loud level at the loudspeaker beside its end
    stop, with the fader at the limit.
    """

    seed: int
    room_seed: int
    t60_s: float
    place: Place
    programme: str = "song"
    provocation: Provocation = "push"
    excess_db: float = 2.0
    onset_s: float = 2.0
    push_db_per_s: float = 3.0
    acts_s: float | None = None
    acts_db: float = 9.0
    limiter: LimiterKind = "soft"
    compressor_ratio: float = 1.0
    compressor_threshold_db: float = -18.0
    low_cut_hz: float = 100.0
    latency_s: float = 0.002
    programme_db: float = -20.0
    box_below_m: float | None = None
    box_peak_dbfs: float = -9.0
    box_noise_dbfs: float = -70.0
    sample_rate_hz: int = 48000
    duration_s: float = 10.0


@dataclass(frozen=True)
class Run:
    """A rendered run and its truth.

    ``closed`` and ``opened`` are what the box hears, float32 [n].  ``feedback`` is their
    difference before the box's own clipping.  ``excess_db`` [m] goes with ``excess_time_s`` [m]
    and counts what a compressor takes away.  ``truth`` holds every frequency that is unstable at
    the worst moment, or on the way of a hand or of somebody walking and where they come to rest,
    most critical first; ``critical_frequency_hz`` the one of them that won; ``near`` those that
    are stable by less than ``NEAR_DB`` and may linger.
    ``onset_s`` is when the loop first became unstable, ``off_s`` when the fader left it stable
    again for good (a compressor not counted), ``overtake_s`` when the feedback first stays
    above the programme in its own third-octave band, ``louder_than_programme_s`` above the whole
    programme; None where that never happens.  The programme is all that the box hears with the
    loop opened, the noise of its own microphone included: no ear at its place hears what is
    under that.
    """

    spec: RunSpec
    sample_rate_hz: int
    closed: np.ndarray
    opened: np.ndarray
    feedback: np.ndarray
    excess_time_s: np.ndarray
    excess_db: np.ndarray
    peak_excess_db: float
    truth: tuple[Critical, ...]
    near: tuple[Critical, ...]
    critical_frequency_hz: float
    onset_s: float | None
    off_s: float | None
    overtake_s: float | None
    louder_than_programme_s: float | None
    acts_s: float | None

    @property
    def modes(self) -> tuple[tuple[float, float], ...]:
        """(frequency in Hz, dB beside the most critical, never positive) of truth and near."""
        both = (*self.truth, *self.near)
        return tuple((c.frequency_hz, both[0].margin_db - c.margin_db) for c in both)

    def excess_at(self, time_s: float | np.ndarray) -> np.ndarray:
        """Return the excess in dB at one or more times."""
        return np.interp(time_s, self.excess_time_s, self.excess_db)


def random_spec(
    seed: int,
    *,
    programmes: Sequence[str] = PROGRAMMES,
    stable: bool = False,
    duration_s: float | None = None,
) -> RunSpec:
    """Return a run with every axis drawn at random.

    Parameters
    ----------
    seed : int
        The same seed gives the same run.
    programmes : sequence of str
        What to choose from; "given" for sound that the caller supplies to `render_run`.
    stable : bool
        True for a run whose excess stays below 0 dB (-8 to -0.7 dB).
    duration_s : float, optional
        8 to 12 s by default.
    """
    rng = np.random.default_rng([seed, 4711])
    length_s = float(rng.uniform(8.0, 12.0)) if duration_s is None else duration_s
    excess_db = float(np.exp(rng.uniform(math.log(0.3), math.log(6.0))))
    stable_db = -float(rng.uniform(0.7, 8.0))
    acts = rng.random() < 0.7
    acts_s = length_s - float(rng.uniform(0.8, 2.0))
    return RunSpec(
        seed=seed,
        room_seed=seed,
        t60_s=float(np.exp(rng.uniform(math.log(0.2), math.log(1.5)))),
        place=PLACES[int(rng.integers(len(PLACES)))],
        programme=str(programmes[int(rng.integers(len(programmes)))]),
        provocation=PROVOCATIONS[int(rng.choice(4, p=[0.4, 0.25, 0.2, 0.15]))],
        excess_db=stable_db if stable else excess_db,
        onset_s=float(rng.uniform(0.15, 0.3)) * length_s,
        push_db_per_s=float(np.exp(rng.uniform(math.log(0.7), math.log(8.0)))),
        acts_s=acts_s if acts else None,
        acts_db=float(rng.uniform(4.0, 14.0)),
        limiter=LIMITERS[int(rng.choice(3, p=[0.5, 0.3, 0.2]))],
        compressor_ratio=float(rng.choice([1.0, 1.0, 1.0, 2.0, 4.0, 10.0])),
        compressor_threshold_db=float(rng.uniform(-24.0, -8.0)),
        low_cut_hz=float(rng.choice([0.0, 80.0, 100.0, 120.0])),
        latency_s=float(rng.choice([0.0, 0.0, 0.001, 0.002, 0.004, 0.006])),
        programme_db=float(rng.uniform(-32.0, -10.0)),
        box_below_m=float(rng.uniform(0.15, 0.9)),
        box_peak_dbfs=float(rng.uniform(-26.0, 2.0)),
        box_noise_dbfs=float(rng.uniform(-85.0, -48.0)),
        sample_rate_hz=int(rng.choice([44100, 48000])),
        duration_s=length_s,
    )


@lru_cache(maxsize=4)
def _stage(
    room_seed: int, t60_s: float, place: Place, below_m: float | None, rate: int
) -> Responses:
    room = random_room(room_seed, t60_s=t60_s, place=place)
    if below_m is not None:
        x, y, z = room.microphone.position_m
        room = replace(room, box_m=(x + 0.03, y + 0.08, max(z - below_m, 0.2)))
    return responses(room, rate)


@dataclass
class _Loop:
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


def _smooth_step(t: np.ndarray, start_s: float, length_s: float) -> np.ndarray:
    x = np.clip((t - start_s) / length_s, 0.0, 1.0)
    return x * x * (3.0 - 2.0 * x)


def _gain_track(
    spec: RunSpec, t: np.ndarray, limit_db: float, rng: np.random.Generator
) -> np.ndarray:
    """The fader over time for the provocations that are made with it."""
    end_db = limit_db + spec.excess_db
    start_db = min(limit_db, end_db) - float(rng.uniform(1.0, 6.0))
    if spec.provocation == "step":
        return start_db + (end_db - start_db) * _smooth_step(t, spec.onset_s, 0.03)
    # The push passes the limit about a second after it begins, or sooner.
    rise = np.maximum(t - spec.onset_s, 0.0) * spec.push_db_per_s
    start_db = max(start_db, min(limit_db, end_db) - max(spec.push_db_per_s, 0.5))
    return np.minimum(start_db + rise, end_db)


def _prepare(spec: RunSpec, stage: Responses, n: int, rng: np.random.Generator) -> _Loop:
    """Fold the electronics in and plan what moves."""
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
        weight = _smooth_step(t, spec.onset_s, _HAND_S)
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
        weight = _smooth_step(t, spec.onset_s, _WALK_S)
        loops = []
        for begin, end in zip(begins, ends, strict=True):
            delay = begin + (end - begin) * weight
            loop = _Loop(first, second, tap, weight, delay, np.zeros(n))
            loops.append((float(loop.limits_db(np.array([n - 1]))[0]), delay))
        delay = min(loops, key=lambda pair: pair[0])[1]
    loop = _Loop(first, second, tap, weight, delay, np.zeros(n))
    before_db, after_db = (float(x) for x in loop.limits_db(np.array([0, n - 1])))
    if spec.provocation in ("hand", "walk"):
        wanted_db = after_db + spec.excess_db
        calm_db = min(wanted_db, before_db + _SURELY_STABLE_DB)
        # Where covering or walking alone does not reach the excess, the fader is up a little
        # later too: the singer notices nothing and asks for more.
        loop.gain_db = calm_db + (wanted_db - calm_db) * _smooth_step(t, spec.onset_s, 0.4)
    else:
        loop.gain_db = _gain_track(spec, t, after_db, rng)
    if spec.acts_s is not None:
        loop.gain_db = loop.gain_db - spec.acts_db * _smooth_step(t, spec.acts_s, 0.15)
    return loop


def _compressor(spec: RunSpec, block: int) -> Compressor | None:
    if spec.compressor_ratio <= 1.0:
        return None
    return Compressor(
        threshold_db=spec.compressor_threshold_db,
        ratio=spec.compressor_ratio,
        block_s=block / spec.sample_rate_hz,
    )


def _closed(
    spec: RunSpec, loop: _Loop, voice: np.ndarray, block: int
) -> tuple[np.ndarray, np.ndarray]:
    """Return what the loudspeaker is driven with, and the compressor's reduction per block."""
    count = len(voice) // block
    end = limiter(spec.limiter)
    squeeze = _compressor(spec, block)
    gain = (10.0 ** (loop.gain_db / 20.0)).astype(np.float32).reshape(count, block)
    blocks = voice.reshape(count, block)
    drive = np.zeros((count, block), np.float32)
    reduction_db = np.zeros(count)
    # The loop's own delay is at least a block, so a block's feedback is known before it begins.
    fir = PartitionedFir(loop.first[block:], block=block)
    moves = loop.weight.reshape(count, block)[:, 0]
    other = fir.spectra_of(loop.second[block:]) - fir.spectra if loop.tap is None else None
    still = fir.spectra.copy()
    tap_spectra, tapped = None, np.zeros(0, np.float32)
    if loop.tap is not None and loop.delay is not None:
        tap_fir = PartitionedFir(loop.tap, block=block)
        tap_spectra = tap_fir.spectra[: len(still)]
        tapped = np.zeros(len(voice) + block, np.float32)
        place = np.arange(len(voice)) - loop.delay
        whole = np.floor(place).astype(np.int64)
        part = (place - whole).astype(np.float32)
        share = loop.weight.astype(np.float32)
    feedback = np.zeros(block, np.float32)
    last_move = 0.0
    for k in range(count):
        mixed = (blocks[k] + feedback) * gain[k]
        if squeeze is not None:
            mixed = squeeze.push(mixed)
            reduction_db[k] = squeeze.reduction_db
        drive[k] = end(mixed)
        if other is not None and moves[k] != last_move:
            last_move = float(moves[k])
            fir.spectra = still + np.float32(last_move) * other
        feedback = fir.push(drive[k])
        if tap_spectra is not None and k + 1 < count:
            tapped[k * block : (k + 1) * block] = fir.through(tap_spectra)
            here = slice((k + 1) * block, (k + 2) * block)
            at = whole[here]
            heard = (
                tapped[np.maximum(at, -1)] * (1.0 - part[here])
                + tapped[np.maximum(at + 1, -1)] * part[here]
            )
            feedback = feedback + share[here] * np.where(at >= 0, heard, 0.0)
    return drive.reshape(-1), reduction_db


def _opened(spec: RunSpec, loop: _Loop, voice: np.ndarray, block: int) -> np.ndarray:
    """Return the twin's drive: the same electronics, no way back."""
    mixed = voice * (10.0 ** (loop.gain_db / 20.0)).astype(np.float32)
    squeeze = _compressor(spec, block)
    if squeeze is not None:
        for k in range(0, len(mixed), block):
            mixed[k : k + block] = squeeze.push(mixed[k : k + block])
    return limiter(spec.limiter)(mixed).astype(np.float32)


def _level(power: np.ndarray, window: int) -> np.ndarray:
    """Return the running mean of a power, centred, never negative."""
    window = max(1, min(window, len(power)))
    total = np.concatenate(([0.0], np.cumsum(power, dtype=np.float64)))
    half = window // 2
    index = np.arange(len(power))
    low, high = np.maximum(index - half, 0), np.minimum(index + window - half, len(power))
    return np.maximum((total[high] - total[low]) / (high - low), 0.0)


def _first_above(
    feedback: np.ndarray, programme: np.ndarray, *, rate: int, from_s: float
) -> float | None:
    """Return when the feedback's level rises above the programme's and stays for 0.2 s."""
    fast = _level(feedback.astype(np.float64) ** 2, int(0.03 * rate))
    slow = _level(programme.astype(np.float64) ** 2, int(0.2 * rate))
    above = fast > slow
    above[: int(from_s * rate)] = False
    stay = int(0.2 * rate)
    count = np.concatenate(([0], np.cumsum(above)))
    if len(above) <= stay:
        return None
    whole = np.flatnonzero(count[stay:] - count[:-stay] == stay)
    return float(whole[0]) / rate if len(whole) else None


def _in_band(samples: np.ndarray, frequency_hz: float, rate: int) -> np.ndarray:
    """Return the samples in the third octave of a frequency, with soft edges."""
    band = third_octave_of(frequency_hz)
    size = next_fast_len(len(samples), real=True)
    grid = np.fft.rfftfreq(size, 1.0 / rate)
    width = 0.04
    octave = np.log2(np.maximum(grid, 1.0))
    up = np.clip((octave - math.log2(band.lower_hz)) / width + 0.5, 0.0, 1.0)
    down = np.clip((math.log2(band.upper_hz) - octave) / width + 0.5, 0.0, 1.0)
    weight = (np.sin(0.5 * np.pi * up) * np.sin(0.5 * np.pi * down)).astype(np.float32)
    filtered: np.ndarray = irfft(rfft(samples, size) * weight, size)[: len(samples)]
    return filtered


def _critical_at(loop: _Loop, moments: Sequence[int], rate: int) -> list[Critical]:
    """What is critical at any of the moments (samples), each at its worst, most critical first."""
    found: list[Critical] = []
    for moment in moments:
        here = criticals(
            loop.taps_at(moment),
            sample_rate_hz=rate,
            gain_db=float(loop.gain_db[moment]),
            most=40,
        )
        for one in here:
            same = [two for two in found if abs(two.frequency_hz - one.frequency_hz) <= _SAME_HZ]
            if all(one.margin_db < two.margin_db for two in same):
                found = [two for two in found if two not in same] + [one]
    return sorted(found, key=lambda one: one.margin_db)


def _winner(feedback: np.ndarray, truth: Sequence[Critical], rate: int, span: slice) -> float:
    """Return the frequency of the truth where the feedback holds most energy."""
    part = feedback[span]
    if len(part) < 256 or len(truth) < 2:
        return truth[0].frequency_hz
    size = next_fast_len(len(part), real=True)
    power = np.abs(rfft(part * np.hanning(len(part)).astype(np.float32), size)) ** 2
    reach = max(2, int(1.0 * size / rate))

    def energy(one: Critical) -> float:
        place = round(one.frequency_hz * size / rate)
        return float(power[max(0, place - reach) : place + reach + 1].sum())

    return max(truth, key=energy).frequency_hz


def _room_noise(n: int, rng: np.random.Generator) -> np.ndarray:
    """Hiss with more below than above, RMS 1."""
    size = next_fast_len(n, real=True)
    noise = rng.standard_normal(size, np.float32)
    spectrum = rfft(noise)
    spectrum *= 1.0 / np.sqrt(1.0 + np.linspace(0.0, 200.0, len(spectrum), dtype=np.float32))
    shaped: np.ndarray = irfft(spectrum, size)[:n]
    return shaped / np.float32(math.sqrt(float(np.mean(shaped**2))))


def _programme(spec: RunSpec, n: int, sound: np.ndarray | None) -> np.ndarray:
    if spec.programme == "given":
        if sound is None or sound.ndim != 1 or len(sound) == 0:
            raise ValueError('programme "given" needs sound, a 1-d array with samples in it')
        return np.resize(sound.astype(np.float32), n)
    if sound is not None:
        raise ValueError(f'sound was given, but the programme is "{spec.programme}", not "given"')
    if spec.programme not in PROGRAMMES:
        raise ValueError(
            f"programme {spec.programme!r} is unknown; known: {', '.join(PROGRAMMES)}, given"
        )
    return perform(
        spec.programme,  # type: ignore[arg-type]
        seconds=(n + 1) / spec.sample_rate_hz,
        sample_rate_hz=spec.sample_rate_hz,
        seed=spec.seed,
    )[:n]


def render_run(spec: RunSpec, sound: np.ndarray | None = None) -> Run:
    """Render a run.

    Parameters
    ----------
    spec : RunSpec
    sound : np.ndarray [shape=(n,)], optional
        The programme at the vocal microphone, with ``programme="given"``; repeated or cut to
        the run's length, its level set by ``programme_db``.

    Raises
    ------
    ValueError
        If the spec cannot be rendered; one clear line.
    """
    rate = spec.sample_rate_hz
    if spec.provocation not in PROVOCATIONS:
        raise ValueError(
            f"provocation {spec.provocation!r} is unknown; known: {', '.join(PROVOCATIONS)}"
        )
    if not 1.0 <= spec.duration_s <= 600.0:
        raise ValueError(f"duration_s={spec.duration_s} must lie between 1 and 600")
    rng = np.random.default_rng([spec.seed, 99])
    stage = _stage(spec.room_seed, spec.t60_s, spec.place, spec.box_below_m, rate)
    shortest = int((stage.shortest_s + spec.latency_s) * rate) - 1
    block = next((b for b in _BLOCKS if b <= shortest), 0)
    if block == 0:
        raise ValueError("the loudspeaker is too near to the microphone for this simulation")
    n = int(spec.duration_s * rate) // block * block
    loop = _prepare(spec, stage, n, rng)

    # Levels: the loud programme reaches the loudspeaker at programme_db when at the limit.
    t_before = np.array([0])
    limit_db = float(loop.limits_db(t_before)[0])
    source = _programme(spec, n, sound)
    loud = float(
        np.sqrt(np.quantile(_level(source.astype(np.float64) ** 2, rate // 20)[::512], 0.9))
    )
    wanted = 10.0 ** ((spec.programme_db - limit_db) / 20.0)
    voice = source * np.float32(wanted / loud) if loud > 1e-9 else source
    floor = wanted * 10.0 ** (float(rng.uniform(-60.0, -40.0)) / 20.0)
    voice = voice + np.float32(floor) * _room_noise(n, rng)

    drive, reduction_db = _closed(spec, loop, voice, block)
    drive_open = _opened(spec, loop, voice, block)
    direct = convolved(voice, stage.voice_box)
    difference = convolved(drive - drive_open, stage.box)
    quiet = convolved(drive_open, stage.box) + direct

    # Truth.
    step = max(1, int(0.01 * rate))
    moments = np.arange(0, n, step)
    coarse = np.unique(np.concatenate([moments[:: max(1, len(moments) // 12)], [n - 1]]))
    if spec.provocation in ("hand", "walk"):
        begins = spec.onset_s * rate
        lasts = (_HAND_S if spec.provocation == "hand" else _WALK_S) * rate
        inside = begins + lasts * np.linspace(0.0, 1.0, 9 if spec.provocation == "hand" else 17)
        coarse = np.clip(np.concatenate([[0], inside, [n - 1]]), 0, n - 1).astype(int)
        limits = np.interp(moments, coarse, loop.limits_db(coarse))
    else:
        limits = np.full(len(moments), limit_db)
    nominal_db = loop.gain_db[moments] - limits
    excess_db = nominal_db - reduction_db[np.minimum(moments // block, len(reduction_db) - 1)]
    worst = int(np.argmax(nominal_db))
    peak_db = float(nominal_db[worst])
    # What is unstable on the way may not be where somebody comes to rest.
    asked = {int(moments[worst])}
    if spec.provocation in ("hand", "walk"):
        at_db = np.interp(coarse, moments, nominal_db)
        asked.update(int(i) for i in coarse[at_db > -NEAR_DB])
    found = _critical_at(loop, sorted(asked), rate)
    truth = tuple(c for c in found if c.margin_db < 0.0)
    unstable = np.flatnonzero(excess_db > 0.0)
    onset_s = float(moments[unstable[0]]) / rate if len(unstable) and truth else None
    last = int(np.flatnonzero(nominal_db > 0.0)[-1]) if onset_s is not None else len(moments)
    off_s = float(moments[last + 1]) / rate if last + 1 < len(moments) else None
    end_s = spec.acts_s if spec.acts_s is not None else n / rate
    critical_hz = found[0].frequency_hz if found else 0.0
    span = slice(int((onset_s or 0.0) * rate), int(end_s * rate))
    if onset_s is not None:
        critical_hz = _winner(difference, truth, rate, span)

    # The box's own microphone: a full-blown howl would reach box_peak_dbfs.
    at_end = np.exp(-2j * np.pi * critical_hz / rate * np.arange(len(stage.box)))
    reach = abs(np.dot(stage.box, at_end)) + 1e-9
    box_gain = np.float32(10.0 ** (spec.box_peak_dbfs / 20.0) / reach)
    noise = np.float32(10.0 ** (spec.box_noise_dbfs / 20.0)) * _room_noise(n, rng)
    quiet = quiet * box_gain + noise
    difference = difference * box_gain
    overtake_s = louder_s = None
    if onset_s is not None:
        overtake_s = _first_above(
            _in_band(difference, critical_hz, rate),
            _in_band(quiet, critical_hz, rate),
            rate=rate,
            from_s=onset_s,
        )
        louder_s = _first_above(difference, quiet, rate=rate, from_s=onset_s)
    return Run(
        spec=spec,
        sample_rate_hz=rate,
        closed=np.clip(quiet + difference, -1.0, 1.0).astype(np.float32),
        opened=np.clip(quiet, -1.0, 1.0).astype(np.float32),
        feedback=difference.astype(np.float32),
        excess_time_s=moments / rate,
        excess_db=excess_db,
        peak_excess_db=peak_db,
        truth=truth,
        near=tuple(c for c in found if 0.0 <= c.margin_db < NEAR_DB),
        critical_frequency_hz=critical_hz,
        onset_s=onset_s,
        off_s=off_s,
        overtake_s=overtake_s,
        louder_than_programme_s=louder_s,
        acts_s=spec.acts_s,
    )
