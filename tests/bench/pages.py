"""Sixty live pages and 200 requests a second: what becomes of the listening, and of the page.

Run with ``python -m tests.bench.pages [SECONDS]``; takes three and a half minutes.  A watcher hears
a sound server in which something howls every four seconds, and a page serves it: a minute without
a crowd, a minute with it, a minute without.  The page has the priority that its unit gives it
(Nice=5), and so has the crowd, which is not there on a box.

A howl's delay has two parts.  From its start to the flag: on the watcher's sample clock.  From the
sound to the message, as another process has it over the link: sample clock and machine's clock lie
a constant apart, so that this part is told beyond the quickest message of the whole run.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import threading
import time
import wave
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from monitor.link.client import LinkClient
from tests.bench.daemon import cpu_s, kib
from tests.bench.demo_process import PAGE_NICE, free_port, page_of
from tests.listening.test_listener import growing_line
from tests.sound_server import SoundServer, what_is_missing
from tests.watching import WatchProcess

PAGES = 60
REQUESTS_PER_S = 200.0
SECONDS = 60.0
RATE_HZ = 48000
EVERY_S = 4.0
HOWLS_HZ = (620.0, 2480.0, 5200.0)


@dataclass
class Watched:
    """What was seen of the watcher in one stretch."""

    name: str
    seconds: float
    flag_s: list[float] = field(default_factory=list)
    message_s: list[float] = field(default_factory=list)
    sound_age_s: list[float] = field(default_factory=list)
    snapshot_count: int = 0
    missed_count: int = 0
    watcher_cpu: float = 0.0
    page_cpu: float = 0.0
    page_kib: list[int] = field(default_factory=list)
    threads: int = 0
    load: float = 0.0


def missed(snapshot: dict[str, Any]) -> int:
    """Sound that was lost, or read and not listened to."""
    microphone = snapshot["microphone"]
    return int(microphone["overrun_count"] + microphone["dropped_block_count"])


def hear(client: LinkClient, seen: Watched, stop_s: float) -> None:
    """Note each ring's first message."""
    told: set[int] = set()
    with client.subscribe() as rings:
        while time.monotonic() < stop_s:
            ring = rings.get(0.2)
            if ring is None or ring["event"] == "closed" or ring["id"] in told:
                continue
            told.add(ring["id"])
            seen.flag_s.append(ring["flagged_s"] - ring["start_s"])
            seen.message_s.append(time.monotonic() - ring["flagged_s"])


def watch(client: LinkClient, name: str, watcher: int, page: int, seconds: float) -> Watched:
    """See how the watcher does for a while."""
    seen = Watched(name, seconds)
    first = client.wait_for_snapshot(0.0, 5.0)
    assert first is not None
    before = missed(first.snapshot)
    cpu = cpu_s(watcher), cpu_s(page)
    began_s = time.monotonic()
    hearing = threading.Thread(target=hear, args=(client, seen, began_s + seconds))
    hearing.start()
    at_s, next_look_s = began_s, began_s
    while time.monotonic() < began_s + seconds:
        received = client.wait_for_snapshot(at_s, 2.0)
        if received is None:
            continue
        at_s = received.received_mono_s
        seen.snapshot_count += 1
        seen.sound_age_s.append(received.snapshot.get("audio_age_s", 99.0))
        if at_s >= next_look_s:
            next_look_s = at_s + seconds / 6
            seen.page_kib.append(kib(page, "status", "VmRSS"))
    hearing.join()
    took_s = time.monotonic() - began_s
    latest = client.latest
    assert latest is not None
    seen.missed_count = missed(latest.snapshot) - before
    seen.watcher_cpu = (cpu_s(watcher) - cpu[0]) / took_s
    seen.page_cpu = (cpu_s(page) - cpu[1]) / took_s
    seen.page_kib.append(kib(page, "status", "VmRSS"))
    seen.threads = threads_of(page)
    seen.load = os.getloadavg()[0]
    return seen


def threads_of(pid: int) -> int:
    """How many threads a process has."""
    return len(list(Path(f"/proc/{pid}/task").iterdir()))


