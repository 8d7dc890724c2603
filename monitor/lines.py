"""How one line's level ran: handed over from the listening while its ring is open, and after."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from monitor.listening.listener import Listener


class Trace(Protocol):
    """A line over the last hops: float [n], oldest first, times on the listener's sample clock."""

    @property
    def times_s(self) -> np.ndarray: ...
    @property
    def level_dbfs(self) -> np.ndarray: ...
    @property
    def floor_dbfs(self) -> np.ndarray: ...


@dataclass(frozen=True, slots=True)
class HopTrace:
    """A ``Trace`` as plain arrays."""

    times_s: np.ndarray
    level_dbfs: np.ndarray
    floor_dbfs: np.ndarray


def trace_of(listener: Listener, frequency_hz: float, since_s: float) -> Trace:
    """Return the hops of a line that are newer than ``since_s``, as far as they are kept.

    The level is that of the line with its two neighbouring bins, which a Hann window spreads it
    over.
    """
    layers = listener._layers
    layer = next((one for one in layers if frequency_hz <= one.resolution.highest_hz), layers[-1])
    history, stride = layer.history, layer.resolution.stride
    looked = listener._hops // stride
    newest_s = (
        listener._offset_samples + looked * stride * listener._hop_input_samples
    ) / listener.sample_rate_hz
    behind = math.ceil((newest_s - since_s) / layer.hop_s - 1e-6)
    count = max(0, min(looked, history.n_hops, behind))
    if count == 0:
        nothing = np.zeros(0)
        return HopTrace(nothing, nothing, nothing)
    place = min(max(round(frequency_hz / history.bin_hz), 1), history.n_bins - 2)
    levels_db = history.level_db(count)[:, place - 1 : place + 2].astype(float)
    power = np.sum(10.0 ** (levels_db / 10.0), axis=1)
    times_s = newest_s - layer.hop_s * np.arange(count - 1, -1, -1.0)
    floor_db = history.floor_db(count)[:, place].astype(float)
    return HopTrace(times_s, 10.0 * np.log10(power), floor_db)
