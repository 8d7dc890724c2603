"""Where streams come from: sounds, tones and closed loops, and the truth about their lines.

Lines of sounds without feedback, and of loops whose feedback has been taken away (the twin with the
loop opened), are ``OWN``.  Lines of closed loops that the twin does not have are ``FEEDBACK`` from
the moment the loop is unstable.  What lies between is left ``UNSAID``.  Only the tuning part of the
sounds is used, and seeds below ``SCORED_SEEDS_FROM``.

Nothing about a stream may say which of both it is but how its lines behave: sounds and loops come
at the same sample rates, are as long since the listening began, and as loud.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from monitor.listening.attention import NEIGHBOURS
from monitor.listening.evidence import Candidates
from monitor.listening.layers import RESOLUTIONS
from monitor.stage.moving_loop import stage_of
from monitor.stage.nyquist import Critical
from monitor.stage.performer import PROGRAMMES
from monitor.stage.provoke import Run, render_run
from monitor.stage.room import Responses
from monitor.stage.run_spec import RunSpec, random_spec
from tests.bench.lines import hops_of, layers_at
from tests.bench.material import (
    SAMPLE_RATE_HZ,
    Sound,
    at_rate,
    faded,
    programme_for,
    sounds,
    stretch,
    together,
    tones,
    varied,
)
from tests.bench.streams import FEEDBACK, OWN, UNSAID, Notes, Stream

SCORED_SEEDS_FROM = 100_000

FEEDBACK_DB = 6.0
"""A line counts as feedback when it stands this far above the same bin of the opened twin."""
OWN_DB = 1.5
"""... and as the programme's own when the twin has it too, within this."""
SURE_EXCESS_DB = 0.2
"""With less a loop climbs by 1 to 4 dB/s in a room: no label says what that is."""
PRODUCT_WEIGHT = 0.5
"""Of harmonics and mixtures of a howl, which are not where it rings but go when it goes."""

OWN_PROGRAMME_PART = 0.2
"""Part of the loops through which the practice stage's own performer plays."""
STABLE_EVERY = 5
"""One loop in this many never rings: what resonates but does not howl has to be known too."""
REVERBERANT_PART, REVERBERANT_T60_S = 0.15, (1.5, 2.5)
"""Part of the loops in rooms that ring on for longer than the practice stage draws: the measured
classroom of ``measured_rooms``, which was not learnt from, was the weakest of all."""
TAIL_S = 1.2
"""With the stage's 0.6 s a response goes on for 1.8 s: 45 dB down at the longest."""
STANDS_S = 0.3
"""Once they have stood for longer than a few windows, several lines are several tones."""
STRETCH_S = 40.0
"""Of each copy of a sound: many sounds teach more than long ones."""
PIECE_S = (8.0, 12.0)
"""As long as loops last."""
SHORT_PART = 0.5
"""Part of the sounds heard in pieces, and of the loops heard from where they begin: the listening
has just begun there.  In the rest it has gone on for a while."""
LEAD_S = (2.0, 12.0)
"""Of the loop's own programme with the loop opened, before the loop is closed."""
JOIN_S = 0.02
RATES_HZ = {48000: 0.5, 44100: 0.4, 16000: 0.1}
"""Of what is listened to.  Whatever a rate makes different must not tell loops from sounds."""


def some_rate_hz(rng: np.random.Generator) -> int:
    """A sample rate to listen at."""
    return int(rng.choice(list(RATES_HZ), p=list(RATES_HZ.values())))


def streams_without_feedback(samples: np.ndarray, sample_rate_hz: int) -> list[Stream]:
    """One stream a resolution, every line of it ``OWN``."""
    layers = layers_at(sample_rate_hz)
    notes = [Notes(number, layer.history.bin_hz) for number, layer in enumerate(layers)]
    hops = hops_of(samples, sample_rate_hz=sample_rate_hz, layers=layers)
    for hop, (_, window) in enumerate(hops, start=1):
        for layer, note in zip(layers, notes, strict=True):
            if hop % layer.resolution.stride:
                continue
            found = layer.look(window)
            note.pass_by()
            if found is not None:
                n = len(found.bins)
                note.take(found, np.full(n, OWN, np.int8), np.ones(n, np.float32))
    return [note.stream() for note in notes]


