"""From samples to rings: the whole listening chain in one object.

The same samples give the same rings, however they are cut into blocks, live or from a file.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import count

import numpy as np

from monitor.listening.decimate import Decimator, decimation_factor
from monitor.listening.frames import HOP_S, HopBuffer
from monitor.listening.layers import RESOLUTIONS, TRACE_S, Layer
from monitor.listening.levels import LONG_S, Levels, measure
from monitor.listening.mains import Mains
from monitor.listening.rings import DegreeThreshold, Ring, RingBook, RingEvent, Thresholds, Way
from monitor.listening.scorer import Scorers
from monitor.listening.spectrum import friendly_length, line_frequency_hz
from monitor.listening.suspects import Suspects

LOWEST_RATE_HZ = 8000
HIGHEST_RATE_HZ = 192000
SAME_RING_HZ = 6.0
"""A bin of the longer window: neither resolution tells two lines so near apart."""
SUM_PART = 0.2
"""Of what the looks have added up to counts besides the course: it catches in the end what stands
for long.  With packages held back 94 % of loops were caught after 0.62 s at the median with 2 false
howls an hour of music, where the sum alone took 0.68 s and the course alone caught 92 %."""
HIGHEST_HARMONIC = 9
HARMONIC_WITHIN = 0.002
"""What stands at a whole multiple of a louder ring (within 3.5 cents: both names may be a little
off) is that one's distortion.  Of true rings spread evenly over the octaves 6 in 1000 lie so by
chance; they are told when the louder one has gone."""
_NONE = np.zeros(0)


THRESHOLDS: dict[Way, Thresholds] = {
    "soundcheck": Thresholds(
        ringing=DegreeThreshold(1.0, share_of_power_db=-33.0, share_of_octave_db=-12.0),
        howl=DegreeThreshold(2.0, share_of_power_db=-30.0, share_of_octave_db=-9.0),
    ),
    "set": Thresholds(
        ringing=DegreeThreshold(3.5, share_of_power_db=-33.0, share_of_octave_db=-12.0),
        howl=DegreeThreshold(5.0, share_of_power_db=-30.0, share_of_octave_db=-9.0),
    ),
}
"""Log-odds chosen on the tuning part, each half of the sources judged by scorers of the other half
(a fifth of all: 869 loops, one in seven in a room that rings on, and 9 h of sound): howls at
soundcheck came after 0.42 s at the median, 93 % caught, with none false in speech and 14 an hour of
music; in set after 0.64 s, 90 % caught, with 3 an hour of music, 9 on steady notes and none in
singing or speech, part of these sounds faded, at 16 to 48 kHz."""


@dataclass(frozen=True, slots=True)
class Trace:
    """One line hop by hop, floats [n]: time on the sample clock, level and local floor."""

    times_s: np.ndarray
    level_dbfs: np.ndarray
    floor_dbfs: np.ndarray


class Listener:
    """Finds rings in a stream of one channel.

    Parameters
    ----------
    sample_rate_hz : int
        8000 to 192000; above 72000 the sound is decimated first.
    way : {"soundcheck", "set"}
        Soundcheck is quicker and more sensitive; set must be sure, as there is music.

    Raises
    ------
    ValueError
        If the sample rate is out of range.
    """

    def __init__(self, *, sample_rate_hz: int, way: Way = "set") -> None:
        if not LOWEST_RATE_HZ <= sample_rate_hz <= HIGHEST_RATE_HZ:
            raise ValueError(
                f"sample rate {sample_rate_hz} Hz is outside {LOWEST_RATE_HZ} to "
                f"{HIGHEST_RATE_HZ} Hz"
            )
        self.sample_rate_hz = sample_rate_hz
        factor = decimation_factor(sample_rate_hz)
        self._inner_rate_hz = sample_rate_hz / factor
        hop_samples = round(HOP_S * self._inner_rate_hz)
        self._hop_input_samples = hop_samples * factor
        self._decimator = (
            Decimator(factor=factor, step_samples=self._hop_input_samples) if factor > 1 else None
        )
        self._layers = [Layer(r, self._inner_rate_hz) for r in RESOLUTIONS]
        self._buffer = HopBuffer(
            window_samples=max(
                friendly_length(LONG_S, self._inner_rate_hz),
                *(layer.window_samples for layer in self._layers),
            ),
            hop_samples=hop_samples,
        )
        self._mains = Mains(self._layers[0].history, self._exact_hz_of(self._layers[0]))
        self._scorers = Scorers.packaged()
        self._suspects = [Suspects(layer, self._scorers.look) for layer in self._layers]
        self._hops = 0
        self._clock_samples = 0
        self._offset_samples = 0
        ids = count(1)
        self._books = [
            RingBook(
                layer.history,
                hop_s=layer.hop_s,
                new_id=lambda: next(ids),
                exact_hz=self._exact_hz_of(layer),
                others=_Others(self, number),
            )
            for number, layer in enumerate(self._layers)
        ]
        self.set_way(way)

    def set_way(self, way: Way) -> None:
        """Listen the other way from the next hop on."""
        if way not in THRESHOLDS:
            raise ValueError(f"way {way!r} is neither 'soundcheck' nor 'set'")
        self.way: Way = way
        self._thresholds = THRESHOLDS[way]

    @property
    def clock_s(self) -> float:
        """Time of the last sample taken in, on the sample clock."""
        return self._clock_samples / self.sample_rate_hz

    @property
    def open_rings(self) -> tuple[Ring, ...]:
        """Rings that have not closed, loudest first."""
        rings = [ring for book in self._books for ring in book.open_rings]
        return tuple(sorted(rings, key=lambda ring: -ring.level_dbfs))

    def push(self, samples: np.ndarray) -> list[RingEvent]:
        """Take in float samples [n] of one channel; return the ring events they complete.

        Raises
        ------
        ValueError
            If ``samples`` is not one-dimensional or holds a value that is not finite.
        """
        samples = np.asarray(samples, dtype=np.float32)
        if samples.ndim != 1:
            raise ValueError(f"samples of shape {samples.shape} given, one channel expected")
        if not np.isfinite(samples).all():
            raise ValueError("samples hold values that are not finite (NaN or infinity)")
        self._clock_samples += len(samples)
        events: list[RingEvent] = []
        inner = self._decimator.push(samples) if self._decimator else samples
        for window in self._buffer.push(inner):
            self._hops += 1
            now_s = (
                self._offset_samples + self._hops * self._hop_input_samples
            ) / self.sample_rate_hz
            taken = self._hops * self._buffer.hop_samples
            for number, layer in enumerate(self._layers):
                # A window that is not full yet begins with a step, as loud as a bang.
                if self._hops % layer.resolution.stride == 0 and taken >= layer.window_samples:
                    events += self._listen(number, window, now_s)
        return events

    def reset(self) -> list[RingEvent]:
        """After a long gap: end open rings and begin afresh; the sample clock goes on.

        Over a gap of less than a second it is better to push on: a ring is followed over the
        seam, where a fresh beginning takes a second or more to be sure of what stands already.
        """
        now_s = self.clock_s
        events = [event for book in self._books for event in book.close_all(now_s)]
        self._offset_samples = self._clock_samples
        self._hops = 0
        self._buffer.reset()
        if self._decimator:
            self._decimator.reset()
        self._mains.reset()
        for layer, suspects in zip(self._layers, self._suspects, strict=True):
            layer.reset()
            suspects.reset()
        return events

    def trace(self, frequency_hz: float, since_s: float) -> Trace:
        """The line at a frequency, hop by hop since a time, at most the last ``TRACE_S``.

        Raises
        ------
        ValueError
            If neither resolution looks at this frequency.
        """
        layer = min(reversed(self._layers), key=lambda layer: layer.outside_hz(frequency_hz))
        # A line in the outermost bin may be named up to a bin outside.
        if layer.outside_hz(frequency_hz) > layer.history.bin_hz:
            raise ValueError(f"{frequency_hz:g} Hz is outside what is listened to")
        stride = layer.resolution.stride
        looks = self._hops // stride
        newest_s = (
            self._offset_samples + looks * stride * self._hop_input_samples
        ) / self.sample_rate_hz
        wanted = math.ceil((newest_s - since_s) / layer.hop_s - 1e-6)
        hops = max(0, min(wanted, looks, round(TRACE_S / layer.hop_s)))
        times_s = newest_s - layer.hop_s * np.arange(hops - 1, -1, -1)
        if hops == 0:
            return Trace(times_s, np.zeros(0), np.zeros(0))
        return Trace(times_s, *layer.trace(frequency_hz, hops))

    def levels(self) -> Levels:
        """Levels of the newest sound, the last 0.7 s at most."""
        return measure(self._buffer.newest(), sample_rate_hz=self._inner_rate_hz)

    def _listen(self, number: int, window: np.ndarray, now_s: float) -> list[RingEvent]:
        """Let one resolution look, judge what it follows, and tell its ring book."""
        suspected = self._suspects[number].look(window)
        log_odds = _NONE
        if suspected is not None:
            log_odds = self._scorers.course.log_odds(suspected.features)
            log_odds += SUM_PART * suspected.sums
        return self._books[number].advance(suspected, log_odds, self._thresholds, now_s=now_s)

    def _exact_hz_of(self, layer: Layer) -> Callable[[float], float]:
        n = layer.window_samples

        def exact_hz(near_hz: float) -> float:
            return line_frequency_hz(
                self._buffer.newest(n), sample_rate_hz=self._inner_rate_hz, near_hz=near_hz
            )

        return exact_hz


class _Others:
    """What a ring book has to know of all rings that are told, those of the other one first."""

    def __init__(self, listener: Listener, number: int) -> None:
        self._listener = listener
        self._number = number

    def own(self, frequency_hz: float, level_dbfs: float) -> bool:
        return any(
            self._is_same(number, ring, frequency_hz)
            or (ring.level_dbfs > level_dbfs and _is_harmonic(frequency_hz / ring.frequency_hz))
            for number, book in enumerate(self._listener._books)
            for ring in book.open_rings
        )

    def hums(self, frequency_hz: float, now_s: float) -> bool:
        return self._listener._mains.has(frequency_hz, now_s)

    def deepen(self, frequency_hz: float, now_s: float) -> list[RingEvent]:
        return [
            event
            for number, book in enumerate(self._listener._books)
            for ring in book.open_rings
            if self._is_same(number, ring, frequency_hz)
            for event in book.deepen(ring.id, now_s)
        ]

    def _is_same(self, number: int, ring: Ring, frequency_hz: float) -> bool:
        return number != self._number and abs(ring.frequency_hz - frequency_hz) <= SAME_RING_HZ


def _is_harmonic(ratio: float) -> bool:
    if not 1.5 < ratio < HIGHEST_HARMONIC + 0.5:
        return False
    return abs(ratio / round(ratio) - 1.0) <= HARMONIC_WITHIN
