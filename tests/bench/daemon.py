"""What the running box costs: watcher and page, fed by a sound server in real time.

Run with ``python -m tests.bench.daemon``; takes three minutes.  The figures are those of
the process itself, as proc(5) gives them: VmRSS counts shared libraries in full, Pss by the
share of everybody who maps them.  CPU is relative to one core of this machine; beside it stands
what a process costs at the same time that only reads the same microphone: the sound server's client
library, which a card of the kernel's own does without.  Writes are the
system calls that write, and that wait for the disk, on files beneath the journal's folder, by
strace; where that is not there, the bytes that proc(5) counts stand alone.

The goals are the product's own: start to listening under 0.7 s, watcher and page together under
120 MB, watcher under 2 % of a core, under 20 writes a minute while quiet.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import wave
from pathlib import Path

import numpy as np

from monitor.link.client import LinkClient
from tests.bench.demo_process import free_port, page_of
from tests.sound_server import SoundServer, what_is_missing
from tests.watching import ROOT, WatchProcess

SETTLE_S = 3.0
CPU_S = 20.0
DISK_S = 60.0
ROOM_S = 3 * SETTLE_S + 2 * (CPU_S + 1.0) + DISK_S + 20.0
STARTS = 5
MOST_START_S = 0.7
MOST_RESIDENT_MB = 120.0
MOST_CPU = 0.02
MOST_WRITES_A_MINUTE = 20.0
WRITES = "write,pwrite64,writev,pwritev,pwritev2,sendfile"
SYNCS = "fsync,fdatasync,sync_file_range,msync"


# As the watcher opens and reads it, and nothing else.
READER = """
import sys
import alsaaudio
from firmware.opening import open_capture
opened = open_capture(alsaaudio, sys.argv[1], channel=1, rates_hz=(48000,))
while True:
    opened.pcm.read()
"""


def kib(pid: int, file: str, key: str) -> int:
    """A value in kB of a file in the process's folder."""
    for line in Path(f"/proc/{pid}/{file}").read_text().splitlines():
        if line.startswith(f"{key}:"):
            return int(line.split()[1])
    raise KeyError(key)


def cpu_s(pid: int) -> float:
    """Seconds of CPU time, user and system."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def io_counts(pid: int) -> dict[str, int]:
    """The counters of /proc/PID/io."""
    lines = Path(f"/proc/{pid}/io").read_text().splitlines()
    return {name: int(value) for name, value in (line.split(":") for line in lines)}


def loaded(pid: int) -> list[str]:
    """Names of the packages whose compiled parts the process has mapped."""
    names = set()
    for line in Path(f"/proc/{pid}/maps").read_text().splitlines():
        path = line.split(maxsplit=5)[5] if len(line.split(maxsplit=5)) == 6 else ""
        if "/site-packages/" in path:
            names.add(path.split("/site-packages/", 1)[1].split("/")[0].split(".")[0])
    return sorted(names)


def first_sound(watcher: WatchProcess, client: LinkClient) -> float:
    """Seconds from process start to the newest block of the first snapshot with sound."""
    after_mono_s = watcher.started_mono_s
    while True:
        received = client.wait_for_snapshot(after_mono_s, 10.0)
        if received is None:
            raise SystemExit(f"no snapshot in 10 s: {watcher.log}")
        after_mono_s = received.received_mono_s
        snapshot = received.snapshot
        if "audio_age_s" in snapshot and "third_octave_dbfs" in snapshot:
            heard_mono_s = received.received_mono_s - snapshot["audio_age_s"]
            return heard_mono_s - watcher.started_mono_s


def start_once(folder: Path, server: SoundServer) -> float:
    """Seconds from process start to the first analysed block, once, 0.1 s too many at most."""
    with WatchProcess(folder, server.environment(), device=server.device) as watcher:
        while not watcher.socket_path.exists() and watcher.process.poll() is None:
            time.sleep(0.005)  # the client's own retries would be coarser
        with LinkClient(watcher.socket_path) as client:
            took_s = first_sound(watcher, client)
        watcher.stop()
    return took_s


def memory(watcher: WatchProcess, title: str) -> None:
    """Print what a watcher that hears keeps in memory."""
    pid = watcher.process.pid
    time.sleep(SETTLE_S)
    names = loaded(pid)
    print(
        f"{title}: resident {kib(pid, 'status', 'VmRSS') / 1024:.1f} MB, proportional "
        f"{kib(pid, 'smaps_rollup', 'Pss') / 1024:.1f} MB, anonymous "
        f"{kib(pid, 'status', 'RssAnon') / 1024:.1f} MB, {kib(pid, 'status', 'Threads')} threads"
    )
    print(
        f"  compiled packages mapped: {' '.join(names)}; "
        f"scipy {'is' if 'scipy' in names else 'is not'} among them"
    )


def work(watcher: WatchProcess, server: SoundServer) -> None:
    """Print the CPU time of a watcher that hears quiet, and of one that only reads."""
    words = [sys.executable, "-c", READER, server.device]
    with subprocess.Popen(words, cwd=ROOT, env=server.environment()) as reader:
        try:
            time.sleep(SETTLE_S)
            print_work(watcher, reader.pid)
        finally:
            reader.kill()


def print_work(watcher: WatchProcess, reader: int) -> None:
    """Print the CPU time without and with a client."""
    pid = watcher.process.pid
    for clients in ("no client", "one client"):
        client = LinkClient(watcher.socket_path) if clients == "one client" else None
        time.sleep(1.0)
        before_s, begun_mono_s = (cpu_s(pid), cpu_s(reader)), time.monotonic()
        time.sleep(CPU_S)
        took_s = time.monotonic() - begun_mono_s
        share, reading = (
            (cpu_s(p) - b) / took_s for p, b in zip((pid, reader), before_s, strict=True)
        )
        print(
            f"CPU over {CPU_S:.0f} s, {clients}: {100 * share:.1f} % of one core; goal under "
            f"{100 * MOST_CPU:g} %: {held(share < MOST_CPU)}; a process that only reads this "
            f"microphone: {100 * reading:.1f} % (load average {os.getloadavg()[0]:.1f})"
        )
        if client is not None:
            client.close()


def quiet_disk(watcher: WatchProcess) -> None:
    """Print what a watcher that hears quiet writes in a minute."""
    pid = watcher.process.pid
    before, files = io_counts(pid), marks(watcher)
    calls = disk_calls(watcher, DISK_S)
    after = io_counts(pid)
    if calls is None:
        print("writes in a minute: not counted, strace is not there or may not look")
    else:
        writes, syncs = calls
        print(
            f"in a quiet room, a minute: {writes} writes beneath the journal's folder and {syncs} "
            f"waits for the disk; goal under {MOST_WRITES_A_MINUTE:g} writes: "
            f"{held(writes < MOST_WRITES_A_MINUTE)}"
        )
    print(
        f"in a quiet room, a minute: {after['write_bytes'] - before['write_bytes']} bytes to disk, "
        f"journal and log {'as they were' if files == marks(watcher) else 'were written'}"
    )


def held(is_so: bool) -> str:
    """A goal in a word."""
    return "held" if is_so else "NOT HELD"


def disk_calls(watcher: WatchProcess, seconds: float) -> tuple[int, int] | None:
    """Count for a while the calls that write to the journal's folder, and that wait for it."""
    if shutil.which("strace") is None:
        time.sleep(seconds)
        return None
    folder = watcher.journal_path.parent
    trace = folder.parent / f"{folder.name}.strace"
    words = ["strace", "-f", "-y", "-q", "-e", f"trace={WRITES},{SYNCS}", "-o", str(trace)]
    begun_mono_s = time.monotonic()
    with subprocess.Popen([*words, "-p", str(watcher.process.pid)], stderr=subprocess.PIPE) as one:
        time.sleep(max(0.0, begun_mono_s + seconds - time.monotonic()))
        was_ended = one.poll() is not None
        one.send_signal(signal.SIGINT)
    if was_ended:
        return None
    lines = trace.read_text(errors="replace").splitlines()
    trace.unlink()
    return counted(lines, WRITES, folder), counted(lines, SYNCS, folder)