def _in_pieces(samples: np.ndarray, rng: np.random.Generator) -> list[np.ndarray]:
    """A sound whole, or cut into pieces as long as loops."""
    if rng.random() >= SHORT_PART:
        return [samples]
    pieces, start = [], 0
    while start < len(samples):
        n = int(rng.uniform(*PIECE_S) * SAMPLE_RATE_HZ)
        pieces.append(samples[start : start + n])
        start += n
    return pieces


def _heard(samples: np.ndarray, rng: np.random.Generator) -> list[Stream]:
    """What is found in a sound without feedback, at some rate, whole or in pieces."""
    rate_hz = some_rate_hz(rng)
    return [
        stream
        for piece in _in_pieces(samples, rng)
        for stream in streams_without_feedback(at_rate(piece, SAMPLE_RATE_HZ, rate_hz), rate_hz)
    ]


def is_together(copy: int) -> bool:
    """Whether this copy of a sound comes together with another."""
    return copy % 4 == 2


def streams_of_sound(sound: Sound, copy: int, other: Sound) -> list[Stream]:
    """One varied copy of a sound: by turns as it is, faded, and together with another."""
    rng = np.random.default_rng(zlib.crc32(sound.path.name.encode()) + copy)
    samples = varied(stretch(sound.read(), STRETCH_S, rng), rng)
    if copy % 4 in (1, 3):
        samples = faded(samples, rng)
    elif is_together(copy):
        samples = together(samples, varied(stretch(other.read(), STRETCH_S, rng), rng), rng)
    return _heard(samples, rng)


