"""A whole box for faults: sound server, watcher and page, and an ear at the watcher's link."""

from __future__ import annotations

import socket
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from firmware.fakes import wait_until
from monitor.link.client import LinkClient
from monitor.settings import FILE_VARIABLE
from monitor.settings_kept import FOLDER_VARIABLE
from tests.bench.demo_process import free_port
from tests.closed import Closed
from tests.faults.manager import Manager, read_unit
from tests.sound_server import SoundServer

PATIENCE_S = 30.0
KNOCK_EVERY_S = 0.02


class Ear:
    """Follows a watcher's snapshots over the link, and whoever comes after it there.

    Attributes
    ----------
    heard_mono_s : float
        When the newest sound that was listened to had arrived, by the newest snapshot.
    longest_pause_s : float
        The longest time between two such, since ``begin_count``; a tenth of a second is
        the snapshots' own pace.
    client : LinkClient or None
        To ask something.
    """

    def __init__(self, socket_path: Path) -> None:
        self._path = socket_path
        self._change = threading.Condition()
        self.snapshot: dict[str, Any] = {}
        self.received_mono_s = 0.0
        self.heard_mono_s = 0.0
        self.longest_pause_s = 0.0
        self.client: LinkClient | None = None
        self._is_closing = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def begin_count(self) -> None:
        """Forget the pauses so far."""
        with self._change:
            self.longest_pause_s = 0.0

    def heard_after(self, mono_s: float, within_s: float = PATIENCE_S) -> float | None:
        """Seconds from ``mono_s`` to the first sound after it that was listened to.

        At most a snapshot's time too many.  None if there was none within ``within_s``.
        """
        with self._change:
            self._change.wait_for(lambda: self.heard_mono_s > mono_s, within_s)
            return self.heard_mono_s - mono_s if self.heard_mono_s > mono_s else None

    def wait_for(
        self, is_so: Callable[[dict[str, Any]], bool], within_s: float = PATIENCE_S
    ) -> float | None:
        """When a snapshot was received for which something is so; None if none came."""
        with self._change:
            found = self._change.wait_for(
                lambda: bool(self.snapshot) and is_so(self.snapshot), within_s
            )
            return self.received_mono_s if found else None

    def ask(self, message: dict[str, Any]) -> dict[str, Any]:
        """Ask the watcher; an answer of class "error" when nobody is there."""
        client = self.client
        if client is None:
            return {"class": "error", "message": "nobody is at the link"}
        return dict(client.request(message, PATIENCE_S))

    def close(self) -> None:
        """Hang up."""
        self._is_closing.set()
        self._thread.join(PATIENCE_S)

    def _run(self) -> None:
        # A client's own patience between two tries would be part of what is measured.
        while not self._is_closing.wait(KNOCK_EVERY_S):
            if not answers(self._path):
                continue
            with LinkClient(self._path) as client:
                self.client = client
                self._follow(client)
                self.client = None

    def _follow(self, client: LinkClient) -> None:
        """Take in snapshots until the connection ends."""
        last_mono_s = time.monotonic()
        was_connected = False
        while not self._is_closing.is_set() and (client.connected or not was_connected):
            was_connected = was_connected or client.connected
            received = client.wait_for_snapshot(last_mono_s, 0.05)
            if received is None:
                continue
            last_mono_s = received.received_mono_s
            self._take(received.snapshot, last_mono_s)

    def _take(self, snapshot: dict[str, Any], received_mono_s: float) -> None:
        with self._change:
            self.snapshot, self.received_mono_s = snapshot, received_mono_s
            age_s = snapshot.get("audio_age_s")
            if age_s is not None and snapshot.get("third_octave_dbfs"):
                heard_mono_s = received_mono_s - age_s
                if self.heard_mono_s:
                    pause_s = heard_mono_s - self.heard_mono_s
                    self.longest_pause_s = max(self.longest_pause_s, pause_s)
                self.heard_mono_s = max(self.heard_mono_s, heard_mono_s)
            self._change.notify_all()


