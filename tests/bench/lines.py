"""What the detector measures, hop by hop, on a given sound: looks at lines, or their courses."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from typing import Protocol, TypeVar

import numpy as np

from monitor.listening.evidence import Candidates
from monitor.listening.frames import HOP_S, HopBuffer
from monitor.listening.layers import RESOLUTIONS, Layer
from monitor.listening.scorer import Scorer
from monitor.listening.suspects import Suspected, Suspects

Found = Candidates | Suspected
F = TypeVar("F", Candidates, Suspected, covariant=True)


class Eye(Protocol[F]):
    """What looks at the newest samples of one layer: the layer itself, or its suspects."""

    def look(self, window: np.ndarray) -> F | None: ...


def plain(layer: Layer) -> Eye[Candidates]:
    """The layer itself, every line of every hop."""
    return layer


def follower(scorer: Scorer) -> Callable[[Layer], Eye[Suspected]]:
    """The courses of what ``scorer`` suspects."""
    return partial(Suspects, scorer=scorer)


def hops_of(
    samples: np.ndarray, *, sample_rate_hz: int, layers: list[Layer]
) -> Iterator[tuple[int, np.ndarray]]:
    """The windows of a sound, each with the sample count at its end."""
    hop_samples = round(HOP_S * sample_rate_hz)
    buffer = HopBuffer(
        window_samples=max(layer.window_samples for layer in layers), hop_samples=hop_samples
    )
    for hop, window in enumerate(buffer.push(samples), start=1):
        yield hop * hop_samples, window


def layers_at(sample_rate_hz: int) -> list[Layer]:
    """Fresh layers of all resolutions."""
    return [Layer(resolution, sample_rate_hz) for resolution in RESOLUTIONS]


def found_in(
    samples: np.ndarray, *, sample_rate_hz: int, eye: Callable[[Layer], Eye[F]]
) -> Iterator[tuple[Layer, int, F]]:
    """Every hop in which something is found: layer, sample count at the hop, lines."""
    layers = layers_at(sample_rate_hz)
    eyes = [eye(layer) for layer in layers]
    hops = hops_of(samples, sample_rate_hz=sample_rate_hz, layers=layers)
    for hop, (count, window) in enumerate(hops, start=1):
        for layer, one in zip(layers, eyes, strict=True):
            if hop % layer.resolution.stride == 0:
                found = one.look(window)
                if found is not None:
                    yield layer, count, found
