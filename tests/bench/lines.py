"""What the detector measures, hop by hop, on a given sound: rows for training the scorer."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from monitor.listening.evidence import Candidates
from monitor.listening.frames import HOP_S, HopBuffer
from monitor.listening.layers import RESOLUTIONS, Layer


def candidates_of(
    samples: np.ndarray,
    *,
    sample_rate_hz: int,
    measured: Callable[[], bool] = lambda: True,
) -> Iterator[tuple[int, int, Candidates]]:
    """Every hop with candidates: index of the resolution, sample count at the hop, candidates.

    ``measured`` is asked at each hop whether its candidates are wanted.
    """
    layers = [Layer(resolution, sample_rate_hz) for resolution in RESOLUTIONS]
    hop_samples = round(HOP_S * sample_rate_hz)
    buffer = HopBuffer(
        window_samples=max(layer.window_samples for layer in layers),
        hop_samples=hop_samples,
    )
    for hop, window in enumerate(buffer.push(samples), start=1):
        for index, layer in enumerate(layers):
            if hop % layer.resolution.stride == 0:
                found = layer.look(window, measure=measured())
                if found is not None:
                    yield index, hop * hop_samples, found