def streams_of_tones(seed: int) -> list[Stream]:
    """Tones that are no feedback, every second set of them faded."""
    rng = np.random.default_rng([seed, 5])
    samples = tones(seed)
    # By turns of 8, so that every kind of tone comes both ways.
    return _heard(faded(samples, rng) if seed // 8 % 2 else samples, rng)


def streams_of_several(seed: int) -> list[Stream]:
    """Two to six lines while they climb, straight and together, out of a room's noise.

    They are ``FEEDBACK`` then.  Once they stand, several lines are several tones: ``UNSAID``.
    """
    rng = np.random.default_rng([seed, 41])
    t = np.arange(int(7.0 * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    n = int(rng.integers(2, 7))
    places_hz = np.exp(rng.uniform(np.log(70.0), np.log(7000.0), n))
    if n > 2 and rng.random() < 0.5:  # two in one third octave
        places_hz[1] = places_hz[0] * rng.uniform(1.08, 1.2)
    starts_s = rng.uniform(0.5, 1.0) + rng.uniform(0.0, 1.0) * rng.uniform(0.0, 2.0, n)
    growths_db_per_s = np.exp(rng.uniform(np.log(8.0), np.log(60.0), n))
    if rng.random() < 0.3:  # one excess, one loop time
        growths_db_per_s[:] = growths_db_per_s[0] * rng.uniform(0.9, 1.1, n)
    floor_db = rng.uniform(-80.0, -50.0)
    noise = rng.standard_normal(len(t)).astype(np.float32)
    samples = 10.0 ** (floor_db / 20.0) * (
        noise if rng.random() < 0.5 else np.convolve(noise, np.ones(12) / 5.0, "same")
    )
    limits_db = rng.uniform(-30.0, -10.0, n)
    ends_s = starts_s + (limits_db - floor_db + 25.0) / growths_db_per_s + STANDS_S
    for hz, start_s, growth, limit_db in zip(
        places_hz, starts_s, growths_db_per_s, limits_db, strict=True
    ):
        level_db = np.minimum(floor_db - 25.0 + growth * (t - start_s), limit_db)
        level_db[t < start_s] = -200.0
        samples = samples + 10.0 ** (level_db / 20.0) * np.sin(2 * np.pi * (hz * t + rng.random()))
    rate_hz = some_rate_hz(rng)
    streams = streams_without_feedback(
        at_rate(samples.astype(np.float32), SAMPLE_RATE_HZ, rate_hz), rate_hz
    )
    for stream in streams:
        frequency_hz = stream.candidates.frequency_hz
        time_s = stream.look * RESOLUTIONS[stream.resolution].hop_s
        reach_hz = _reach_hz(frequency_hz, stream.bin_hz)
        is_near = np.abs(frequency_hz[:, None] - places_hz) <= reach_hz[:, None]
        climbs = (starts_s < time_s[:, None]) & (time_s[:, None] < ends_s)
        stream.label[:] = np.where((is_near & climbs).any(axis=1), FEEDBACK, UNSAID)
    return streams


def loop_of(seed: int, pool: list[Sound]) -> Run:
    """Closed loop ``seed`` with a programme from the pool, the performer's own or silence."""
    rng = np.random.default_rng([seed, 77])
    stable = seed % STABLE_EVERY == STABLE_EVERY - 1
    sound: np.ndarray | None = None
    programmes: Sequence[str] = PROGRAMMES
    if rng.random() >= OWN_PROGRAMME_PART:
        sound = programme_for(seed, 13.0, pool)
        programmes = ("silence",) if sound is None else ("given",)
    spec = random_spec(seed, programmes=programmes, stable=stable)
    known = None
    if rng.random() < REVERBERANT_PART and spec.provocation != "walk":
        t60_s = float(np.exp(rng.uniform(*np.log(REVERBERANT_T60_S))))
        known = reverberant(spec, t60_s, rng)
    return render_run(spec, sound, known=known)


def reverberant(spec: RunSpec, t60_s: float, rng: np.random.Generator) -> Responses:
    """The responses of a run's room that rings on so long, and longer than the stage's are kept."""
    rate_hz = spec.sample_rate_hz
    cut = stage_of(spec.room_seed, t60_s, spec.place, spec.box_below_m, rate_hz)
    tail = rng.standard_normal(int(TAIL_S * rate_hz))
    longer = partial(rung_on, tail=tail, rate_hz=rate_hz, t60_s=t60_s)
    return replace(
        cut,
        feedback=longer(cut.feedback),
        covered=longer(cut.covered),
        box=longer(cut.box),
        voice_box=longer(cut.voice_box),
    )


def rung_on(response: np.ndarray, tail: np.ndarray, rate_hz: int, t60_s: float) -> np.ndarray:
    """A response [n] whose faded end goes on in noise ``tail``: as loud and as coloured as the
    stretch before the fade, it dies away with ``t60_s``."""
    fade = len(response) // 10
    last = response[-2 * fade : -fade]
    size = len(tail)
    # As the stretch: a sum of many echoes is noise with the same spectrum.
    spectrum = np.fft.rfft(tail) * np.abs(np.fft.rfft(last, size))
    noise = np.fft.irfft(spectrum, size)
    noise *= np.sqrt(np.mean(last**2) / np.mean(noise**2))
    # Level of the middle of the stretch, half a fade before the noise begins.
    noise *= 10.0 ** (-3.0 * (np.arange(size) + fade / 2.0) / rate_hz / t60_s)
    noise[:fade] *= np.sin(np.linspace(0.0, np.pi / 2.0, fade))
    end = size // 4
    noise[-end:] *= np.cos(np.linspace(0.0, np.pi / 2.0, end)) ** 2
    whole = np.concatenate([response, np.zeros(size - fade, response.dtype)])
    whole[-size:] += noise.astype(response.dtype)
    return whole


def _led_in(run: Run, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, int, float]:
    """What the box hears with the loop closed and opened, at some rate, and how long before.

    Returns both, their rate, and the seconds of programme that were put before the run.
    """
    rate_hz = run.sample_rate_hz
    closed, opened, lead_s = run.closed, run.opened, 0.0
    if rng.random() >= SHORT_PART:
        n = min(int(rng.uniform(*LEAD_S) * rate_hz), len(opened))
        start = int(rng.integers(len(opened) - n + 1))
        lead = opened[start : start + n]
        k = min(int(JOIN_S * rate_hz), n)
        rise = np.linspace(0.0, 1.0, k, dtype=np.float32)
        closed, opened = (
            np.concatenate(
                [lead[: n - k], lead[n - k :] * (1.0 - rise) + heard[:k] * rise, heard[k:]]
            )
            for heard in (closed, opened)
        )
        lead_s = (n - k) / rate_hz
    to_hz = 16000 if rng.random() < RATES_HZ[16000] else rate_hz
    return at_rate(closed, rate_hz, to_hz), at_rate(opened, rate_hz, to_hz), to_hz, lead_s


def streams_of_loop(seed: int) -> list[Stream]:
    """One closed loop beside its twin with the loop opened."""
    rng = np.random.default_rng([seed, 23])
    run = loop_of(seed, [sound for sound in sounds() if not sound.scored])
    closed, opened, rate_hz, lead_s = _led_in(run, rng)
    layers, twins = layers_at(rate_hz), layers_at(rate_hz)
    notes = [Notes(number, layer.history.bin_hz) for number, layer in enumerate(layers)]
    hops = zip(
        hops_of(closed, sample_rate_hz=rate_hz, layers=layers),
        hops_of(opened, sample_rate_hz=rate_hz, layers=twins),
        strict=True,
    )
    for hop, ((count, window), (_, twin_window)) in enumerate(hops, start=1):
        time_s = count / rate_hz - lead_s
        for layer, twin, note in zip(layers, twins, notes, strict=True):
            if hop % layer.resolution.stride:
                continue
            found = layer.look(window)
            twin.take_in(twin_window)
            note.pass_by()
            if found is None:
                continue
            twin_db = twin.history.level_db(3)[:, found.bins + NEIGHBOURS].max(axis=(0, 1))
            label, weight = _truth(
                run, time_s, found, found.level_db - twin_db, layer.history.bin_hz
            )
            overtake_s = np.inf if run.overtake_s is None else run.overtake_s
            note.take(found, label, weight, time_s - overtake_s)
    return [note.stream() for note in notes]


def _truth(
    run: Run, time_s: float, found: Candidates, over_twin_db: np.ndarray, bin_hz: float
) -> tuple[np.ndarray, np.ndarray]:
    """Label and weight of each line, [n]: feedback, its products and the programme are told."""
    excess_db = float(run.excess_at(time_s)) if time_s >= 0.0 else -np.inf
    unstable = excess_db > min(SURE_EXCESS_DB, 0.5 * run.peak_excess_db)
    ringing = unstable & (over_twin_db > FEEDBACK_DB)
    distance_hz = _nearest_hz(found.frequency_hz, run.truth)
    reach_hz = _reach_hz(found.frequency_hz, bin_hz)
    is_feedback = ringing & (distance_hz <= reach_hz)
    # Harmonics and mixtures of a clipped howl: feedback's, but not where it rings.
    is_product = ringing & ~is_feedback & (distance_hz > 2 * reach_hz)
    is_product &= _nearest_hz(found.frequency_hz, run.near) > reach_hz
    label = np.full(len(found.bins), UNSAID, np.int8)
    label[is_product | (over_twin_db < OWN_DB)] = OWN
    label[is_feedback] = FEEDBACK
    return label, np.where(is_product, PRODUCT_WEIGHT, 1.0).astype(np.float32)


def _reach_hz(frequency_hz: np.ndarray, bin_hz: float) -> np.ndarray:
    """How near to a true frequency a line is that one, [n]."""
    return np.maximum(0.7 * bin_hz, 0.004 * frequency_hz)


def _nearest_hz(frequency_hz: np.ndarray, modes: Sequence[Critical]) -> np.ndarray:
    """Distance of each frequency to the nearest mode, Hz."""
    if not modes:
        return np.full(len(frequency_hz), np.inf)
    places_hz = np.array([mode.frequency_hz for mode in modes])
    return np.abs(frequency_hz[:, None] - places_hz).min(axis=1)
