"""Every bin of every frame a candidate: scores, labels, and precision over recall.

Conventions
-----------
Scores are floats [n_frames, n_bins], larger where it is more like howling; frames end every
``hop_samples``.  A howl's bin is the one nearest to its frequency.  The bins within ``LOBE_BINS``
of it hold the same line (the main lobe of the Hann window) and count neither way once the gain
rises.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from monitor.listening.listener import THRESHOLDS, Listener
from monitor.listening.rings import Ring, RingBook, RingEvent, Thresholds, Way
from monitor.listening.suspects import Suspected
from tests.bench import literature
from tests.bench.excerpts import CALM_S, RATE_HZ, Excerpt

LOBE_BINS = 2
STANDS_OUT_DB = 10.0
AROUND_BINS = 20
"""A bin stands out when it is so far above the mean level of those around it, itself counted."""
NOTHING = -20.0
"""Log-odds where there is no suspicious line."""
SAME_LINE = 0.01
_CODE_BITS = 17
"""Of a score as a 32-bit float: sign, exponent and 8 bits, steps of 0.4 %."""
_CODES = 2**_CODE_BITS

Scored = tuple[str, "Grid", np.ndarray]


@dataclass(frozen=True, slots=True)
class Grid:
    """Window and hop in samples."""

    window_samples: int
    hop_samples: int = RATE_HZ // 50

    @property
    def n_bins(self) -> int:
        """From 0 to half the sample rate."""
        return self.window_samples // 2 + 1

    def power(self, samples: np.ndarray) -> np.ndarray:
        """Hann spectrogram, float [n_frames, n_bins]."""
        return literature.spectrogram(
            samples,
            window=literature.window_of("hann", self.window_samples),
            hop_samples=self.hop_samples,
        )

    def nearest(self, frequency_hz: float) -> int:
        """The bin nearest to a frequency."""
        return round(frequency_hz * self.window_samples / RATE_HZ)

    def ends_s(self, n_frames: int) -> np.ndarray:
        """When each frame ends, float [n_frames]."""
        return (np.arange(n_frames) + 1) * self.hop_samples / RATE_HZ


def features(samples: np.ndarray, *, music: bool) -> Iterator[Scored]:
    """Every criterion of the literature over samples [n], with what NINOS tuned for the kind.

    What its Tables 1 and 2 leave open: M = 2048 (FIFTY's at 16 kHz).  The two-stage slope keeps
    its own 30 ms windows every 10 ms.  NINOS2-T is asked at every bin, as the paper compares, and
    at the highest peak of a frame alone, as it was tuned.  What approaches 1 is given less 1, to
    be told apart there.
    """
    grid = Grid(2048)
    power = grid.power(samples)
    neighbours = (2, 3) if music else literature.LATER_NEIGHBOURS
    slope_frames = 16 if music else 8
    yield "PTPR", grid, literature.peak_to_threshold(power)
    yield "PAPR", grid, literature.peak_to_average(power)
    yield "PHPR", grid, literature.peak_to_harmonics(power, literature.LATER_RATIOS)
    yield "PNPR", grid, literature.peak_to_neighbours(power, neighbours)
    yield "peakness", grid, literature.peakness(power)
    yield "IMSD", grid, literature.straightness(power, slope_frames)
    yield "FEP", grid, literature.feedback_existence(power) - 1.0
    if music:
        grid = Grid(4096)
        power = grid.power(samples)
    yield "IPMP", grid, literature.persistence(literature.candidates(power), 64)
    grid = Grid(512, RATE_HZ // 100)
    slopes = literature.two_stage_slope(grid.power(samples), hop_s=0.01)
    yield "two-stage slope", grid, slopes
    grid = Grid(1024)
    power = grid.power(samples)
    standing = literature.sparsity_over_time(power, 96 if music else 32) - 1.0
    yield "NINOS2-T", grid, standing
    highest = literature.candidates(power, 1)
    yield "NINOS2-T at peak", grid, np.where(highest, standing, -np.inf)


class _Notes:
    """Stands in a ring book's place and notes what it was asked about since it was last read."""

    def __init__(self, book: RingBook) -> None:
        self._book = book
        self.seen: list[tuple[float, float]] = []

    @property
    def open_rings(self) -> list[Ring]:
        return self._book.open_rings

    def deepen(self, ring_id: int, now_s: float) -> list[RingEvent]:
        return self._book.deepen(ring_id, now_s)

    def advance(
        self,
        suspected: Suspected | None,
        log_odds: np.ndarray,
        thresholds: Thresholds,
        *,
        now_s: float,
    ) -> list[RingEvent]:
        self.seen = []
        if suspected is not None:
            heard = (suspected.share_of_power_db >= thresholds.howl.share_of_power_db) & (
                suspected.share_of_octave_db >= thresholds.howl.share_of_octave_db
            )
            self.seen = list(zip(suspected.frequency_hz[heard], log_odds[heard], strict=True))
        return self._book.advance(suspected, log_odds, thresholds, now_s=now_s)


def ours(samples: np.ndarray, way: Way) -> Scored:
    """The lantern's log-odds at each frame's end, as the chain ships; least where there are none.

    They stand in the two bins that a line lies between.  A ring is shown until its line ends, so
    the highest that it reached counts.
    """
    grid = Grid(1024)
    listener = Listener(sample_rate_hz=RATE_HZ, way=way)
    notes = [_Notes(book) for book in listener._books]
    listener._books = notes  # type: ignore[assignment]
    n_frames = len(samples) // grid.hop_samples
    score = np.full((n_frames, grid.n_bins), NOTHING)
    highest: dict[int, float] = {}
    for frame in range(n_frames):
        listener.push(samples[frame * grid.hop_samples : (frame + 1) * grid.hop_samples])
        lines = [seen for note in notes for seen in note.seen]
        for ring in (ring for note in notes for ring in note.open_rings):
            near = [odds for hz, odds in lines if abs(hz / ring.frequency_hz - 1.0) < SAME_LINE]
            least = THRESHOLDS[way].ringing.log_odds
            highest[ring.id] = max([highest.get(ring.id, least), *near])
            lines.append((ring.frequency_hz, highest[ring.id]))
        for frequency_hz, log_odds in lines:
            below = int(frequency_hz * grid.window_samples / RATE_HZ)
            between = score[frame, below : below + 2]
            np.maximum(between, log_odds, out=between)
    return f"ours, {way}", grid, score


def once_it_stands_out(excerpt: Excerpt, grid: Grid) -> Scored:
    """The truth wherever the howl stands out, and nothing else: what hearing it can reach.

    A howl is labelled from the loop's being unstable, when there is nothing to hear of it yet.
    """
    level_db = literature.level_of(grid.power(excerpt.samples))
    howls, _ = labels(excerpt, grid, len(level_db))
    middle = grid.nearest(excerpt.howl_hz)
    around = level_db[:, max(0, middle - AROUND_BINS) : middle + AROUND_BINS + 1]
    out = level_db[:, middle] - around.mean(axis=1) >= STANDS_OUT_DB
    return f"{STANDS_OUT_DB:g} dB out, by truth", grid, (howls & out[:, None]).astype(float)


def labels(excerpt: Excerpt, grid: Grid, n_frames: int) -> tuple[np.ndarray, np.ndarray]:
    """Which bins howl, and which count (lobes do not, but for the howl), bool [n_frames, n_bins].

    Unstable frequencies that lose do not count from the rise of the gain on: they ring long.
    """
    howls = np.zeros((n_frames, grid.n_bins), bool)
    counted = np.ones((n_frames, grid.n_bins), bool)
    ends_s = grid.ends_s(n_frames)
    for hz in (excerpt.howl_hz, *excerpt.others_hz):
        middle = grid.nearest(hz)
        lobe = slice(max(0, middle - LOBE_BINS), middle + LOBE_BINS + 1)
        counted[ends_s > CALM_S, lobe] = False
    howls[ends_s > excerpt.onset_s, grid.nearest(excerpt.howl_hz)] = True
    return howls, howls | counted


@dataclass
class Tally:
    """How many bins had each score, howling and not: int [n] beside their scores' codes."""

    codes: np.ndarray = field(default_factory=lambda: np.zeros(0, np.int32))
    howls: np.ndarray = field(default_factory=lambda: np.zeros(0, np.int64))
    others: np.ndarray = field(default_factory=lambda: np.zeros(0, np.int64))

    @classmethod
    def of(cls, score: np.ndarray, howls: np.ndarray) -> Tally:
        """Count scores, float [n], with the truth beside them, bool [n]."""
        bits = (score.astype(np.float32) + np.float32(0.0)).view(np.int32)
        ordered = bits ^ ((bits >> 31) & np.int32(0x7FFFFFFF))
        codes = (ordered >> (32 - _CODE_BITS)) + _CODES // 2
        return cls._from(np.bincount(codes[howls], minlength=_CODES), np.bincount(codes[~howls]))

    @classmethod
    def _from(cls, howls: np.ndarray, others: np.ndarray) -> Tally:
        others = np.pad(others, (0, len(howls) - len(others)))
        codes = np.flatnonzero(howls + others).astype(np.int32)
        return cls(codes, howls[codes], others[codes])

    def __add__(self, other: Tally) -> Tally:
        howls, others = np.zeros(_CODES, np.int64), np.zeros(_CODES, np.int64)
        for one in (self, other):
            howls[one.codes] += one.howls
            others[one.codes] += one.others
        return self._from(howls, others)

    def figures(self) -> dict[str, float]:
        """Highest F1 over thresholds, and average precision (area under precision over recall).

        ``prevalence`` is the part of bins that howl: the precision of a guess.
        """
        right = np.cumsum(self.howls[::-1])
        shown = right + np.cumsum(self.others[::-1])
        wanted = int(right[-1]) if len(right) else 0
        if wanted == 0:
            raise ValueError("nothing howls: there is no precision over recall")
        precision = right / shown
        gained = np.diff(right, prepend=0) / wanted
        return {
            "f1": float((2.0 * right / (shown + wanted)).max()),
            "average_precision": float((gained * precision).sum()),
            "prevalence": wanted / float(shown[-1]),
        }
