"""Plays the service manager for one process, by the numbers of its own unit file.

What it plays of systemd.service(5): starting again after ``RestartSec``, and with
``WatchdogSec`` an end for whoever has not said ``WATCHDOG=1`` for that long (SIGABRT and
SIGCONT, then SIGKILL after ``TimeoutStopSec``).  Priority is the unit's, where this machine
allows it; nothing is sandboxed.
"""

from __future__ import annotations

import configparser
import os
import signal
import socket
import subprocess
import tempfile
import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.closed import Closed

ROOT = Path(__file__).parents[2]
LOOK_EVERY_S = 0.01


@dataclass(frozen=True, slots=True)
class Unit:
    """The numbers of a unit file that a fault meets; ``watchdog_s`` is None without one."""

    restart_s: float
    stop_s: float
    watchdog_s: float | None
    nice: int


def read_unit(name: str) -> Unit:
    """Return the numbers of ``systemd/NAME.service``."""
    parser = configparser.RawConfigParser(strict=False, allow_no_value=True, comment_prefixes="#")
    parser.read_string((ROOT / "systemd" / f"{name}.service").read_text())
    service = parser["Service"]
    watchdog = service.get("WatchdogSec")
    return Unit(
        restart_s=float(service["RestartSec"]),
        stop_s=float(service["TimeoutStopSec"]),
        watchdog_s=None if watchdog is None else float(watchdog),
        nice=int(service["Nice"]),
    )


class Manager(Closed):
    """Keeps one process running until ``close``.

    Parameters
    ----------
    unit : Unit
    words : sequence of str
        The command.
    environment : mapping
        Of the process; the manager's own variables are added.
    log : Path
        Where its stdout and stderr go, one run after the other.

    Attributes
    ----------
    pid : int
        Of the present process, 0 while there is none.
    start_count : int
        How often it was started.
    ended_mono_s : float
        When the manager last ended a process that hung.
    """

    def __init__(
        self, unit: Unit, words: Sequence[str], environment: Mapping[str, str], log: Path
    ) -> None:
        self.unit, self._words, self._log = unit, list(words), log
        self._folder = tempfile.TemporaryDirectory(prefix="mgr")
        self._channel = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        address = f"{self._folder.name}/notify"
        self._channel.bind(address)
        self._channel.settimeout(LOOK_EVERY_S)
        self._environment = {**environment, "NOTIFY_SOCKET": address}
        if unit.watchdog_s is not None:
            self._environment["WATCHDOG_USEC"] = str(round(1e6 * unit.watchdog_s))
        self.pid = 0
        self.start_count = 0
        self.ended_mono_s = 0.0
        self._is_closing = threading.Event()
        self._thread = threading.Thread(target=self._keep, daemon=True)
        self._thread.start()

    def send(self, number: signal.Signals) -> float:
        """Send the present process a signal; return when that was, in monotonic seconds."""
        now_mono_s = time.monotonic()
        os.kill(self.pid, number)
        return now_mono_s

    def close(self) -> None:
        """End the process as the service manager would, by force if it must be."""
        self._is_closing.set()
        self._thread.join(self.unit.stop_s + 10.0)
        self._channel.close()
        self._folder.cleanup()

    def _keep(self) -> None:
        while not self._is_closing.is_set():
            with self._log.open("ab") as log:
                process = subprocess.Popen(
                    self._words, cwd=ROOT, env=self._environment,
                    stdin=subprocess.DEVNULL, stdout=log, stderr=log,
                )  # fmt: skip
            try:
                os.setpriority(os.PRIO_PROCESS, process.pid, self.unit.nice)
            except (PermissionError, ProcessLookupError):
                pass  # an ordinary user's priority, or it ended at once
            self.start_count += 1  # before the number that says that there is one
            self.pid = process.pid
            self._watch(process)
            self.pid = 0
            self._is_closing.wait(self.unit.restart_s)

    def _watch(self, process: subprocess.Popen[bytes]) -> None:
        """Return when the process has ended, by itself or by us."""
        last_ping_mono_s: float | None = None
        while process.poll() is None:
            if self._is_closing.is_set():
                self._end(process, signal.SIGTERM)
                return
            try:
                said = self._channel.recv(4096)
            except TimeoutError:
                said = b""
            if b"READY=1" in said or b"WATCHDOG=1" in said:
                last_ping_mono_s = time.monotonic()
            if self.unit.watchdog_s is None or last_ping_mono_s is None:
                continue
            if time.monotonic() > last_ping_mono_s + self.unit.watchdog_s:
                self.ended_mono_s = time.monotonic()
                self._end(process, signal.SIGABRT)

    def _end(self, process: subprocess.Popen[bytes], number: signal.Signals) -> None:
        # A halted process takes no signal but these two together, or SIGKILL.
        process.send_signal(number)
        process.send_signal(signal.SIGCONT)
        try:
            process.wait(self.unit.stop_s)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
