"""Faults of a busy machine: every processor taken, and little memory."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.bench.daemon import kib
from tests.bench.pages import EVERY_S, Watched, percentile, watch, write_howls
from tests.faults.box import PATIENCE_S, Box
from tests.faults.outcome import GOAL_S, Outcome
from tests.waiting import awaited

MESSAGE_GOAL_S = 0.100
"""The product's own promise for what follows the detection; here beyond the quickest message."""
KERNEL_NICE = -15
"""The sound server stands in for the kernel's driver, which no busy program holds up."""
PLAYER_BUFFER_MS = 1000
MEMORY_MB = 200
MEMORY_PAGES = 20
MEMORY_REQUESTS_PER_S = 50.0
GROUPS = Path("/sys/fs/cgroup/memory")
"""The memory controller of cgroups version 1; where it is not there, version 2's own folder."""


@contextmanager
def busy_processors() -> Iterator[None]:
    """One program on each processor that does nothing but take it, at ordinary priority."""
    programs = [
        subprocess.Popen([sys.executable, "-c", "while True: pass"])
        for _ in range(os.cpu_count() or 1)
    ]
    try:
        for one in programs:
            with contextlib.suppress(PermissionError):
                os.setpriority(os.PRIO_PROCESS, one.pid, 0)
        yield
    finally:
        for one in programs:
            one.kill()
            one.wait()


def _raise_priority(pid: int, nice: int) -> bool:
    """Whether this machine lets us."""
    try:
        for thread in Path(f"/proc/{pid}/task").iterdir():
            os.setpriority(os.PRIO_PROCESS, int(thread.name), nice)
    except PermissionError:
        return False
    return True


