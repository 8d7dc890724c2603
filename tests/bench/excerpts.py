"""Twenty seconds through a loop whose gain is turned up to its limit, and where it howls.

The test signals of M. Mounir, G. Bernardi, T. van Waterschoot, "Robust and early howling detection
based on a sparsity measure", EURASIP J. Audio, Speech, Music Process., 2025 (NINOS), sections 5
to 7, made with the practice stage's rooms and the scoring part's sounds.

Conventions
-----------
Excess is the loop's gain beside its limit, the maximum stable gain, in dB.  The gain stands 6 dB
below the limit for 8 s, rises within 1 s and stands for 11 s.  The howl begins when the Nyquist
criterion calls its frequency unstable, heard or not.

What we read into the paper
---------------------------
The gain ends ``OVER_DB`` above the limit, not at it: a loop exactly at its limit neither grows nor
dies, and which side rounding puts it on decides whether anything is unstable.  As a loop that
grows must end somewhere, the loudspeaker has a soft end stop.  At the limit itself one frequency
is unstable.  Above it there may be more, but the first to reach the end stop takes the gain from
the rest: the one that holds most of the feedback is the howl, and the others count neither way.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import resample_poly

from monitor.stage.fir import convolved
from monitor.stage.moving_loop import MovingLoop, planned, stage_of
from monitor.stage.nyquist import criticals, highest_gain_db
from monitor.stage.played import BLOCKS, closed_drive, opened_drive
from monitor.stage.run_spec import RunSpec, random_spec
from monitor.stage.run_truth import running_level, winner
from tests.bench.material import SAMPLE_RATE_HZ, sounds
from tests.bench.sources import SCORED_SEEDS_FROM

RATE_HZ = 16000
LENGTH_S = 20.0
CALM_S = 8.0
RAMP_S = 1.0
BELOW_DB = 6.0
OVER_DB = 0.5
"""In a room with a T60 of 0.6 s a loop then grows by about 12 dB/s, from the programme to the end
stop in a few seconds: the first 5 s hold all of its rise."""
SNR_DB = 40.0
ROOMS = 8
LATENCY_S = 0.003
"""Of the electronics: a desk's, and enough for a block of samples between two trips."""
LOUD_DB = -20.0
"""The loud programme at the loudspeaker beside its end stop, as in the practice stage."""
PEAK_DBFS = -3.0
"""Only the level of the whole excerpt; PTPR alone asks for it."""


@dataclass(frozen=True)
class Excerpt:
    """What the microphone hears, float32 [n] at ``RATE_HZ``, and where and from when it howls.

    ``others_hz`` [k] are unstable too, but lose.
    """

    samples: np.ndarray
    howl_hz: float
    onset_s: float
    others_hz: np.ndarray


def programme(group: str, number: int) -> np.ndarray:
    """Excerpt ``number`` of the scoring part's music or speech, float32 [n].

    The packages take turns; short sounds of one package follow each other.

    Raises
    ------
    SystemExit
        With one line if there is none.
    """
    pool = [sound for sound in sounds() if sound.scored and sound.group == group]
    if not pool:
        raise SystemExit(f"no {group} to score on: make the folder of sounds with 'make sounds'")
    packages = sorted({sound.package for sound in pool})
    package = packages[number % len(packages)]
    mine = sorted(
        (sound for sound in pool if sound.package == package), key=lambda sound: sound.path.name
    )
    rng = np.random.default_rng([SCORED_SEEDS_FROM + number, 53])
    wanted = int(LENGTH_S * SAMPLE_RATE_HZ)
    parts: list[np.ndarray] = []
    missing = wanted
    while missing > 0:
        for place in rng.permutation(len(mine)):
            samples = mine[place].read()
            start = int(rng.integers(max(len(samples) - wanted, 0) + 1))
            parts.append(samples[start : start + wanted])
            missing -= len(parts[-1])
            if missing <= 0:
                break
    whole = np.concatenate(parts)[:wanted]
    resampled: np.ndarray = resample_poly(whole, RATE_HZ, SAMPLE_RATE_HZ).astype(np.float32)
    return resampled


