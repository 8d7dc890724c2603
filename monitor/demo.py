"""``howl-lantern demo``: the whole lantern on the practice stage, with no hardware at all.

The watcher's own code runs here; only the microphone is the stage, and lamp and panel are
only shown on the page.  The page is a process of its own, as on the box.
"""

from __future__ import annotations

import dataclasses
import ipaddress
import logging
import os
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Mapping
from pathlib import Path

from firmware.lamp import NoLamp
from firmware.panel import NoPanel
from firmware.ports import AudioSource
from monitor import watch
from monitor.advice.equaliser import Equaliser
from monitor.errors import LanternError
from monitor.link.messages import sound_path
from monitor.settings import Loaded, Settings
from monitor.settings_reader import PACKAGED

LOG = logging.getLogger(__name__)

PAGE_RESTART_S = 1.0
MOST_PAGE_RESTARTS = 5
PAGE_STEADY_S = 30.0


def free_port(host: str, wanted: int) -> int:
    """Return ``wanted`` if nobody has it, else a port that is free."""
    for port in (wanted, 0):
        with socket.socket(_family(host), socket.SOCK_STREAM) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host, port))
            except OSError:
                continue
            return int(probe.getsockname()[1])
    raise LanternError(f"no port is free on {host}; set [page] host to an address of this machine")


def _family(host: str) -> socket.AddressFamily:
    return socket.AF_INET6 if ":" in host else socket.AF_INET


def state_folder(environ: Mapping[str, str] = os.environ) -> Path:
    """Return the demo's own folder, apart from the box's: its rings are not of a real evening.

    Falls back to a folder for this run only where the home cannot be written.
    """
    home = Path(environ.get("HOME", "/nonexistent"))
    state = Path(environ.get("XDG_STATE_HOME") or home / ".local" / "state")
    folder = state / "howl-lantern" / "demo"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return folder
    except OSError:
        return Path(tempfile.mkdtemp(prefix="howl-lantern-demo-"))


