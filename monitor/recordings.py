"""Read a recording block by block, refusing what is broken with one line that says why."""

from __future__ import annotations

import os
import stat
import struct
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import soundfile

from monitor.listening.listener import HIGHEST_RATE_HZ, LOWEST_RATE_HZ

BLOCK_FRAMES = 65536
LARGEST = 1000.0
"""60 dB beyond full scale, which is 1.0: no recording's, and their squares would overflow."""
SHORTEST_S = 0.1
"""Less than this is shorter than the window that looks at it."""


class RecordingError(ValueError):
    """A recording that cannot be listened to; the message is one line for the user."""


class Recording:
    """One audio file (WAV, FLAC, Ogg), opened and looked over.

    Attributes
    ----------
    sample_rate_hz : int
    n_frames : int
        Samples per channel as the file states them.

    Raises
    ------
    RecordingError
        If the file is missing, unreadable, not audio, empty, cut short, or at a rate outside
        8 to 192 kHz.
    """

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        try:
            status = self.path.stat()
            if not stat.S_ISREG(status.st_mode):
                raise RecordingError(f"{path}: not a file; give a WAV, FLAC or Ogg recording")
            if status.st_size == 0:
                raise RecordingError(f"{path}: the file is empty (0 bytes)")
            self.path.open("rb").close()  # soundfile keeps to itself why it may not
            info = soundfile.info(os.fsencode(self.path))
        except FileNotFoundError as error:
            raise RecordingError(f"{path}: no such file") from error
        except OSError as error:
            raise RecordingError(f"{path}: cannot be read: {error.strerror}") from error
        except (soundfile.LibsndfileError, TypeError) as error:  # TypeError: .raw
            raise RecordingError(
                f"{path}: not a recording that can be read (WAV, FLAC or Ogg expected)"
            ) from error
        self.sample_rate_hz: int = info.samplerate
        self.n_frames: int = info.frames
        if not LOWEST_RATE_HZ <= self.sample_rate_hz <= HIGHEST_RATE_HZ:
            raise RecordingError(
                f"{path}: sample rate {self.sample_rate_hz} Hz; "
                f"{LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz expected"
            )
        if self.n_frames == 0:
            raise RecordingError(f"{path}: holds no samples")
        if self.n_frames < SHORTEST_S * self.sample_rate_hz:
            raise RecordingError(
                f"{path}: {self.n_frames} samples are too short to listen to; "
                f"{SHORTEST_S} s or more expected"
            )
        if _is_cut_short(self.path, status.st_size):
            raise RecordingError(f"{path}: cut short: its end is missing; copy it again")

    def blocks(self) -> Iterator[np.ndarray]:
        """The mean of all channels, float32 [n] a block.

        Raises
        ------
        RecordingError
            If a sample is not finite or the file ends before its stated length.
        """
        read = 0
        try:
            with soundfile.SoundFile(os.fsencode(self.path)) as file:
                while len(frames := file.read(BLOCK_FRAMES, dtype="float32", always_2d=True)):
                    if not (np.abs(frames) <= LARGEST).all():
                        raise RecordingError(
                            f"{self.path}: holds samples that are not numbers, or far beyond "
                            f"full scale, near {read / self.sample_rate_hz:.1f} s; export it again"
                        )
                    read += len(frames)
                    yield frames.mean(axis=1)
        except soundfile.LibsndfileError as error:
            raise RecordingError(
                f"{self.path}: damaged after {read / self.sample_rate_hz:.1f} s; copy it again"
            ) from error
        if read < self.n_frames:
            raise RecordingError(
                f"{self.path}: cut short: {read} of {self.n_frames} samples are there; "
                "copy it again"
            )


def _is_cut_short(path: Path, size: int) -> bool:
    """True if a WAV or Ogg file lacks its end; FLAC shows it while being read.

    A WAV's RIFF chunk states its own length (0 and the largest value mean "unknown", as
    recorders that were never stopped leave it), that of one beyond 4 GB in the chunk ds64
    (ITU-R BS.2088); an Ogg stream's last page carries the end-of-stream flag (RFC 3533, section 6).
    """
    with path.open("rb") as file:
        head = file.read(28)
        if head[:4] == b"RF64" and head[12:16] == b"ds64" and len(head) == 28:
            stated = struct.unpack("<Q", head[20:28])[0]
            return stated not in (0, 0xFFFFFFFFFFFFFFFF) and stated + 8 > size + 1
        if head[:4] == b"RIFF" and len(head) >= 12:
            stated = struct.unpack("<I", head[4:8])[0]
            return stated not in (0, 0xFFFFFFFF) and stated + 8 > size + 1
        if head[:4] == b"OggS":
            file.seek(max(0, size - 65536 - 512))
            tail = file.read()
            last = tail.rfind(b"OggS")
            return last < 0 or last + 5 >= len(tail) or not tail[last + 5] & 4
    return False
