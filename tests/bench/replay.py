"""One listening, many thresholds: the whole trade-off from a single pass over a sound.

The costly part of the chain, spectra and scores, does not depend on the thresholds.  A listener's
ring books are each put behind a shelf of their copies that read the same spectra, every copy with
the evidence it asks for multiplied by another factor.  With a factor of 1 the rings are those of
the plain listener (a test holds that).
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from monitor.listening.evidence import Candidates
from monitor.listening.layers import Layer
from monitor.listening.listener import Listener
from monitor.listening.rings import Ring, RingBook, RingEvent, Thresholds, Way
from tests.bench.scoring import Flagged, episodes

FACTORS = (0.25, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0, 2.8, 4.0)
"""About half an octave apart, from a quarter of the evidence to four times."""
PLAIN = 1.0


def scaled(thresholds: Thresholds, factor: float) -> Thresholds:
    """The same thresholds with the evidence for both degrees multiplied."""
    return replace(
        thresholds,
        ringing=replace(thresholds.ringing, evidence=factor * thresholds.ringing.evidence),
        howl=replace(thresholds.howl, evidence=factor * thresholds.howl.evidence),
    )


class _Shelf:
    """Stands in a ring book's place and asks its copies; ``turn`` holds whose turn it is."""

    def __init__(
        self, book: RingBook, layer: Layer, factors: Sequence[float], turn: list[float]
    ) -> None:
        shared = {id(layer.history): layer.history}
        self._turn = turn
        self._books = {factor: copy.deepcopy(book, dict(shared)) for factor in factors}
        self.events: dict[float, list[RingEvent]] = {factor: [] for factor in factors}

    @property
    def open_rings(self) -> list[Ring]:
        """Those of the copy whose turn it is: what the other resolution's copy asks for."""
        return self._books[self._turn[0]].open_rings

    def advance(
        self,
        candidates: Candidates | None,
        log_odds: np.ndarray,
        thresholds: Thresholds,
        *,
        now_s: float,
    ) -> list[RingEvent]:
        for factor, book in self._books.items():
            self._turn[0] = factor
            self.events[factor] += book.advance(
                candidates, log_odds, scaled(thresholds, factor), now_s=now_s
            )
        return []


def listen(
    samples: np.ndarray, *, sample_rate_hz: int, way: Way, factors: Sequence[float] = FACTORS
) -> dict[float, list[Flagged]]:
    """The rings in a sound, for each factor on the evidence that ``way`` asks for.

    Rings that the sound's end cuts off have no end (``inf``).
    """
    listener = Listener(sample_rate_hz=sample_rate_hz, way=way)
    turn = [PLAIN]
    shelves = [
        _Shelf(book, layer, factors, turn)
        for book, layer in zip(listener._books, listener._layers, strict=True)
    ]
    listener._books = shelves  # type: ignore[assignment]
    listener.push(samples)
    found: dict[float, list[Flagged]] = {}
    for factor in factors:
        rings = [ring for shelf in shelves for ring in episodes(shelf.events[factor])]
        found[factor] = sorted(rings, key=lambda ring: ring.ringing_s or 0.0)
    return found
