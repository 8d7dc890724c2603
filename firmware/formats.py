"""From the bytes a sound card delivers to one channel of float32 samples.

Conventions
-----------
Full scale is 1.0: an n-bit code c becomes c / 2**(n-1).  Up to 24 bits this is exact in
float32; 32-bit codes are rounded to 24 bits, 144 dB below full scale.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firmware.ports import FULL_SCALE


@dataclass(frozen=True, slots=True)
class SampleFormat:
    """One of ALSA's sample formats, by ALSA's own name."""

    name: str
    bytes_per_sample: int
    significant_bits: int


FORMATS = {
    each.name: each
    for each in (
        # In the order asked for: the widest first, since a card that has only 16 bits
        # answers with 16 bits and loses nothing.
        SampleFormat("S32_LE", 4, 32),
        SampleFormat("S24_3LE", 3, 24),
        SampleFormat("S24_LE", 4, 24),
        SampleFormat("S16_LE", 2, 16),
    )
}


def decode(data: bytes, *, sample_format: str, channels: int, channel: int) -> np.ndarray:
    """Take one channel out of interleaved little-endian samples.

    Parameters
    ----------
    data : whole frames; bytes beyond the last whole frame are left out
    sample_format : a key of ``FORMATS``
    channels : how many channels are interleaved, >= 1
    channel : which one to take, 0 is the first

    Returns
    -------
    np.ndarray, float32, shape (n,), in [-1, 1]
    """
    known = FORMATS.get(sample_format)
    if known is None:
        raise ValueError(f"sample format {sample_format!r} is not one of {', '.join(FORMATS)}")
    if not 0 <= channel < channels:
        raise ValueError(f"channel {channel} is not one of the {channels} delivered (0 is first)")
    frame_bytes = known.bytes_per_sample * channels
    whole = len(data) - len(data) % frame_bytes
    if known.name == "S16_LE":
        codes16 = np.frombuffer(data, "<i2", whole // 2)[channel::channels]
        return codes16.astype(np.float32) / np.float32(2.0**15)
    if known.name == "S24_3LE":
        packed = np.frombuffer(data, np.uint8, whole).reshape(-1, channels, 3)[:, channel]
        words = np.zeros((len(packed), 4), np.uint8)
        words[:, 1:] = packed
        codes = words.view("<i4")[:, 0]
    else:
        codes = np.frombuffer(data, "<i4", whole // 4)[channel::channels]
        if known.name == "S24_LE":
            # The top byte is padding and some cards leave rubbish in it.
            codes = np.left_shift(codes, 8)
    return codes.astype(np.float32) / np.float32(2.0**31)


def clipped_count(samples: np.ndarray) -> int:
    """How many samples stand at full scale."""
    return int(np.count_nonzero(np.abs(samples) >= FULL_SCALE))