def percentile(values: list[float], part: float) -> float:
    """The value below which that part of the values lies."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(part * len(ordered)))] if ordered else float("nan")


def table(stretches: list[Watched]) -> None:
    """Print the stretches side by side."""
    quickest_s = min(value for one in stretches for value in one.message_s)
    rows: list[tuple[str, list[str]]] = [
        ("", [one.name for one in stretches]),
        ("rings", [str(len(one.flag_s)) for one in stretches]),
        ("start to flag, median", [f"{percentile(o.flag_s, 0.5):.3f} s" for o in stretches]),
        ("start to flag, longest", [f"{max(one.flag_s):.3f} s" for one in stretches]),
        ("sound to message, median beyond the quickest",
         [f"{1000 * (percentile(o.message_s, 0.5) - quickest_s):.0f} ms" for o in stretches]),
        ("sound to message, longest beyond the quickest",
         [f"{1000 * (max(one.message_s) - quickest_s):.0f} ms" for one in stretches]),
        ("age of the sound in a snapshot, median",
         [f"{1000 * percentile(o.sound_age_s, 0.5):.0f} ms" for o in stretches]),
        ("age of the sound in a snapshot, 99 of 100",
         [f"{1000 * percentile(o.sound_age_s, 0.99):.0f} ms" for o in stretches]),
        ("snapshots a second", [f"{one.snapshot_count / one.seconds:.1f}" for one in stretches]),
        ("blocks missed", [str(one.missed_count) for one in stretches]),
        ("watcher, of a core", [f"{100 * one.watcher_cpu:.0f} %" for one in stretches]),
        ("page, of a core", [f"{100 * one.page_cpu:.0f} %" for one in stretches]),
        ("page, memory from first to last",
         [f"{o.page_kib[0] / 1024:.1f} to {o.page_kib[-1] / 1024:.1f} MB" for o in stretches]),
        ("page, threads", [str(one.threads) for one in stretches]),
        ("load average", [f"{one.load:.1f}" for one in stretches]),
    ]  # fmt: skip
    for name, cells in rows:
        print(f"{name:46s}" + "".join(f"{cell:>20s}" for cell in cells))


def write_howls(path: Path, seconds: float) -> None:
    """A line that climbs to a howl and stops, every four seconds, at another place each time."""
    count = round(seconds / EVERY_S)
    parts = [
        growing_line(
            rate_hz=RATE_HZ,
            frequency_hz=HOWLS_HZ[number % len(HOWLS_HZ)],
            growth_db_per_s=30.0,
            from_s=0.5,
            until_s=3.2,
            total_s=EVERY_S,
            seed=number,
        )
        for number in range(count)
    ]
    with wave.open(str(path), "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(RATE_HZ)
        sound.writeframes((32767 * np.concatenate(parts)).astype("<i2").tobytes())


def main(seconds: float = SECONDS) -> int:
    """Print the figures; 1 if there is no sound server."""
    missing = what_is_missing()
    if missing:
        print(missing, file=sys.stderr)
        return 1
    port = free_port()
    with tempfile.TemporaryDirectory() as name, SoundServer(Path(name)) as server:
        folder = Path(name)
        write_howls(folder / "howls.wav", 3.0 * seconds + 40.0)
        with (
            WatchProcess(folder, server.environment(), device=server.device) as watcher,
            LinkClient(watcher.socket_path) as client,
            page_of(watcher.socket_path, port) as page,
        ):
            client.wait_for_snapshot(0.0, 20.0)
            server.play(folder / "howls.wav")
            time.sleep(6.0)
            pid = watcher.process.pid
            before = watch(client, "no crowd", pid, page, seconds)
            crowd = subprocess.Popen(
                ["nice", "-n", str(PAGE_NICE), sys.executable, "-m", "tests.bench.crowd_client",
                 str(port), str(PAGES), str(REQUESTS_PER_S), str(seconds + 4.0)],
                stdout=subprocess.PIPE,
                text=True,
            )  # fmt: skip
            time.sleep(4.0)
            during = watch(client, f"{PAGES} pages, {REQUESTS_PER_S:.0f}/s", pid, page, seconds)
            told = json.loads(crowd.communicate(timeout=60)[0])
            after = watch(client, "no crowd again", pid, page, seconds)
            table([before, during, after])
            print(f"page, most memory ever: {kib(page, 'status', 'VmHWM') / 1024:.1f} MB")
        for key, value in told.items():
            print(f"crowd, {key.replace('_', ' ')}: {value}")
    return 0


if __name__ == "__main__":
    sys.exit(main(*(float(word) for word in sys.argv[1:2])))
