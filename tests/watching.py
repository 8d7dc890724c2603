"""``howl-lantern watch`` as a process of its own, and an independent witness of its microphone."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from firmware.formats import decode
from firmware.opening import open_capture
from tests.closed import Closed

ROOT = Path(__file__).parents[1]

# What the page does, reduced to its link: subscribe, and say what came and when.  The monotonic
# clock is one for all processes (clock_gettime(2), CLOCK_MONOTONIC).
CLIENT = """
import json, os, sys, time
from monitor.link.client import LinkClient
with LinkClient(sys.argv[1]) as client, client.subscribe() as events:
    while not client.connected:
        time.sleep(0.01)
    print(json.dumps({"pid": os.getpid()}), flush=True)
    while True:
        event = events.get(1.0)
        if event is not None:
            print(json.dumps({"received_mono_s": time.monotonic(), **event}), flush=True)
"""


class WatchProcess(Closed):
    """A watcher with settings, socket and journal of its own.

    Parameters
    ----------
    hardware : bool
        Whether lamp and panel are switched on; where there are none, their libraries are
        loaded and fail.

    Attributes
    ----------
    started_mono_s : float
        Just before the process was made.
    """

    def __init__(
        self,
        folder: Path,
        environment: Mapping[str, str],
        *,
        device: str,
        hardware: bool = False,
    ) -> None:
        # A socket's path may have 107 bytes and pytest's folders are long.
        self._socket_folder = tempfile.TemporaryDirectory(prefix="lnt")
        self.socket_path = Path(self._socket_folder.name) / "link.sock"
        self.journal_path = folder / "journal.sqlite3"
        self._log_path = folder / "watch.log"
        settings = folder / "settings.toml"
        settings.write_text(
            f'[microphone]\ndevice = "{device}"\n'
            f'[link]\nsocket = "{self.socket_path}"\n'
            f'[journal]\nfile = "{self.journal_path}"\n'
            + ("" if hardware else '[lamp]\nenabled = false\n[panel]\ndriver = "none"\n')
        )
        with self._log_path.open("wb") as log:
            self.started_mono_s = time.monotonic()
            self.process = subprocess.Popen(
                [sys.executable, "-m", "monitor.cli", "watch", "--settings", str(settings)],
                cwd=ROOT,
                env=dict(environment),
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )

    @property
    def log(self) -> str:
        """What the process has written so far."""
        return self._log_path.read_text(errors="replace")

    def stop(self) -> int:
        """End the process as the service manager would; return its exit code."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
        try:
            return self.process.wait(timeout=10.0)
        finally:
            self.close()

    def close(self) -> None:
        """End the process in any case; may be called twice."""
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait(timeout=5.0)
        self._socket_folder.cleanup()


class RingClient:
    """A process with a ``LinkClient``; collects the ring events that it gets."""

    def __init__(self, socket_path: Path) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-c", CLIENT, str(socket_path)],
            cwd=ROOT,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            text=True,
        )
        self._events: list[dict[str, Any]] = []
        self._connected = threading.Event()
        self._thread = threading.Thread(target=self._collect, daemon=True)
        self._thread.start()

    def wait_until_connected(self, timeout_s: float) -> bool:
        """Whether the client has been greeted within ``timeout_s``."""
        return self._connected.wait(timeout_s)

    @property
    def events(self) -> list[dict[str, Any]]:
        """The ring messages so far, each with its ``received_mono_s``."""
        return list(self._events)

    def close(self) -> None:
        """End the process."""
        self._process.kill()
        self._process.wait(timeout=5.0)
        self._thread.join(timeout=5.0)
        if self._process.stdout is not None:
            self._process.stdout.close()

    def _collect(self) -> None:
        for line in self._process.stdout or ():
            message = json.loads(line)
            if "pid" in message:
                self._connected.set()
            else:
                self._events.append(message)


@dataclass(frozen=True, slots=True)
class Account:
    """What the witness heard: the samples, and when it got each delivery of them."""

    samples: np.ndarray
    rate_hz: int
    delivered_samples: np.ndarray
    """How many samples were there after each delivery."""
    delivered_mono_s: np.ndarray

    @property
    def zero_mono_s(self) -> float:
        """When the first sample's place on the time line was, in monotonic seconds.

        Sample n is captured at this + n / rate.  No sample can be delivered before it was
        captured, so each delivery gives a latest possible value, and the quickest of hundreds
        of deliveries comes within its own few milliseconds of the truth.
        """
        return float(np.min(self.delivered_mono_s - self.delivered_samples / self.rate_hz))


class Witness:
    """Listens to the same microphone at the same time, through alsa-lib, and only counts.

    Nothing of the watcher is used but how it opens a device, so that the sound server treats
    both alike (a listener that asks for shorter steps would shorten those of all).
    """

    def __init__(self, device: str) -> None:
        import alsaaudio

        self._opened = open_capture(alsaaudio, device, channel=1, rates_hz=(48000,))
        self._samples: list[np.ndarray] = []
        self._delivered_mono_s: list[float] = []
        self.losses = 0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._stop.is_set():
            length, data = self._opened.pcm.read()
            now_mono_s = time.monotonic()
            if length < 0:
                self.losses += 1
            elif length:
                self._delivered_mono_s.append(now_mono_s)
                self._samples.append(
                    decode(
                        data,
                        sample_format=self._opened.sample_format,
                        channels=self._opened.channels,
                        channel=0,
                    )
                )

    def close(self) -> Account:
        """Stop listening; return what was heard."""
        self._stop.set()
        self._thread.join(timeout=5.0)
        self._opened.pcm.close()
        return Account(
            np.concatenate(self._samples),
            self._opened.rate_hz,
            np.cumsum([len(each) for each in self._samples]),
            np.array(self._delivered_mono_s),
        )
