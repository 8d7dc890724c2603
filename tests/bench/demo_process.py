"""A demo, or a page, of its own for a measurement: ended at the end."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

START_S = 60.0
PAGE_NICE = 5
"""As in the page's unit."""


@contextmanager
def demo(folder: Path, *settings: str) -> Iterator[str]:
    """Run the demo; yields its page's address."""
    port = free_port()
    words = [word for setting in ('page.host="127.0.0.1"', f"page.port={port}", *settings)
             for word in ("--set", setting)]  # fmt: skip
    with (folder / "demo.log").open("w") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", "monitor.cli", "demo", *words],
            env={**os.environ, "XDG_STATE_HOME": str(folder)},
            stdout=log,
            stderr=subprocess.STDOUT,
        )
    try:
        wait_for_port(port)
        yield f"http://127.0.0.1:{port}/"
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(timeout=20)


@contextmanager
def page_of(socket_path: Path, port: int) -> Iterator[int]:
    """A page of its own for a watcher; yields its process."""
    process = subprocess.Popen(
        [sys.executable, "-m", "monitor.cli", "page", "--socket", str(socket_path),
         "--host", "127.0.0.1", "--port", str(port)],
        stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        wait_for_port(port)
        os.setpriority(os.PRIO_PROCESS, process.pid, PAGE_NICE)
        yield process.pid
    finally:
        process.terminate()
        process.wait(timeout=20)


def free_port() -> int:
    """A port that nobody has."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_for_port(port: int) -> None:
    """Wait until somebody answers there."""
    stop = time.monotonic() + START_S
    while time.monotonic() < stop:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.1)
    raise TimeoutError(f"no page answered within {START_S:g} s")