def counted(lines: list[str], calls: str, folder: Path) -> int:
    """How many of strace's lines are such a call on a file beneath a folder."""
    call = re.compile(rf"\b({calls.replace(',', '|')})\(\d+<{re.escape(str(folder))}/")
    return sum(call.search(line) is not None for line in lines)


def together(watcher: WatchProcess) -> None:
    """Print what a watcher that hears and a page that nobody looks at keep in memory."""
    with page_of(watcher.socket_path, free_port()) as page:
        time.sleep(SETTLE_S)
        both = [kib(pid, "status", "VmRSS") / 1024 for pid in (watcher.process.pid, page)]
        shares = [kib(pid, "smaps_rollup", "Pss") / 1024 for pid in (watcher.process.pid, page)]
        print(
            f"watcher and page: resident {both[0]:.1f} + {both[1]:.1f} = {sum(both):.1f} MB, "
            f"proportional {sum(shares):.1f} MB; goal under {MOST_RESIDENT_MB:g} MB: "
            f"{held(sum(both) < MOST_RESIDENT_MB)}"
        )


def marks(watcher: WatchProcess) -> list[tuple[str, int, int]]:
    """Size and time of the last write of all the watcher's files."""
    folder = watcher.journal_path.parent
    files = [*folder.glob(f"{watcher.journal_path.name}*"), folder / "watch.log"]
    return sorted((f.name, f.stat().st_size, f.stat().st_mtime_ns) for f in files)


def write_room(path: Path) -> None:
    """A room without music: steady noise, 60 dB below full scale."""
    noise = 1e-3 * np.random.default_rng(1).standard_normal(round(ROOM_S * 48000))
    with wave.open(str(path), "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(48000)
        sound.writeframes((32767 * noise).astype("<i2").tobytes())


def main() -> int:
    """Print the figures; 1 if there is no sound server."""
    missing = what_is_missing()
    if missing:
        print(missing, file=sys.stderr)
        return 1
    with tempfile.TemporaryDirectory() as name, SoundServer(Path(name)) as server:
        folder = Path(name)
        write_room(folder / "room.wav")
        starts_s = sorted(start_once(folder, server) for _ in range(STARTS))
        load = os.getloadavg()[0]
        print(
            f"from process start to the first analysed block: median {starts_s[STARTS // 2]:.2f} s "
            f"({starts_s[0]:.2f} to {starts_s[-1]:.2f} s of {STARTS}; load average {load:.1f}); "
            f"goal under {MOST_START_S:g} s: {held(starts_s[STARTS // 2] < MOST_START_S)}"
        )
        for hardware in (True, False):
            with WatchProcess(
                folder, server.environment(), device=server.device, hardware=hardware
            ) as watcher:
                with LinkClient(watcher.socket_path) as client:
                    first_sound(watcher, client)
                if not hardware:
                    server.play(folder / "room.wav")
                memory(watcher, "lamp and panel " + ("on" if hardware else "off"))
                if hardware:
                    together(watcher)
                if not hardware:
                    with LinkClient(watcher.socket_path) as client:
                        received = client.wait_for_snapshot(0.0, 5.0)
                        print(f"state {received.snapshot['state'] if received else 'unknown'}")
                    work(watcher, server)
                    quiet_disk(watcher)
                watcher.stop()
    return 0


if __name__ == "__main__":
    sys.exit(main())
