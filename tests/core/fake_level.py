"""Plays the level command for tests: ``python -m tests.core.fake_level HOW``."""

from __future__ import annotations

import json
import os
import signal
import struct
import subprocess
import sys
import time

FRAME = struct.Struct("<IIB")


def say(**fields: object) -> None:
    print(json.dumps(fields), flush=True)


def read_frames() -> None:
    """Say after each block what has come; ends with its input."""
    samples = gaps = 0
    while head := sys.stdin.buffer.read(FRAME.size):
        rate_hz, count, flags = FRAME.unpack(head)
        body = sys.stdin.buffer.read(4 * count)
        values = struct.unpack(f"<{count}f", body)
        samples, gaps = samples + count, gaps + (flags & 1)
        say(rate_hz=rate_hz, samples=samples, gaps=gaps, last=values[-1], state="right")


def nonsense() -> None:
    """All that is no line of figures, and one that is."""
    for line in (
        b"{", b"[1]", b"3", b'"x"', b'{"peak_dbfs": NaN}', b'{"peak_dbfs": 1e999}',
        b'{"name": "\\ud800"}', b'{"name": "\xff"}', b'{"a": "' + b"x" * 70000 + b'"}',
        b"[" * 5000, b"",
    ):  # fmt: skip
        sys.stdout.buffer.write(line + b"\n")
    sys.stdout.buffer.flush()
    say(seconds=1.0)
    time.sleep(60.0)


def main(how: str) -> int:
    if how == "frames":
        read_frames()
    elif how == "nonsense":
        nonsense()
    elif how == "die":
        print("howl-lantern: the card is gone\nhowl-lantern: plug it in", file=sys.stderr)
        return 1
    elif how == "die silently":
        os.kill(os.getpid(), signal.SIGKILL)
    elif how == "hang":
        signal.signal(signal.SIGTERM, signal.SIG_IGN)
        child = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"])
        say(seconds=2.0, pids=[os.getpid(), child.pid])
        time.sleep(60.0)
    elif how == "sung":
        for number in range(600):
            low_cut = {"ready": True, "sentence": "low cut at 120", "choice_hz": 120}
            say(seconds=number / 10.0, loudest={"of": "sung", "peak_dbfs": -15.0}, low_cut=low_cut)
            time.sleep(0.1)
    elif how == "never read":
        for number in range(10_000):
            say(seconds=number / 10.0, pids=[os.getpid()], nice=os.nice(0))
            time.sleep(0.1)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
