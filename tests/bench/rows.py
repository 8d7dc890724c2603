"""Rows for training the scorers, out of streams: looks at lines, or courses of lines.

A course is what the listening chain itself makes of a stream: its suspects look at what was found
as they would live (a test holds that), with a scorer of looks that has not learnt from this source.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from monitor.listening.attention import Attention
from monitor.listening.courses import COURSE_FEATURES, SURELY_NOT
from monitor.listening.evidence import Candidates
from monitor.listening.layers import RESOLUTIONS
from monitor.listening.scorer import Scorer
from monitor.listening.suspects import Suspected, Suspects
from tests.bench.streams import COLUMNS, FEEDBACK, OWN, UNSAID, Stream, looks_of

MEASURED_PART = 0.15
"""Part of the looks at what is no feedback that is taken: neighbours are alike."""
LATE_S = 1.0
LATE_PART = 0.3
"""On a course, feedback that overtook the programme longer ago counts less: it is easy by then."""

Rows = tuple[np.ndarray, np.ndarray, np.ndarray]  # features, labels, weights


def rows_of_looks(stream: Stream, rng: np.random.Generator) -> Rows:
    """Every look at feedback, a part of all others."""
    part = np.where(stream.label == OWN, MEASURED_PART, 1.0)
    kept = (stream.label != UNSAID) & (rng.random(len(part)) < part)
    weight = stream.weight / part
    return (
        stream.candidates.features[kept],
        (stream.label[kept] == FEEDBACK).astype(np.float32),
        weight[kept].astype(np.float32),
    )


def rows_of_courses(stream: Stream, scorer: Scorer) -> Rows:
    """Courses at the looks at which they may decide something."""
    features, places = [np.zeros((0, len(COURSE_FEATURES)), np.float32)], [np.zeros(0, int)]
    for _, suspected, lines in followed(stream, scorer):
        decides = suspected.features[:, 0] >= SURELY_NOT
        features.append(suspected.features[decides].astype(np.float32))
        places.append(lines[decides])
    place = np.concatenate(places)
    label = stream.label[place]
    is_late = (label == FEEDBACK) & (stream.late_s[place] > LATE_S)
    weight = stream.weight[place] * np.where(is_late, LATE_PART, 1.0)
    kept = label != UNSAID
    return (
        np.concatenate(features)[kept],
        (label[kept] == FEEDBACK).astype(np.float32),
        weight[kept].astype(np.float32),
    )


def followed(stream: Stream, scorer: Scorer) -> Iterator[tuple[int, Suspected, np.ndarray]]:
    """What is suspected at each look: its number, the suspects, and which lines they are, [n]."""
    recorded = _Recorded(stream)
    suspects = Suspects(recorded, scorer)  # type: ignore[arg-type]
    shown = dict(looks_of(stream))
    for look in range(1, stream.looks + 1):
        recorded.show(shown.get(look))
        suspected = suspects.look(_NO_SOUND)
        if suspected is not None:
            yield look, suspected, recorded.lines_at(suspected.bins)


_NO_SOUND = np.zeros(0, np.float32)
_NO_LINE = slice(0, 0)


class _Recorded:
    """Stands in a layer's place and finds what a stream holds, as far as it is asked to look."""

    def __init__(self, stream: Stream) -> None:
        self.resolution = RESOLUTIONS[stream.resolution]
        self.history = self
        self.evidence = self
        self.bin_hz = stream.bin_hz
        self.attention = Attention(int(stream.candidates.bins.max(initial=0)) + 2)
        self._stream = stream
        self._lines = np.zeros(0, int)

    def show(self, lines: slice | None) -> None:
        """The lines of the next look."""
        self.attention.next_look()
        lines = _NO_LINE if lines is None else lines
        seen = self.attention.seen(self._stream.candidates.bins[lines])
        self._lines = np.arange(lines.start, lines.stop)[seen]

    def look(self, window: np.ndarray) -> Candidates | None:
        """What is found in the look that is shown."""
        if len(self._lines) == 0:
            return None
        held = self._stream.candidates
        return Candidates(**{name: getattr(held, name)[self._lines] for name in COLUMNS})

    def lines_at(self, bins: np.ndarray) -> np.ndarray:
        """Which lines of the stream these of the shown look are, int [n]."""
        return self._lines[np.searchsorted(self._stream.candidates.bins[self._lines], bins)]
