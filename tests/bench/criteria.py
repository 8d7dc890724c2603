"""Each published criterion in its paper's own framing: from samples to what it would have flagged.

Conventions
-----------
A criterion is asked frame by frame at its candidates: the three highest peaks of a frame (FIFTY
section VII-A), or every peak where the paper picks none.  Frequencies are read between bins,
times are the frames' ends.  What is flagged again within half a second and a semitone is one
alarm.  ``literature.py`` names the sources.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import resample_poly

from tests.bench import literature

LOWEST_HZ = 60.0
LEAST_LEVEL_DBFS = -96.0
"""Where the lantern listens too; below either a criterion could only lose."""
SAME_ALARM_S = 0.5
SEMITONE = 2.0 ** (1.0 / 12.0) - 1.0
PHPR_AND_IPMP = "PHPR with IPMP"
LEAST_PERSISTENCE = 0.6
"""3 of 5 frames (FIFTY section VII-A, the first of the three systems compared)."""


def _from_1(furthest: float, nearest: float) -> np.ndarray:
    """Thresholds that close in on 1."""
    return 1.0 - np.geomspace(furthest, nearest, 26)


THRESHOLDS: dict[str, np.ndarray] = {
    "PTPR": np.linspace(-72.0, 0.0, 19),
    "PAPR": np.linspace(3.0, 33.0, 16),
    "PHPR": np.linspace(3.0, 75.0, 19),
    "PNPR": np.linspace(0.0, 60.0, 16),
    "peakness": np.arange(1, 17) / 16.0,
    "IPMP": np.arange(1, 6) / 5.0,
    "IMSD": -np.geomspace(3.0, 0.00003, 26),
    "FEP": _from_1(0.7, 0.00002),
    PHPR_AND_IPMP: np.linspace(3.0, 75.0, 19),
    "two-stage slope": -np.geomspace(3.0, 0.0003, 26),
    "NINOS2-T": _from_1(0.3, 0.00002),
    "NINOS2-T at peak": _from_1(0.3, 0.00002),
}
"""Every criterion with the thresholds tried, loosest first; in its own unit.

