"""Frames on a pipe: there and back, and every way in which a pipe can be broken."""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest

from monitor.channel.feed import HEADER, MOST_SAMPLES, frames, packed
from monitor.errors import LanternError


class Dribble(io.BytesIO):
    """A pipe that gives at most three bytes a read."""

    def read(self, size=-1):
        return super().read(min(size, 3) if size >= 0 else 3)


@pytest.mark.parametrize("pipe", [io.BytesIO, Dribble])
def test_frames_come_as_they_were_packed(pipe):
    first = np.array([0.0, 0.5, -1.0], np.float32)
    sent = packed(first, 48000, gap=False) + packed(first[:1], 16000, gap=True)
    got = list(frames(pipe(sent)))
    assert [(one.sample_rate_hz, one.gap, list(one.samples)) for one in got] == [
        (48000, False, [0.0, 0.5, -1.0]),
        (16000, True, [0.0]),
    ]


def test_the_header_is_what_the_other_end_writes():
    # The contract between watcher and child: "<IIB", then little-endian floats.
    sent = struct.pack("<IIB", 44100, 2, 1) + struct.pack("<2f", 0.25, -0.25)
    assert packed(np.array([0.25, -0.25]), 44100, gap=True) == sent


def test_an_empty_frame_and_an_empty_pipe_are_no_mistake():
    assert [
        len(one.samples) for one in frames(io.BytesIO(packed(np.zeros(0), 8000, gap=True)))
    ] == [0]
    assert list(frames(io.BytesIO())) == []


@pytest.mark.parametrize(
    ("sent", "message"),
    [
        (b"\x00" * 4, "ended within a header, after 4 bytes"),
        (HEADER.pack(48000, 4, 0) + b"\x00" * 9, "within a frame: 2 of 4 samples came"),
        (HEADER.pack(4000, 4, 0), "the feed is not one: 4 samples at 4000 Hz"),
        (HEADER.pack(48000, MOST_SAMPLES + 1, 0), "1048577 samples at 48000 Hz"),
        (b"RIFF....WAVE", "the feed is not one"),
    ],
)
def test_a_broken_feed_is_told_in_one_line(sent, message):
    with pytest.raises(LanternError, match=message) as caught:
        list(frames(io.BytesIO(sent)))
    assert "\n" not in str(caught.value)