class PageProcess:
    """Runs the page and starts it again when it falls over, up to a point."""

    def __init__(self, arguments: list[str]) -> None:
        self._arguments = arguments
        self._stopping = threading.Event()
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._thread = threading.Thread(target=self._run, name="page", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def close(self) -> None:
        """End the page: politely, then firmly."""
        with self._lock:
            self._stopping.set()
            process = self._process
        if process is not None and process.poll() is None:
            process.terminate()
            try:
                process.wait(timeout=3.0)
            except subprocess.TimeoutExpired:
                process.kill()
        if self._thread.ident is not None:
            self._thread.join(timeout=3.0)

    def _run(self) -> None:
        restarts = 0
        while not self._stopping.is_set():
            began_mono_s = time.monotonic()
            with self._lock:  # none begins that close() does not see
                if self._stopping.is_set():
                    return
                # Its own session: Ctrl-C reaches only us, and we end it in good order.
                process = subprocess.Popen(self._arguments, start_new_session=True)
                self._process = process
            code = process.wait()
            if self._stopping.is_set():
                return
            if time.monotonic() - began_mono_s > PAGE_STEADY_S:
                restarts = 0
            restarts += 1
            if restarts > MOST_PAGE_RESTARTS:
                LOG.error("the page ended %d times in a row; the listening goes on", restarts)
                return
            LOG.warning("the page ended with code %d and is started again", code)
            self._stopping.wait(PAGE_RESTART_S)


def with_own_defaults(loaded: Loaded) -> Settings:
    """Return the settings with the demo's own defaults for what the person has not set.

    It answers on this machine alone, where nobody needs a code; on a network a code is needed
    there too, and printed, as there is no panel to read it from.
    """
    settings, origins = loaded.settings, loaded.origins
    if origins["page.host"] == PACKAGED:
        settings = dataclasses.replace(
            settings, page=dataclasses.replace(settings.page, host="127.0.0.1")
        )
    if origins["access.control"] == PACKAGED and is_this_machine(settings.page.host):
        settings = dataclasses.replace(
            settings, access=dataclasses.replace(settings.access, control="open")
        )
    return settings


def is_this_machine(host: str) -> bool:
    """Whether nobody but programs of this machine can reach a host; a name may be anything."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def print_code(code: str) -> None:
    """Say in the terminal what the panel of a box would show."""
    print(f"\n  The code for the phone: {code[:3]} {code[3:]}\n", flush=True)


def demo_settings(settings: Settings, *, folder: Path, port: int) -> Settings:
    """Return the settings with the demo's own socket, journal and port."""
    return dataclasses.replace(
        settings,
        page=dataclasses.replace(settings.page, port=port),
        link=dataclasses.replace(settings.link, socket=str(_socket_in(folder))),
        journal=dataclasses.replace(settings.journal, file=str(folder / "journal.sqlite3")),
    )


def _socket_in(folder: Path) -> Path:
    path = folder / "link.sock"
    # A socket's path may have 107 bytes; a deep home does not leave enough.
    return path if len(os.fsencode(path)) <= 100 else Path(tempfile.mkdtemp()) / "link.sock"


def shown_host(host: str) -> str:
    """Return the host to type into a browser on this machine."""
    if host in ("0.0.0.0", "::"):
        return "localhost"
    return f"[{host}]" if ":" in host else host


def note_of(host: str, wanted: int, port: int) -> str:
    """Return what is to be known of the address besides: another port, another device."""
    notes = []
    if port != wanted:
        notes.append(f"port {wanted} is taken, so {port} is used")
    if shown_host(host) == "localhost" and not is_this_machine(host):
        notes.append("on a phone: this machine's own address in the place of localhost")
    return "; ".join(notes)


def welcome(url: str, note: str) -> str:
    """Return the words that greet the person."""
    lines = [
        "",
        "  Howl Lantern is listening to a practice stage: a simulated room with a loudspeaker,",
        "  a microphone and a singer.  No sound is played unless you ask for it on the page, and",
        "  none is recorded.",
        "",
        f"  Open this page:   {url}",
        *([f"  ({note})"] if note else []),
        "",
        "  1. Push the fader up, slowly, until something rings.",
        "  2. The lamp lights; panel and page name a slider, such as 2.5k, and how far to pull it.",
        "  3. Pull it that far, until the lamp goes dark.",
        "  4. Push the fader again and see how much louder you can go.",
        "  5. Let the page's room Ring-out lead you, move the loudspeaker, or train your ears.",
        "  Before all that: Place shows what moving a thing would give, and Level sets gain and",
        "  low cut by the practice desk's own line.",
        "",
        "  Ctrl-C ends it.",
        "",
    ]
    return "\n".join(lines)


def run(settings: Settings, stop: threading.Event) -> None:
    """Run watcher and page on the practice stage until ``stop`` is set.

    Raises
    ------
    LanternError
        If the practice stage's own packages are missing, or a demo is running already.
    """
    try:
        from monitor.stage.sound import SoundDoor
        from monitor.stage.source import StageMicrophone
    except ModuleNotFoundError as error:
        raise LanternError(
            f"the practice stage needs the package {error.name}; "
            "install howl-lantern with its extra: pip install 'howl-lantern[stage]'"
        ) from error
    wanted = settings.page.port
    port = free_port(settings.page.host, wanted)
    folder = state_folder()
    settings = demo_settings(settings, folder=folder, port=port)
    url = f"http://{shown_host(settings.page.host)}:{port}/"
    note = note_of(settings.page.host, wanted, port)
    page = PageProcess(
        [
            *(sys.executable, "-m", "monitor.cli", "page"),
            *("--host", settings.page.host, "--port", str(port)),
            *("--socket", settings.link.socket),
            *("--set", f"page.streams={settings.page.streams}"),
            *("--parent", str(os.getpid())),
        ]
    )

    equaliser = Equaliser.from_choice(settings.equaliser)

    def open_stage(_settings: Settings) -> AudioSource:
        try:
            door = SoundDoor(sound_path(Path(settings.link.socket)))
        except OSError as error:  # practising without sound is better than not at all
            LOG.warning("the stage cannot be heard: %s", error)
            door = None
        # The stage has the person's own equaliser, so that each name can be followed.
        return StageMicrophone(equaliser=equaliser, sound=door)

    def on_open() -> None:
        page.start()
        print(welcome(url, note), flush=True)

    try:
        watch.run(
            settings,
            stop,
            open_source=open_stage,
            # Both are on the page only: what they show goes out with every snapshot anyway.
            lamp_opener=lambda _: NoLamp("ok"),
            panel_opener=lambda _: NoPanel("ok"),
            socket_path=Path(settings.link.socket),
            journal_path=Path(settings.journal.file),
            stage_of=lambda source: source,  # type: ignore[arg-type,return-value]
            on_open=on_open,
            tell_code=print_code,
        )
    finally:
        page.close()