Each range goes on past its best threshold, or to where the criterion can say no more.
"""


@dataclass(frozen=True, slots=True)
class Points:
    """Where and when a criterion was asked, and its answers: floats [n]."""

    time_s: np.ndarray
    frequency_hz: np.ndarray
    score: np.ndarray
    bin_hz: float

    def part(self, kept: np.ndarray) -> Points:
        """Some of them, bool [n]."""
        return Points(self.time_s[kept], self.frequency_hz[kept], self.score[kept], self.bin_hz)


@dataclass(frozen=True, slots=True)
class Framing:
    """How a paper cuts the sound: sample rate, window and hop, in Hz and samples."""

    sample_rate_hz: int
    window_samples: int
    hop_samples: int

    @property
    def bin_hz(self) -> float:
        """Distance of two bins."""
        return self.sample_rate_hz / self.window_samples

    @property
    def hop_s(self) -> float:
        """Distance of two frames."""
        return self.hop_samples / self.sample_rate_hz

    def spectrogram(self, samples: np.ndarray, kind: str) -> np.ndarray:
        """Power [n_frames, n_bins] with a window of this kind."""
        return literature.spectrogram(
            samples,
            window=literature.window_of(kind, self.window_samples),
            hop_samples=self.hop_samples,
        )

    def points(
        self, power: np.ndarray, score: np.ndarray, asked: np.ndarray, loosest: float
    ) -> Points:
        """The answers asked for that any threshold could flag.

        Frequencies by a parabola through the levels.
        """
        flagged = asked & (score >= loosest) & (power >= 10.0 ** (LEAST_LEVEL_DBFS / 10.0))
        flagged[:, : int(np.ceil(LOWEST_HZ / self.bin_hz))] = False
        flagged[:, -1] = False
        frame, bins = np.nonzero(flagged)
        below, here, above = (np.log(power[frame, bins + k]) for k in (-1, 0, 1))
        curvature = np.minimum(below - 2.0 * here + above, -1e-9)
        offset = np.clip(0.5 * (below - above) / curvature, -0.5, 0.5)
        return Points(
            time_s=(frame + 1) * self.hop_s,
            frequency_hz=(bins + offset) * self.bin_hz,
            score=score[frame, bins],
            bin_hz=self.bin_hz,
        )


def answers(samples: np.ndarray, *, sample_rate_hz: int) -> dict[str, Points]:
    """Ask every criterion of ``THRESHOLDS`` about samples [n]."""
    found: dict[str, Points] = {}

    # FIFTY section V-B1: M = 4096 at 44.1 and 48 kHz, half a window's hop, Blackman.
    framing = Framing(sample_rate_hz, 4096, 2048)
    power = framing.spectrogram(samples, "blackman")
    power[:, : int(LOWEST_HZ / framing.bin_hz)] = literature.LEAST_POWER
    chosen = literature.candidates(power)
    harmonics = literature.peak_to_harmonics(power)
    persistence = literature.persistence(chosen, 5)
    for name, score in (
        ("PTPR", literature.peak_to_threshold(power)),
        ("PAPR", literature.peak_to_average(power)),
        ("PHPR", harmonics),
        ("PNPR", literature.peak_to_neighbours(power)),
        ("peakness", literature.peakness(power)),
        ("IPMP", persistence),
        ("IMSD", literature.straightness(power)),
        ("FEP", literature.feedback_existence(power)),
        (PHPR_AND_IPMP, np.where(persistence >= LEAST_PERSISTENCE, harmonics, -np.inf)),
    ):
        found[name] = framing.points(power, score, chosen, THRESHOLDS[name][0])

    # SLOPE: the power of two nearest 30 ms, 10 ms hop, every bin.
    framing = Framing(
        sample_rate_hz, 2 ** round(np.log2(0.03 * sample_rate_hz)), -(-sample_rate_hz // 100)
    )
    power = framing.spectrogram(samples, "hann")
    score = literature.two_stage_slope(power, hop_s=framing.hop_s)
    name = "two-stage slope"
    found[name] = framing.points(power, score, _peaks(power), THRESHOLDS[name][0])

    # NINOS: 16 kHz, 50 frames a second, M = 1024, Q = 96 for music; at every bin, as the paper
    # compares, and at the highest peak alone, as it was tuned.
    framing = Framing(16000, 1024, 320)
    power = framing.spectrogram(resample_poly(samples, 16000, sample_rate_hz), "hann")
    score = literature.sparsity_over_time(power, 96)
    for name, asked in (
        ("NINOS2-T", _peaks(power)),
        ("NINOS2-T at peak", literature.candidates(power, 1)),
    ):
        found[name] = framing.points(power, score, asked, THRESHOLDS[name][0])
    return found


def _peaks(power: np.ndarray) -> np.ndarray:
    """The highest bin of each line, bool [n_frames, n_bins]: a line is flagged once a frame."""
    peaks = np.zeros(power.shape, bool)
    middle = power[:, 1:-1]
    peaks[:, 1:-1] = (middle > power[:, :-2]) & (middle >= power[:, 2:])
    return peaks


@dataclass(frozen=True, slots=True)
class Alarm:
    """Flags that are one alarm: its first and last moment, s, and where it began, Hz."""

    begin_s: float
    end_s: float
    frequency_hz: float


def alarm_count(points: Points) -> int:
    """How many alarms flags amount to."""
    if len(points.time_s) == 0:
        return 0
    return 1 + int(np.count_nonzero(_apart(points)[1]))


def alarms(points: Points) -> list[Alarm]:
    """The alarms that flags amount to, by frequency and then by time."""
    if len(points.time_s) == 0:
        return []
    order, apart = _apart(points)
    time_s, hz = points.time_s[order], points.frequency_hz[order]
    first = np.flatnonzero(np.concatenate(([True], apart)))
    last = np.flatnonzero(np.concatenate((apart, [True])))
    return [
        Alarm(float(time_s[begin]), float(time_s[end]), float(hz[begin]))
        for begin, end in zip(first, last, strict=True)
    ]


def _apart(points: Points) -> tuple[np.ndarray, np.ndarray]:
    """An order of flags, int [n], and which of them begin an alarm, bool [n - 1].

    Below the frequency where two bins are wider than a semitone, alarms are two bins wide.
    """
    time_s, hz = points.time_s, points.frequency_hz
    corner_hz = 2.0 * points.bin_hz / SEMITONE
    place = np.where(
        hz < corner_hz,
        hz / (2.0 * points.bin_hz),
        1.0 / SEMITONE + 12.0 * np.log2(np.maximum(hz, corner_hz) / corner_hz),
    ).astype(int)
    order = np.lexsort((time_s, place))
    return order, (np.diff(time_s[order]) > SAME_ALARM_S) | (np.diff(place[order]) != 0)
