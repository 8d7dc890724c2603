"""Sound handed over as frames on a pipe, from the watcher to a measuring child.

Conventions
-----------
A frame is a header of 9 bytes, little endian, unsigned: sample rate in Hz (32 bits), how many
samples follow (32 bits), and flags (8 bits; bit 0: samples were lost before these), then the
samples as 32-bit floats, full scale 1.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np

from monitor.errors import LanternError
from monitor.listening.listener import HIGHEST_RATE_HZ, LOWEST_RATE_HZ

HEADER = struct.Struct("<IIB")
GAP = 1

MOST_SAMPLES = 1 << 20
"""5 s at 192 kHz: more is not a block but a stream that is out of step."""


@dataclass(frozen=True, slots=True)
class Frame:
    """A run of samples, float32 [n]; ``gap``: some were lost before it."""

    samples: np.ndarray
    sample_rate_hz: int
    gap: bool


def packed(samples: np.ndarray, sample_rate_hz: int, *, gap: bool) -> bytes:
    """The bytes of one frame; ``samples`` float [n]."""
    header = HEADER.pack(sample_rate_hz, len(samples), GAP if gap else 0)
    return header + np.asarray(samples, dtype="<f4").tobytes()


def frames(pipe: BinaryIO) -> Iterator[Frame]:
    """Yield frame after frame until the pipe ends.

    Raises
    ------
    LanternError
        If what arrives is no frame, or the pipe ends within one.
    """
    while head := _read(pipe, HEADER.size):
        if len(head) < HEADER.size:
            raise LanternError(f"the feed ended within a header, after {len(head)} bytes of it")
        rate_hz, count, flags = HEADER.unpack(head)
        if not LOWEST_RATE_HZ <= rate_hz <= HIGHEST_RATE_HZ or count > MOST_SAMPLES:
            raise LanternError(
                f"the feed is not one: {count} samples at {rate_hz} Hz; up to {MOST_SAMPLES} at "
                f"{LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz expected"
            )
        body = _read(pipe, 4 * count)
        if len(body) < 4 * count:
            raise LanternError(
                f"the feed ended within a frame: {len(body) // 4} of {count} samples came"
            )
        samples = np.frombuffer(body, dtype="<f4").astype(np.float32)
        yield Frame(samples, rate_hz, bool(flags & GAP))


def _read(pipe: BinaryIO, count: int) -> bytes:
    """Read ``count`` bytes, fewer only at the end."""
    parts: list[bytes] = []
    while count > 0 and (part := pipe.read(count)):
        parts.append(part)
        count -= len(part)
    return b"".join(parts)
