"""What is handed to the advice, and what comes back: values only, nothing is worked out here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from monitor.advice.ring_out_state import RingOutState
from monitor.advice.set_advice import SetAdvice


@dataclass(frozen=True, slots=True)
class RingSaid:
    """An event of the listening: which ring of tonight, and when."""

    kind: Literal["ringing", "howl", "closed"]
    id: int
    frequency_hz: float
    level_dbfs: float
    at_s: float


@dataclass(frozen=True, slots=True)
class LineHeard:
    """New hops of a ring's line: float [n] each, oldest first."""

    id: int
    frequency_hz: float
    times_s: np.ndarray
    level_dbfs: np.ndarray
    floor_dbfs: np.ndarray


@dataclass(frozen=True, slots=True)
class DeskStands:
    """How the practice stage's desk stands; ``place`` says in which room and placement.

    ``filters`` are centre in Hz and Q of sliders that can be put anywhere, None for the others.
    ``is_up``: the fader is at its upper end.
    """

    place: str
    fader_db: float
    pulls_db: tuple[float, ...]
    filters: tuple[tuple[float, float] | None, ...] = ()
    is_up: bool = False


@dataclass(frozen=True, slots=True)
class News:
    """One hand-over; ``at_s`` is the sample clock carried on as monotonic time.

    ``first`` is the ring that stands first on panel and page, None while nothing rings; ``fresh``
    means that samples were lost before it: lines do not run on.
    """

    at_s: float
    said: tuple[RingSaid, ...] = ()
    lines: tuple[LineHeard, ...] = ()
    third_octave_dbfs: np.ndarray | None = None
    desk: DeskStands | None = None
    first: int | None = None
    fresh: bool = False


@dataclass(frozen=True, slots=True)
class Advised:
    """What the advice has come to; ``fields`` are ready for the snapshot.

    ``for_ring`` is tonight's number of the ring that the advice begins with.
    """

    advice: SetAdvice | None = None
    for_ring: int | None = None
    ring_out: RingOutState | None = None
    fields: Mapping[str, Any] = field(default_factory=dict)