def answers(path: Path) -> bool:
    """Whether somebody listens at a socket."""
    with socket.socket(socket.AF_UNIX) as probe:
        return probe.connect_ex(str(path)) == 0


class Box(Closed):
    """Watcher and, if wanted, page, each under its manager, with a sound server of their own.

    Parameters
    ----------
    folder : Path
        For everything; empty.
    with_page : bool
    state : Path, optional
        Where the watcher keeps its files, beneath ``folder`` by default.
    before : sequence of str
        Words before both commands: a program that starts another.
    """

    def __init__(
        self,
        folder: Path,
        *,
        with_page: bool = False,
        state: Path | None = None,
        before: Sequence[str] = (),
    ) -> None:
        with ExitStack() as stack:
            # A socket's path may have 107 bytes and a test's folders are long.
            run = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="box")))
            self.socket_path = run / "link.sock"
            self.state = folder / "state" if state is None else state
            self.journal_path = self.state / "journal.sqlite3"
            self.settings_path = folder / "settings.toml"
            self.port = free_port()
            self.settings_path.write_text(self.settings())
            self.server = stack.enter_context(SoundServer(folder))
            environment = {
                **self.server.environment(),
                FILE_VARIABLE: str(self.settings_path),
                FOLDER_VARIABLE: str(self.state),
                # As in the units.
                "OPENBLAS_NUM_THREADS": "1",
                "OMP_NUM_THREADS": "1",
            }

            def managed(unit: str, command: str) -> Manager:
                words = [*before, sys.executable, "-m", "monitor.cli", command]
                log = folder / f"{command}.log"
                return stack.enter_context(Manager(read_unit(unit), words, environment, log))

            self.watcher = managed("howl-lantern", "watch")
            self._page = managed("howl-lantern-page", "page") if with_page else None
            self.ear = Ear(self.socket_path)
            stack.callback(self.ear.close)
            if self.ear.heard_after(0.0) is None:
                log = (folder / "watch.log").read_text(errors="replace")
                raise RuntimeError(f"the watcher does not hear: {log}")
            if with_page and not wait_until(self.page_answers, within_s=PATIENCE_S):
                log = (folder / "page.log").read_text(errors="replace")
                raise RuntimeError(f"the page does not answer: {log}")
            self._folder = folder
            self._stack = stack.pop_all()

    @property
    def page(self) -> Manager:
        """The page's manager, of a box with a page."""
        if self._page is None:
            raise RuntimeError("this box has no page; make it with_page")
        return self._page

    def settings(self) -> str:
        """The text of its settings file."""
        return (
            f'[microphone]\ndevice = "{SoundServer.device}"\n'
            f'[link]\nsocket = "{self.socket_path}"\n'
            f'[journal]\nfile = "{self.journal_path}"\n'
            f'[page]\nhost = "127.0.0.1"\nport = {self.port}\n'
            '[lamp]\nenabled = false\n[panel]\ndriver = "none"\n'
        )

    def log(self) -> str:
        """What the watcher has written, in all its runs."""
        return (self._folder / "watch.log").read_text(errors="replace")

    def page_answers(self) -> bool:
        """Whether the page gives its own state of health."""
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/healthz", timeout=2.0):
                return True
        except urllib.error.HTTPError as error:
            error.close()
            return False
        except OSError:
            return False

    def lost_blocks(self) -> int:
        """Sound that was lost, or read and not listened to, as the watcher counts."""
        microphone = self.ear.snapshot["microphone"]
        return int(microphone["overrun_count"] + microphone["dropped_block_count"])

    def rings(self) -> set[int]:
        """The numbers of the ended rings that the journal tells of, of the newest fifty."""
        answer = self.ear.ask({"class": "history"})
        return {ring["id"] for ring in answer.get("rings", []) if "lasted_s" in ring}

    def close(self) -> None:
        """End it all."""
        self._stack.close()