def excess_track(over_db: float = OVER_DB) -> np.ndarray:
    """The loop's gain beside its limit, dB [n]."""
    t = np.arange(int(LENGTH_S * RATE_HZ)) / RATE_HZ
    return -BELOW_DB + (BELOW_DB + over_db) * np.clip((t - CALM_S) / RAMP_S, 0.0, 1.0)


def spec_of(number: int) -> RunSpec:
    """The loop of excerpt ``number``: room and place of one of the ``ROOMS``, nothing in it moves
    and no compressor."""
    return replace(
        random_spec(SCORED_SEEDS_FROM + number % ROOMS),
        provocation="push",
        limiter="soft",
        compressor_ratio=1.0,
        acts_s=None,
        box_below_m=None,
        latency_s=LATENCY_S,
        sample_rate_hz=SAMPLE_RATE_HZ,
    )


def taps_of(spec: RunSpec) -> np.ndarray:
    """The whole loop's response at ``RATE_HZ``, float32: the stage is built at its own rate."""
    stage = stage_of(spec.room_seed, spec.t60_s, spec.place, spec.box_below_m, spec.sample_rate_hz)
    loop = planned(spec, stage, spec.sample_rate_hz, np.random.default_rng(spec.seed))
    down = spec.sample_rate_hz // RATE_HZ
    taps: np.ndarray = down * resample_poly(loop.first, 1, down)
    return taps.astype(np.float32)


def render(number: int, source: np.ndarray, *, over_db: float = OVER_DB) -> Excerpt:
    """Play ``source``, float [n], through the loop of excerpt ``number``."""
    n = int(LENGTH_S * RATE_HZ)
    if source.shape != (n,):
        raise ValueError(f"source of shape {source.shape} given, {n} samples expected")
    spec = spec_of(number)
    rng = np.random.default_rng([spec.seed, number, 61])
    taps = taps_of(spec)
    limit_db = -highest_gain_db(taps)
    still = np.zeros(n)
    loop = MovingLoop(taps, taps, None, still, None, limit_db + excess_track(over_db))
    silent = int(np.flatnonzero(taps)[0])
    block = next(block for block in BLOCKS if block <= silent and n % block == 0)

    power = source.astype(np.float64) ** 2
    loud = float(np.sqrt(np.quantile(running_level(power, RATE_HZ // 20)[::512], 0.9)))
    noise = np.sqrt(power.mean()) * 10.0 ** (-SNR_DB / 20.0) * rng.standard_normal(n)
    voice = (source + noise) * 10.0 ** ((LOUD_DB - limit_db) / 20.0) / max(loud, 1e-9)
    voice = voice.astype(np.float32)
    drive, _ = closed_drive(spec, loop, voice, block)
    heard = voice + convolved(drive, taps)
    feedback = convolved(drive - opened_drive(spec, loop, voice, block), taps)

    found = criticals(taps, sample_rate_hz=RATE_HZ, gain_db=limit_db + over_db, most=40)
    unstable = [one for one in found if one.margin_db < 0.0]
    held = slice(int((CALM_S + RAMP_S) * RATE_HZ), n)
    howl_hz = winner(feedback, unstable, RATE_HZ, held)
    (howl,) = (one for one in unstable if one.frequency_hz == howl_hz)
    needs_db = over_db + howl.margin_db
    return Excerpt(
        samples=heard * np.float32(10.0 ** (PEAK_DBFS / 20.0) / np.abs(heard).max()),
        howl_hz=howl_hz,
        onset_s=CALM_S + RAMP_S * (needs_db + BELOW_DB) / (over_db + BELOW_DB),
        others_hz=np.array([one.frequency_hz for one in unstable if one is not howl]),
    )
