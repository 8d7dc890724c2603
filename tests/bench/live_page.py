"""When a ring is on the page, and when the page is back: ``python -m tests.bench.live_page``.

A watcher's end of the link, the page's own process and a real browser on one machine, as a phone
beside the box; the Wi-Fi between them is a relay that can be cut and frozen.  The delay is from the
write to the socket to the change of the page's text, by the machine's wall clock; recovery is until
the page shows something new, and says that it is live.  The machine's load is printed with it.
"""

from __future__ import annotations

import argparse
import os
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from monitor.link.server import LinkServer
from tests.bench.demo_process import free_port
from tests.browser import browser
from tests.web.relay import Relay
from tests.web.states import STATES, ring

BANDS_HZ = (250.0, 500.0, 1000.0, 2000.0, 4000.0)
EVERY_S = 0.1
PATIENCE_S = 30.0

OBSERVE = """
window.seen = [];
const band = document.getElementById('band');
new MutationObserver(() => window.seen.push([band.textContent, Date.now()]))
  .observe(band, { childList: true, characterData: true, subtree: true });
"""
LIVE = (
    "return [document.body.dataset.fresh === 'yes', document.getElementById('band').textContent,"
    " Date.now()]"
)


class Watcher:
    """The watcher's end of the link: a snapshot ten times a second, and rings ahead of them."""

    def __init__(self, path: Path) -> None:
        self._server = LinkServer(
            path, hello={"box": "lantern"}, handle=lambda _, reply: reply({"class": "done"})
        )
        self._stop = threading.Event()
        self._lock = threading.Lock()
        self._rings: list[dict[str, Any]] = []
        self._began_s = time.monotonic()
        self._seq = 0
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._stop.wait(EVERY_S):
            self.publish()

    def publish(self) -> None:
        with self._lock:
            self._seq += 1
            self._server.publish_snapshot(
                {
                    **STATES["howl" if self._rings else "quiet"],
                    "rings": self._rings,
                    "seq": self._seq,
                    "uptime_s": time.monotonic() - self._began_s,
                }
            )

    def ring(self, frequency_hz: float) -> float:
        """Begin a ring, as the analysis loop does; return when it was written, in wall time."""
        one = ring(frequency_hz, ringing_for_s=0.0, id=self._seq)
        with self._lock:
            self._rings = [one]
        sent_s = time.time()
        self._server.publish_event({"class": "ring", "event": "ringing", **one})
        return sent_s

    def quiet(self) -> None:
        with self._lock:
            self._rings = []

    def close(self) -> None:
        self._stop.set()
        self._thread.join()
        self._server.close()


@contextmanager
def page_process(link: Path, port: int) -> Iterator[subprocess.Popen[bytes]]:
    """The page as it runs on the box, in a process of its own."""
    words = ["page", "--set", f'link.socket="{link}"', "--set", f"page.port={port}"]
    process = subprocess.Popen(
        [sys.executable, "-m", "monitor.cli", *words, "--set", 'page.host="127.0.0.1"'],
        stdin=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )
    try:
        yield process
    finally:
        process.kill()
        process.wait()


def until(happened: Callable[[], Any]) -> Any:
    """Wait until something is so, and return it.

    Raises
    ------
    TimeoutError
        If it is not so within ``PATIENCE_S``.
    """
    stop_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < stop_s:
        if found := happened():
            return found
        time.sleep(0.01)
    raise TimeoutError("the page did not follow")


def shown(driver: Any, band: str) -> Any:
    """When the page showed a band as live, in wall time; None while it does not."""
    fresh, now, moment_ms = driver.execute_script(LIVE)
    return moment_ms / 1000.0 if fresh and now == band else None


def delays(driver: Any, watcher: Watcher, count: int) -> list[float]:
    """Seconds from the socket to the page's text, once for each ring."""
    found = []
    driver.execute_script(OBSERVE)
    for number in range(count):
        watcher.quiet()
        until(lambda: shown(driver, "quiet"))
        time.sleep(0.2 + 0.037 * (number % 7))  # not in step with the snapshots
        driver.execute_script("window.seen = []")
        hz = BANDS_HZ[number % len(BANDS_HZ)]
        sent_s = watcher.ring(hz)
        label = ring(hz)["band"]
        seen = until(
            lambda label=label: [
                at for text, at in driver.execute_script("return window.seen") if text == label
            ]
        )
        found.append(seen[0] / 1000.0 - sent_s)
    watcher.quiet()
    return found


def recovery(driver: Any, watcher: Watcher, hz: float, back: Callable[[], None]) -> float:
    """Seconds from when there is a way again until the page shows a new ring as live."""
    watcher.ring(hz)
    began_s = time.time()
    back()
    label = ring(hz)["band"]
    at_s = float(until(lambda: shown(driver, label)))
    watcher.quiet()
    return max(0.0, at_s - began_s)


def measured(rings: int, times: int) -> Mapping[str, list[float]]:
    """All figures, in seconds."""
    found: dict[str, list[float]] = {"stream cut": [], "Wi-Fi silent 8 s": [], "page killed": []}
    with tempfile.TemporaryDirectory(prefix="live-page") as folder:
        link = Path(folder) / "link.sock"
        watcher = Watcher(link)
        port = free_port()
        with Relay(port) as relay, browser(360, 640) as driver:
            with page_process(link, port):
                url = f"http://127.0.0.1:{relay.port}/"
                until(lambda: _loads(driver, url))
                until(lambda: shown(driver, "quiet"))
                found["ring to text"] = delays(driver, watcher, rings)
                for number in range(times):
                    hz = BANDS_HZ[number % len(BANDS_HZ)]
                    until(lambda: shown(driver, "quiet"))
                    found["stream cut"].append(recovery(driver, watcher, hz, relay.cut))
                    until(lambda: shown(driver, "quiet"))
                    relay.freeze()
                    time.sleep(8.0)
                    found["Wi-Fi silent 8 s"].append(recovery(driver, watcher, hz, relay.thaw))
            for number in range(times):
                time.sleep(3.0)
                with page_process(link, port):
                    until(lambda: _answers(port))
                    hz = BANDS_HZ[number % len(BANDS_HZ)]
                    found["page killed"].append(recovery(driver, watcher, hz, lambda: None))
                    until(lambda: shown(driver, "quiet"))
            driver.get("about:blank")
        watcher.close()
    return found


def _loads(driver: Any, url: str) -> bool:
    driver.get(url)
    return bool(driver.execute_script("return !!document.getElementById('band')"))


def _answers(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), timeout=1.0).close()
    except OSError:
        return False
    return True


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="delay and recovery of the live page")
    parser.add_argument("--rings", type=int, default=50)
    parser.add_argument("--times", type=int, default=5)
    words = parser.parse_args()
    found = measured(words.rings, words.times)
    print(f"load of the machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores\n")
    print(f"{'':18} {'count':>5} {'median':>9} {'worst':>9}")
    for name in ("ring to text", "stream cut", "Wi-Fi silent 8 s", "page killed"):
        times_s = found[name]
        median_ms = 1000.0 * statistics.median(times_s)
        print(f"{name:18} {len(times_s):5} {median_ms:6.0f} ms {1000 * max(times_s):6.0f} ms")


if __name__ == "__main__":
    main()
