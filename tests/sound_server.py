"""A private sound server with a virtual microphone, for tests that go through the real alsa-lib.

A headless PulseAudio with one silent sink, the room: what is played there reaches the microphone,
which alsa-lib sees as a recording device.  Everything lives in one folder; no other sound server
of this machine is touched.

The fixture ``sound_server`` sets this process's environment too: alsa-lib asks for
ALSA_CONFIG_PATH at every opening and reads the file anew when it is another one.  A process of
its own is started with ``SoundServer.environment()``.
"""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.closed import Closed

PROGRAMS = {"pulseaudio": "pulseaudio", "pactl": "pulseaudio-utils", "paplay": "pulseaudio-utils"}
ALSA_CONF = Path("/usr/share/alsa/alsa.conf")


def what_is_missing() -> str:
    """One sentence naming what must be installed, or "" if all is there."""
    missing = [package for program, package in PROGRAMS.items() if shutil.which(program) is None]
    if not any(Path("/usr/lib").glob("**/alsa-lib/libasound_module_pcm_pulse.so")):
        missing.append("libasound2-plugins")
    if not ALSA_CONF.exists():
        missing.append("libasound2-data")
    try:
        import alsaaudio  # noqa: F401
    except ImportError:
        missing.append("(Python) pyalsaaudio")
    names = " ".join(dict.fromkeys(missing))
    return f"no sound server to test with, install: {names}" if names else ""


class SoundServer(Closed):
    """One running server.  ``device`` is the ALSA name of its microphone."""

    device = "stage_mic"
    sink = "stage"
    source = "lantern"

    def __init__(self, folder: Path, *, sample_rate_hz: int = 48000, channels: int = 1) -> None:
        self._folder = folder
        self._sample_rate_hz = sample_rate_hz
        self._channels = channels
        # A socket's path may have 107 bytes and pytest's folders are long.
        self._socket_folder = tempfile.TemporaryDirectory(prefix="snd")
        self._socket = Path(self._socket_folder.name) / "native"
        self._alsa_conf = folder / "alsa.conf"
        self._alsa_conf.write_text(
            f"<{ALSA_CONF}>\n"
            f'pcm.{self.device} {{ type pulse device "{self.source}" '
            f'server "unix:{self._socket}" fallback "" }}\n'
        )
        self._server: subprocess.Popen[bytes] | None = None
        self._players: list[subprocess.Popen[bytes]] = []
        self._microphone = ""
        self.start()

    def environment(self) -> dict[str, str]:
        """Environment for a process that is to hear the microphone."""
        return {**os.environ, **self.variables()}

    def variables(self) -> dict[str, str]:
        """The variables that lead to this server, without the rest of the environment."""
        home = str(self._folder)
        return {
            "HOME": home,
            "XDG_RUNTIME_DIR": home,
            "PULSE_RUNTIME_PATH": home,
            "PULSE_SERVER": f"unix:{self._socket}",
            "PULSE_LATENCY_MSEC": "20",
            "ALSA_CONFIG_PATH": str(self._alsa_conf),
        }

    def start(self) -> None:
        """Start the server (again) and its sink; returns when it answers."""
        # -n: no configuration of this machine.  The real-time and priority wishes would be
        # refused in most test machines and only fill the log.
        words = "-n --daemonize=no --exit-idle-time=-1 --use-pid-file=no --disallow-exit"
        words += " --realtime=no --high-priority=no --log-target=stderr"
        with (self._folder / "server.log").open("ab") as log:
            self._server = subprocess.Popen(
                [
                    "pulseaudio",
                    *words.split(),
                    f"--load=module-native-protocol-unix socket={self._socket} auth-anonymous=1",
                    f"--load=module-cli-protocol-unix socket={self._socket.with_name('console')}",
                ],
                env=self.environment(),
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )
        end_mono_s = time.monotonic() + 10.0
        while True:
            try:
                self._make_room()
                self.plug()
                return
            except subprocess.SubprocessError:
                if self._server.poll() is not None or time.monotonic() > end_mono_s:
                    log_text = (self._folder / "server.log").read_text(errors="replace")
                    raise RuntimeError(f"the sound server does not start: {log_text}") from None
                time.sleep(0.05)

    def _make_room(self) -> None:
        self._control(
            "load-module",
            "module-null-sink",
            f"sink_name={self.sink}",
            f"rate={self._sample_rate_hz}",
            f"channels={self._channels}",
            "format=s16le",
            # Otherwise an idle sink wakes every 2 s, unlike any real microphone; a sink that
            # cannot take back what it has played works in steps of 50 ms.
            "norewinds=1",
        )

    def plug(self) -> None:
        """Plug the virtual microphone in."""
        self._microphone = self._control(
            "load-module",
            "module-remap-source",
            f"source_name={self.source}",
            f"master={self.sink}.monitor",
        )

    def unplug(self) -> None:
        """Pull the virtual microphone out; whoever listens to it is cut off."""
        self._control("unload-module", self._microphone)
        # The server rescues listeners over to the room itself; a real plug does not.
        outputs = self._control("list", "short", "source-outputs").splitlines()
        with socket.socket(socket.AF_UNIX) as console:
            console.settimeout(5.0)
            console.connect(str(self._socket.with_name("console")))
            for line in outputs:
                console.sendall(f"kill-source-output {line.split()[0]}\n".encode())
            # Not before they are gone: the console does not answer, but the list does.
            end_mono_s = time.monotonic() + 5.0
            while self._control("list", "short", "source-outputs"):
                if time.monotonic() > end_mono_s:
                    raise RuntimeError("the sound server keeps its listeners")
                time.sleep(0.02)

    def play(self, wav_path: Path) -> subprocess.Popen[bytes]:
        """Play a sound file into the microphone; the process ends with the file."""
        return self._begin("paplay", str(wav_path))

    def _begin(self, program: str, *words: str) -> subprocess.Popen[bytes]:
        player = subprocess.Popen(
            [program, f"--device={self.sink}", "--latency-msec=20", *words],
            env=self.environment(),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        self._players.append(player)
        return player

    def halt(self) -> None:
        """Freeze the server: reads of its microphone do not return."""
        self._signal(signal.SIGSTOP)

    def go_on(self) -> None:
        """Let a frozen server run again."""
        self._signal(signal.SIGCONT)

    def kill(self) -> None:
        """End the server at once, as a crash would; ``start`` brings it back."""
        self._signal(signal.SIGKILL)
        if self._server is not None:
            self._server.wait(5.0)
        self._socket.unlink(missing_ok=True)

    def close(self) -> None:
        for player in self._players:
            player.kill()
            player.wait(5.0)
        if self._server is not None and self._server.poll() is None:
            self.kill()
        self._socket_folder.cleanup()

    def _signal(self, number: signal.Signals) -> None:
        if self._server is not None:
            self._server.send_signal(number)

    def _control(self, *words: str) -> str:
        """Have the server do something; return its answer."""
        done = subprocess.run(
            ["pactl", *words],
            env=self.environment(),
            check=True,
            timeout=10.0,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        return done.stdout.strip()


@pytest.fixture
def sound_server(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[SoundServer]:
    """A running sound server with a virtual microphone at 48 kHz, one channel."""
    missing = what_is_missing()
    if missing:
        pytest.skip(missing)
    folder = tmp_path / "sound_server"
    folder.mkdir()
    with SoundServer(folder) as server:
        for name, value in server.variables().items():
            monkeypatch.setenv(name, value)
        yield server
