"""From which pitch to which a voice went, robustly and in a bounded store.

A pitch counts when it stood among its neighbours: the mean of five hops in a row, all voiced and
close together, so that vibrato is averaged and a lone octave slip does not count.
"""

from __future__ import annotations

import math
from collections import deque

import numpy as np

from monitor.channel.pitch import HIGHEST_HZ, LOWEST_HZ

NEIGHBOURS = 5
"""0.1 s: half a turn of a vibrato, and shorter than the shortest note."""

WIDEST_SEMITONES = 3.0
"""What they may span: the widest vibrato; an octave slip spans twelve."""

_PER_SEMITONE = 4
LEAST_SHARE = 0.005
LEAST_S = 0.2
"""The lowest pitch is the one below which there is less than one in 200 of what was voiced, or less
than 0.2 s: less is a slip of the tracker, or the creak at the end of a spoken sentence.  With 0.3 s
and one in 100 a lowest note that was sung once, short, was missed (made singers, 30 s)."""

_NAMES = "C C# D Eb E F F# G Ab A Bb B".split()


def semitones(hz: float) -> float:
    """The pitch as a MIDI key number with fractions: 69 at 440 Hz (ISO 16), 12 an octave."""
    return 69.0 + 12.0 * math.log2(hz / 440.0)


def hz_of(key: float) -> float:
    """The frequency of a key number."""
    return float(440.0 * 2.0 ** ((key - 69.0) / 12.0))


def note_name(hz: float) -> str:
    """The nearest note, A4 at 440 Hz, like "E2"."""
    octave, step = divmod(round(semitones(hz)), 12)
    return f"{_NAMES[step]}{octave - 1}"


_FIRST_KEY = math.floor(semitones(LOWEST_HZ))
_BINS = (math.ceil(semitones(HIGHEST_HZ)) - _FIRST_KEY + 1) * _PER_SEMITONE


class PitchRange:
    """How long each pitch was held, in steps of a quarter of a semitone."""

    def __init__(self, hop_s: float) -> None:
        self._hop_s = hop_s
        self._hops = np.zeros(_BINS, dtype=np.int64)

    @property
    def seconds(self) -> float:
        """How much was voiced and held."""
        return float(self._hops.sum()) * self._hop_s

    def push(self, key: float) -> None:
        """Count one hop at this key number."""
        place = math.floor((key - _FIRST_KEY) * _PER_SEMITONE + 0.5)
        self._hops[min(max(place, 0), _BINS - 1)] += 1

    def add(self, other: PitchRange) -> PitchRange:
        """The two together, as a new one."""
        both = PitchRange(self._hop_s)
        both._hops = self._hops + other._hops
        return both

    def lowest_hz(self) -> float | None:
        """The lowest pitch that was used, None when there is too little."""
        return self._end_hz(self._hops, 0, 1)

    def highest_hz(self) -> float | None:
        """The highest pitch that was used, None when there is too little."""
        return self._end_hz(self._hops[::-1], _BINS - 1, -1)

    def _end_hz(self, hops: np.ndarray, first: int, step: int) -> float | None:
        least = max(LEAST_S / self._hop_s, LEAST_SHARE * float(hops.sum()))
        reached = np.flatnonzero(np.cumsum(hops) >= least)
        if len(reached) == 0:
            return None
        return hz_of(_FIRST_KEY + (first + step * int(reached[0])) / _PER_SEMITONE)


class Settled:
    """The pitch of the middle of the last ``NEIGHBOURS`` hops, where they are of one note."""

    def __init__(self) -> None:
        self._keys: deque[float | None] = deque(maxlen=NEIGHBOURS)

    @property
    def newest_hz(self) -> float | None:
        """The pitch of the last hop, None where it was unvoiced."""
        key = self._keys[-1] if self._keys else None
        return None if key is None else hz_of(key)

    def reset(self) -> None:
        """Begin anew after a gap."""
        self._keys.clear()

    def push(self, key: float | None) -> float | None:
        """Take in a hop's key number, None when unvoiced; return the settled one or None."""
        self._keys.append(key)
        keys = [each for each in self._keys if each is not None]
        if len(keys) < NEIGHBOURS or max(keys) - min(keys) > WIDEST_SEMITONES:
            return None
        return sum(keys) / NEIGHBOURS
