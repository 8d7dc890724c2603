"""Standard MIDI files of our own, and their sound from a sound font."""

from __future__ import annotations

import random
import struct
import subprocess
import tempfile
import time
from pathlib import Path

import numpy as np

from tests.bench.sounds.shelf import SAMPLE_RATE_HZ
from tests.bench.sounds.store import Missing

TICKS_PER_S = 960
EXPRESSION, VOLUME, DRUMS = 11, 7, 9


class Score:
    """Events on one time line, written as a MIDI file of one track."""

    def __init__(self, program: int = 0, bank: int = 0, channel: int = 0) -> None:
        self._channel = channel
        self._events: list[tuple[float, bytes]] = []
        self.control(0.0, 0, bank)
        self.program(program, channel)

    def program(self, program: int, channel: int) -> None:
        """What a channel plays from the beginning on."""
        self._events.append((0.0, bytes([0xC0 | channel, program])))

    def note(
        self, at_s: float, key: int, long_s: float, velocity: int, channel: int | None = None
    ) -> None:
        """One note; key 69 is 440 Hz, velocity 1 to 127."""
        velocity, channel = max(1, min(127, velocity)), self._of(channel)
        self._events.append((at_s, bytes([0x90 | channel, key, velocity])))
        self._events.append((at_s + long_s, bytes([0x80 | channel, key, 0])))

    def control(self, at_s: float, controller: int, value: int, channel: int | None = None) -> None:
        """Set a controller, 0 to 127."""
        value = max(0, min(127, value))
        self._events.append((at_s, bytes([0xB0 | self._of(channel), controller, value])))

    def _of(self, channel: int | None) -> int:
        return self._channel if channel is None else channel

    def write(self, path: Path) -> None:
        """The file, format 0; of what happens at once, notes begin last."""
        track, last = b"", 0
        for at_s, event in sorted(self._events, key=lambda e: (e[0], e[1][0] & 0xF0 == 0x90)):
            tick = int(at_s * TICKS_PER_S)
            track += _length(tick - last) + event
            last = tick
        track += b"\x60\xff\x2f\x00"
        head = b"MThd" + struct.pack(">IHHH", 6, 0, 1, TICKS_PER_S // 2)
        path.write_bytes(head + b"MTrk" + struct.pack(">I", len(track)) + track)


def _length(number: int) -> bytes:
    """Seven bits a byte, most significant first, as MIDI files write times."""
    out = [number & 127]
    while number := number >> 7:
        out.append(number & 127 | 128)
    return bytes(reversed(out))


def rendered(
    score: Score | Path, font: Path, reverb: bool, longest_s: float | None = None
) -> np.ndarray:
    """The sound of a score or MIDI file through a sound font, float32 [n] at 48 kHz.

    Raises
    ------
    Missing
        If the synthesiser is not there or fails.
    """
    effects = "1" if reverb else "0"
    rate = str(SAMPLE_RATE_HZ)
    with tempfile.TemporaryDirectory() as folder:
        raw = Path(folder) / "out.raw"
        path = Path(folder) / "in.mid"
        if isinstance(score, Score):
            score.write(path)
        else:
            path = score
        if font.suffix == ".cfg":
            words: list[str | Path] = [
                "timidity",
                "-q0",
                "-c",
                font,
                "-Or1sl",
                "-s",
                rate,
                "-o",
                raw,
            ]
            words += [f"-EFreverb={effects}", path]
        else:
            words = ["fluidsynth", "-ni", "-q", "-R", effects, "-C", effects, "-g", "0.5"]
            words += ["-r", rate, "-F", raw, "-T", "raw", "-O", "s16", "-E", "little", font, path]
        wanted = int(longest_s * SAMPLE_RATE_HZ) if longest_s else None
        _play(words, raw, wanted)
        stereo = np.fromfile(raw, "<i2")
    mono = stereo[: len(stereo) // 2 * 2].reshape(-1, 2).mean(axis=1) / 32768.0
    return mono[:wanted].astype(np.float32)


def _play(words: list[str | Path], raw: Path, wanted: int | None) -> None:
    """Let a synthesiser write until it ends or as many samples as wanted are there."""
    quiet = subprocess.DEVNULL
    try:
        process = subprocess.Popen(words, stdin=quiet, stdout=quiet, stderr=quiet)
    except FileNotFoundError:
        raise Missing(f"command {words[0]}: not found, install the package that has it") from None
    with process:
        while process.poll() is None:
            if wanted and raw.is_file() and raw.stat().st_size > 4 * wanted:
                process.kill()  # the rest of a long song is not needed
                break
            time.sleep(0.05)
    if not raw.is_file():
        raise Missing(f"command {words[0]}: played nothing from {words[-1]}")


SCALE = (0, 2, 4, 5, 7, 9, 11, 12)


def melody(
    score: Score, chance: random.Random, from_s: float, until_s: float, low: int, high: int
) -> None:
    """A legato tune whose phrases end on held notes."""
    base = chance.randint(low, max(low, high - 12))
    step, at_s = chance.randint(0, 7), from_s
    while at_s < until_s:
        long_s = chance.choice([0.2, 0.3, 0.4, 0.6, 0.8, 1.2, 3.0])
        step = max(0, min(7, step + chance.choice([-2, -1, -1, 1, 1, 2])))
        score.note(at_s, base + SCALE[step], long_s * 1.02, chance.randint(60, 110))
        at_s += long_s