def processors_busy(folder: Path, seconds: float = 30.0) -> Outcome:
    """Take every processor for a while: what is lost, and how late the messages become."""
    seen = Outcome("every processor busy", MESSAGE_GOAL_S, back="sound to message", driven=1)
    write_howls(folder / "howls.wav", 3.0 * seconds + 30.0)
    with Box(folder, with_page=True) as box, _undisturbed(box, folder / "howls.wav") as allowed:
        before = _watched(box, "ordinary", seconds)
        with busy_processors():
            during = _watched(box, "busy", seconds)
            pause_s = box.ear.longest_pause_s
        seen.check(box.watcher.start_count == 1, "the watcher ended")
    quickest_s = min(before.message_s + during.message_s)
    seen.back_s = [value - quickest_s for value in during.message_s]
    seen.check(pause_s < GOAL_S, f"the listening paused for {pause_s:.1f} s")
    seen.check(during.missed_count == 0, f"{during.missed_count} blocks were lost")
    rings = len(during.flag_s)
    # One howl may begin before the time and one end after it.
    seen.check(rings >= seconds // EVERY_S - 1, f"only {rings} rings in {seconds:g} s")
    seen.lost = f"{during.missed_count} blocks; the listening paused for {pause_s:.2f} s at most"
    seen.remark = _compared(before, during, quickest_s) + (
        "" if allowed else "; without the unit's priority, which needs root"
    )
    return seen


@contextmanager
def _undisturbed(box: Box, wav_path: Path) -> Iterator[bool]:
    """Play to the box and look at it, neither held up by the load; yields whether that is so.

    The player has much ahead: one that comes late leaves holes, and a howl with a hole is two.
    """
    server = box.server._server
    own_nice = os.getpriority(os.PRIO_PROCESS, 0)
    player = subprocess.Popen(
        ["paplay", f"--device={box.server.sink}", str(wav_path)],
        env={**box.server.environment(), "PULSE_LATENCY_MSEC": str(PLAYER_BUFFER_MS)},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        allowed = all(
            _raise_priority(pid, KERNEL_NICE)
            for pid in (player.pid, os.getpid(), *([server.pid] if server else []))
        )
        box.ear.wait_for(lambda s: bool(s["recent"]) or bool(s["rings"]))
        yield allowed
    finally:
        _raise_priority(os.getpid(), own_nice)
        player.kill()
        player.wait()


def _watched(box: Box, name: str, seconds: float) -> Watched:
    client = box.ear.client
    if client is None:
        raise RuntimeError("nobody is at the link")
    box.ear.begin_count()
    return watch(client, name, box.watcher.pid, box.page.pid, seconds)


def _compared(before: Watched, during: Watched, quickest_s: float) -> str:
    return (
        f"times are beyond the quickest message; before it "
        f"{percentile(before.message_s, 0.5) - quickest_s:.3f} s, at worst "
        f"{max(before.message_s) - quickest_s:.3f} s; start to flag "
        f"{percentile(before.flag_s, 0.5):.2f} s before, {percentile(during.flag_s, 0.5):.2f} s "
        f"while busy"
    )


def memory_tight(folder: Path, seconds: float = 60.0) -> Outcome:
    """Give watcher and page 200 MB together, with twenty live pages and a howl every 4 s."""
    seen = Outcome("memory tight", GOAL_S, back="hearing (never away)")
    write_howls(folder / "howls.wav", seconds + 40.0)
    group = _make_group(folder.name)
    if group is None:
        seen.check(False, "a memory cgroup cannot be made here; run as root")
        return seen
    try:
        into = ["sh", "-c", 'echo $$ > "$0/cgroup.procs" && exec "$@"', str(group)]
        with Box(folder, with_page=True, before=into) as box:
            box.server.play(folder / "howls.wav")
            lost_before = box.lost_blocks()  # as it started
            crowd = _crowd(box.port, seconds)
            time.sleep(2.0)
            box.ear.begin_count()
            crowd.wait(timeout=seconds + 60.0)
            seen.took(box.ear.longest_pause_s)
            lost = box.lost_blocks() - lost_before
            seen.check(lost == 0, f"{lost} blocks were lost")
            seen.check(bool(box.ear.snapshot["recent"]), "no ring was heard")
            starts = (box.watcher.start_count, box.page.start_count)
            seen.check(starts == (1, 1), f"watcher and page started {starts} times")
            resident = [
                kib(pid, "status", "VmRSS") / 1024 for pid in (box.watcher.pid, box.page.pid)
            ]
            seen.remark = (
                f"cgroup version {1 if _is_first_version() else 2}: of {MEMORY_MB} MB "
                f"{_most_used_mb(group):.0f} MB at most, resident "
                f"{resident[0]:.0f} + {resident[1]:.0f} MB, {MEMORY_PAGES} live pages"
            )
    finally:
        _remove_group(group)
    seen.lost = "nothing"
    return seen


def _crowd(port: int, seconds: float) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "tests.bench.crowd_client", str(port), str(MEMORY_PAGES),
         str(MEMORY_REQUESTS_PER_S), str(seconds)],
        stdout=subprocess.DEVNULL,
    )  # fmt: skip


def _is_first_version() -> bool:
    return (GROUPS / "memory.limit_in_bytes").exists()


def _make_group(name: str) -> Path | None:
    """A control group with the limit, swapping counted in where it is counted; or None."""
    group = (GROUPS if _is_first_version() else GROUPS.parent) / f"faults-{os.getpid()}-{name}"
    limit = group / ("memory.limit_in_bytes" if _is_first_version() else "memory.max")
    try:
        group.mkdir()
        limit.write_text(str(MEMORY_MB * 2**20))
    except OSError:
        with contextlib.suppress(OSError):
            group.rmdir()
        return None
    return group


def _most_used_mb(group: Path) -> float:
    name = "memory.max_usage_in_bytes" if _is_first_version() else "memory.peak"
    return int((group / name).read_text()) / 2**20


def _remove_group(group: Path) -> None:
    awaited(lambda: not (group / "cgroup.procs").read_text(), PATIENCE_S, "the group is not left")
    group.rmdir()
