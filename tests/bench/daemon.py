"""What the running daemon costs: ``howl-lantern watch`` fed by a sound server in real time.

Run with ``python -m tests.bench.daemon``; takes two minutes.  The figures are those of
the process itself, as proc(5) gives them: VmRSS counts shared libraries in full, Pss by the
share of everybody who maps them.  CPU is relative to one core of this machine.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
import wave
from pathlib import Path

import numpy as np

from monitor.link_client import LinkClient
from tests.sound_server import SoundServer, what_is_missing
from tests.watching import WatchProcess

SETTLE_S = 3.0
CPU_S = 20.0
DISK_S = 60.0
ROOM_S = SETTLE_S + 2 * (CPU_S + 1.0) + DISK_S + 20.0
STARTS = 5


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


def work(watcher: WatchProcess) -> None:
    """Print CPU and writes of a watcher that hears quiet."""
    pid = watcher.process.pid
    for clients in ("no client", "one client"):
        client = LinkClient(watcher.socket_path) if clients == "one client" else None
        time.sleep(1.0)
        before_s, begun_mono_s = cpu_s(pid), time.monotonic()
        time.sleep(CPU_S)
        share = (cpu_s(pid) - before_s) / (time.monotonic() - begun_mono_s)
        print(f"CPU over {CPU_S:.0f} s, {clients}: {100 * share:.1f} % of one core")
        if client is not None:
            client.close()
    before, files = io_counts(pid), marks(watcher)
    time.sleep(DISK_S)
    after = io_counts(pid)
    print(
        f"in a quiet room, a minute: {after['write_bytes'] - before['write_bytes']} bytes to disk, "
        f"journal and log {'as they were' if files == marks(watcher) else 'were written'}"
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
            f"({starts_s[0]:.2f} to {starts_s[-1]:.2f} s of {STARTS}; load average {load:.1f})"
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
                if not hardware:
                    with LinkClient(watcher.socket_path) as client:
                        received = client.wait_for_snapshot(0.0, 5.0)
                        print(f"state {received.snapshot['state'] if received else 'unknown'}")
                    work(watcher)
                watcher.stop()
    return 0


if __name__ == "__main__":
    sys.exit(main())
