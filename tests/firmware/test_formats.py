"""Sample formats, bit for bit against ``struct`` and the definitions in ALSA's pcm.h."""

from __future__ import annotations

import struct
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware.formats import FORMATS, FULL_SCALE, clipped_count, decode


def pack_24_packed(code: int) -> bytes:
    return struct.pack("<i", code)[:3]


def pack_24_in_32(code: int) -> bytes:
    return struct.pack("<i", code)


# What each format's bytes are, by ALSA's pcm.h: S24_LE is "low three bytes in 4-byte words",
# S24_3LE "3 bytes packed"; struct knows the others.
PACKERS: dict[str, tuple[int, Callable[[int], bytes]]] = {
    "S16_LE": (16, lambda code: struct.pack("<h", code)),
    "S24_3LE": (24, pack_24_packed),
    "S24_LE": (24, pack_24_in_32),
    "S32_LE": (32, lambda code: struct.pack("<i", code)),
}


def corner_codes(bits: int) -> list[int]:
    top = 2 ** (bits - 1)
    return [0, 1, -1, 2, -2, 255, -256, 256, top // 2, -top // 2, top - 1, 1 - top, -top]


def test_every_format_is_tested() -> None:
    assert set(PACKERS) == set(FORMATS)


@pytest.mark.parametrize("name", PACKERS)
def test_codes_come_out_exactly(name: str) -> None:
    bits, pack = PACKERS[name]
    codes = corner_codes(bits)
    heard = decode(b"".join(map(pack, codes)), sample_format=name, channels=1, channel=0)
    assert heard.dtype == np.float32
    # Division by a power of two is exact; only 32-bit codes are rounded, to the nearest float32.
    expected = np.array([code / 2 ** (bits - 1) for code in codes], np.float32)
    np.testing.assert_array_equal(heard, expected)
    assert np.max(np.abs(heard)) <= 1.0


@pytest.mark.parametrize("name", PACKERS)
@given(data=st.data())
def test_any_code_in_any_channel(name: str, data: st.DataObject) -> None:
    bits, pack = PACKERS[name]
    top = 2 ** (bits - 1)
    channels = data.draw(st.integers(1, 8))
    channel = data.draw(st.integers(0, channels - 1))
    code = st.integers(-top, top - 1)
    frames = data.draw(st.lists(st.tuples(*[code] * channels), max_size=8))
    raw = b"".join(pack(each) for frame in frames for each in frame)
    heard = decode(raw, sample_format=name, channels=channels, channel=channel)
    expected = np.array([frame[channel] / top for frame in frames], np.float32)
    np.testing.assert_array_equal(heard, expected)


def test_rubbish_in_the_padding_byte_is_not_heard() -> None:
    codes = corner_codes(24)
    clean = b"".join(pack_24_in_32(code) for code in codes)
    dirty = b"".join(pack_24_packed(code) + b"\x5a" for code in codes)
    np.testing.assert_array_equal(
        decode(dirty, sample_format="S24_LE", channels=1, channel=0),
        decode(clean, sample_format="S24_LE", channels=1, channel=0),
    )


@pytest.mark.parametrize("name", PACKERS)
def test_half_a_frame_at_the_end_is_left_out(name: str) -> None:
    _, pack = PACKERS[name]
    raw = pack(1) + pack(2) + pack(3)
    assert len(decode(raw[:-1], sample_format=name, channels=1, channel=0)) == 2
    assert len(decode(raw, sample_format=name, channels=2, channel=1)) == 1
    assert len(decode(b"", sample_format=name, channels=1, channel=0)) == 0


def test_unknown_formats_and_channels_are_refused() -> None:
    with pytest.raises(ValueError, match="U8"):
        decode(b"\0", sample_format="U8", channels=1, channel=0)
    for channel in (-1, 2):
        with pytest.raises(ValueError, match="2 delivered"):
            decode(b"\0" * 8, sample_format="S16_LE", channels=2, channel=channel)


@pytest.mark.parametrize("name", PACKERS)
def test_both_rails_clip_and_the_code_below_does_not(name: str) -> None:
    bits, pack = PACKERS[name]
    step = 2 ** (bits - 16)  # one 16-bit code, in this format's codes
    top = 2 ** (bits - 1)
    clipping = [top - step, top - 1, step - top, -top]
    clean = [top - step - 1, step - top + 1] if bits > 16 else [top - 2, 2 - top]
    if bits == 32:  # the nearest float32 below is 2**-24 away, 128 codes
        clean = [top - step - 128, step - top + 128]

    def count(codes: list[int]) -> int:
        raw = b"".join(map(pack, codes))
        return clipped_count(decode(raw, sample_format=name, channels=1, channel=0))

    assert count(clipping) == len(clipping)
    assert count(clean) == 0


def test_full_scale_is_the_highest_16_bit_code() -> None:
    assert float(FULL_SCALE) == 32767 / 32768
