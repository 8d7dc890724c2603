"""One listening, many thresholds: the whole trade-off from a single pass over a sound.

The costly part of the chain, spectra and scores, does not depend on the thresholds.  A listener's
ring books are each put behind a shelf of their copies that read the same spectra, every copy with
the log-odds it asks for moved.  Moved by 0 the rings are those of the plain listener (a test holds
that).
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from monitor.listening.layers import Layer
from monitor.listening.listener import Listener
from monitor.listening.rings import Ring, RingBook, RingEvent, Thresholds, Way
from monitor.listening.suspects import Suspected
from tests.bench.scoring import Flagged, episodes

MOVES = (-3.0, -2.0, -1.0, -0.5, 0.0, 0.5, 1.0, 1.5, 2.0)
"""Of the log-odds asked for: from a twentieth of the odds to seven times."""
PLAIN = 0.0


def moved(thresholds: Thresholds, by: float) -> Thresholds:
    """The same thresholds with the log-odds for both degrees moved."""
    ringing, howl = thresholds.ringing, thresholds.howl
    return Thresholds(
        ringing=replace(ringing, log_odds=ringing.log_odds + by),
        howl=replace(howl, log_odds=howl.log_odds + by),
    )


class _Shelf:
    """Stands in a ring book's place and asks its copies; ``turn`` holds whose turn it is."""

    def __init__(
        self, book: RingBook, layer: Layer, moves: Sequence[float], turn: list[float]
    ) -> None:
        shared: dict[int, Any] = {id(x): x for x in (layer.history, book._others)}
        self._turn = turn
        self._books = {move: copy.deepcopy(book, dict(shared)) for move in moves}
        self.events: dict[float, list[RingEvent]] = {move: [] for move in moves}

    @property
    def open_rings(self) -> list[Ring]:
        """Those of the copy whose turn it is: what the other resolution's copy asks for."""
        return self._books[self._turn[0]].open_rings

    def deepen(self, ring_id: int, now_s: float) -> list[RingEvent]:
        return self._books[self._turn[0]].deepen(ring_id, now_s)

    def advance(
        self,
        suspected: Suspected | None,
        log_odds: np.ndarray,
        thresholds: Thresholds,
        *,
        now_s: float,
    ) -> list[RingEvent]:
        for move, book in self._books.items():
            self._turn[0] = move
            self.events[move] += book.advance(
                suspected, log_odds, moved(thresholds, move), now_s=now_s
            )
        return []


def listen(
    samples: np.ndarray, *, sample_rate_hz: int, way: Way, moves: Sequence[float] = MOVES
) -> dict[float, list[Flagged]]:
    """The rings in a sound, for each move of the log-odds that ``way`` asks for.

    Rings that the sound's end cuts off have no end (``inf``).
    """
    listener = Listener(sample_rate_hz=sample_rate_hz, way=way)
    turn = [PLAIN]
    shelves = [
        _Shelf(book, layer, moves, turn)
        for book, layer in zip(listener._books, listener._layers, strict=True)
    ]
    listener._books = shelves  # type: ignore[assignment]
    listener.push(samples)
    found: dict[float, list[Flagged]] = {}
    for move in moves:
        events = [event for shelf in shelves for event in shelf.events[move]]
        rings = episodes(sorted(events, key=lambda event: event.at_s))
        found[move] = sorted(rings, key=lambda ring: ring.ringing_s or 0.0)
    return found
