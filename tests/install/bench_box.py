"""A box that is only a folder: the scripts run for real, the system's tools are stand-ins."""

from __future__ import annotations

import os
import pty
import select
import shutil
import subprocess
import sys
import termios
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]

# Each tool writes its words into calls.txt; files in the folder FAKE change what it answers.
LOGGED = "apt-get systemd-sysusers udevadm journalctl userdel groupdel chown dnsmasq".split()
TOOLS = {
    "id": "echo 0",
    "getent": "exit 2",  # neither the users nor the groups are there
    "apt-cache": '[ "$1" = policy ] && echo "  Candidate: $(cat "$FAKE/alsaaudio")" || exit 1',
    "dpkg-query": """
case "$*" in
*Abbrev*) sed 's/^/ii  /' "$FAKE/packages";;
*Version*) cat "$FAKE/alsaaudio";;
*) grep -qsx "$4" "$FAKE/missing" || echo "install ok installed";;
esac""",
    "nmcli": """
echo "nmcli $*" >>"$FAKE/calls.txt"
case "$*" in
*--active*) cat "$FAKE/active" 2>/dev/null;;
*" up "*)
    grep -qs mode=infrastructure "$DESTDIR"/etc/NetworkManager/system-connections/* || exit 0
    [ ! -e "$FAKE/signal" ] || kill -s "$(cat "$FAKE/signal")" 0
    [ ! -e "$FAKE/no-network" ] || { echo "Error: no such network." >&2; exit 4; };;
*delete*) rm "$DESTDIR"/etc/NetworkManager/system-connections/*;;
esac""",
    "raspi-config": """
echo "raspi-config $*" >>"$FAKE/calls.txt"
case $2 in
get_i2c) cat "$FAKE/i2c";;
do_i2c) echo "$3" >"$FAKE/i2c";;
esac""",
    "systemctl": """
echo "systemctl $*" >>"$FAKE/calls.txt"
running=$(basename "$(readlink "$DESTDIR/opt/howl-lantern/venv")")
case "$*" in
--version) echo "systemd $(cat "$FAKE/manager") (stand-in)";;
*ActiveState*) grep -qsx "$running" "$FAKE/broken" && echo activating || echo active;;
*NRestarts*)
    if grep -qsx "$running" "$FAKE/falls"; then
        echo again >>"$FAKE/restarts"; wc -l <"$FAKE/restarts"
    else echo 0; fi;;
esac""",
    "python3": """
case "$*" in
"-m venv "*) made=$3;;
*) exec "$REAL_PYTHON" "$@";;
esac
mkdir -p "$made/bin" "$made/site"
cp "$FAKE/bin/venv-python" "$made/bin/python"
cp "$FAKE/bin/program" "$made/bin/howl-lantern" """,
    "venv-python": """
echo "pip $*" >>"$FAKE/calls.txt"
case "$*" in
*"pip install"*) [ ! -e "$FAKE/pip-fails" ] || { echo "ERROR: no such package"; exit 1; };;
*MIGRATIONS*) cat "$FAKE/tables-of-$(basename "$(dirname "$(dirname "$0")")")";;
*purelib*) echo "$(dirname "$0")/../site";;
*settings*port*) cat "$FAKE/port";;
*settings*host*) echo 0.0.0.0;;
esac""",
    "program": """
case "$*" in
*--example*) echo "# all defaults";;
settings*) [ ! -e "$FAKE/refused" ] || { echo "howl-lantern: lamp.gpio_pin is 99"; exit 2; };;
esac""",
}


DEFAULT_SIGNALS = ("env", "--default-signal=HUP,INT,TERM")
"""Whoever runs the tests in the background may have them ignored, and no shell takes that back."""


class Box:
    """One folder in the place of a box's root.

    Parameters
    ----------
    folder : Path
        Where it is made.
    like : Box, optional
        The box that it is a copy of, with all that was installed there.

    Attributes
    ----------
    root : Path
        The box's ``/``.
    fake : Path
        Files here change what the stand-ins answer; ``calls.txt`` holds what they were asked.
    """

    def __init__(self, folder: Path, *, like: Box | None = None) -> None:
        self.root = folder / "root"
        self.fake = folder / "fake"
        self._trees = folder / "trees"
        if like is not None:
            shutil.copytree(like.root.parent, folder, symlinks=True, dirs_exist_ok=True)
            return
        (self.root / "run/systemd/system").mkdir(parents=True)
        bin_folder = self.fake / "bin"
        bin_folder.mkdir(parents=True)
        for name in LOGGED:
            TOOLS.setdefault(name, f'echo "{name} $*" >>"$FAKE/calls.txt"')
        for name, body in TOOLS.items():
            (bin_folder / name).write_text(f"#!/bin/sh\n{body}\n")
            (bin_folder / name).chmod(0o755)
        self.answer(alsaaudio="0.11.0-1", i2c="0", manager="252", port="8080", packages="base")

    def answer(self, **files: str) -> None:
        """Write files for the stand-ins; underscores in names stand for hyphens."""
        for name, text in files.items():
            (self.fake / name.replace("_", "-")).write_text(text + "\n")

    def calls(self) -> list[str]:
        """Return what the stand-ins were asked since the last time."""
        path = self.fake / "calls.txt"
        lines = path.read_text().splitlines() if path.exists() else []
        path.unlink(missing_ok=True)
        return lines

    def tree(self, version: str) -> Path:
        """Return a checkout of that version, without the program."""
        tree = self._trees / version
        if not tree.exists():
            for part in ("firmware", "monitor", "web"):
                (tree / part).mkdir(parents=True)
            for part in ("README.md", "LICENCE"):
                (tree / part).write_text("")
            (tree / "pyproject.toml").write_text(f'[project]\nversion = "{version}"\n')
            shutil.copytree(ROOT / "systemd", tree / "systemd")
        return tree

    def run(self, script: Path, *words: str, said: str = "") -> subprocess.CompletedProcess[str]:
        """Run one of the scripts with the stand-ins before the system's own tools."""
        return subprocess.run(
            [*DEFAULT_SIGNALS, "sh", str(script), *words],
            input=said,
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
            env=self.surroundings(),
            start_new_session=True,  # a stand-in may send a signal to all of it, as Ctrl-C does
        )

    def at_terminal(self, script: Path, *words: str, typed: str) -> tuple[int, str, bool]:
        """Run one of the scripts at a terminal and type, a line as often as it asks.

        Returns
        -------
        tuple
            Exit code, all that the terminal shows, and whether it still shows what is typed.
        """
        ours, theirs = pty.openpty()
        run = subprocess.Popen(
            # Only the leader of a session that has this terminal gets its Ctrl-C.
            ["setsid", "--ctty", "--wait", *DEFAULT_SIGNALS, "sh", str(script), *words],
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            env=self.surroundings(),
        )
        shown = ""
        keys = typed.splitlines(keepends=True)
        stop_s = again_s = time.monotonic() + 60.0
        while run.poll() is None or select.select([ours], [], [], 0.0)[0]:
            if time.monotonic() > stop_s:
                run.kill()
            if not select.select([ours], [], [], 0.1)[0]:
                if typed == "\x03" and time.monotonic() > again_s:
                    # A shell that has not begun to read yet may miss it; anybody presses again.
                    os.write(ours, b"\x03")
                    again_s = stop_s
                continue
            shown += os.read(ours, 4096).decode()
            if keys and shown.endswith((": ", "? ", "] ")):
                time.sleep(0.1)  # it has asked, and listens a moment later
                os.write(ours, keys.pop(0).encode())
                again_s = time.monotonic() + 3.0
        echoes = bool(termios.tcgetattr(theirs)[3] & termios.ECHO)
        os.close(ours)
        os.close(theirs)
        return run.returncode, shown, echoes

    def surroundings(self) -> dict[str, str]:
        """Return the environment in which the scripts find the stand-ins."""
        return {
            "PATH": f"{self.fake / 'bin'}:{os.environ['PATH']}",
            "DESTDIR": str(self.root),
            "FAKE": str(self.fake),
            "REAL_PYTHON": sys.executable,
            "START_WITHIN_S": "1",
            "STAYS_S": "0",
        }

    def interpose(self, tool: str, body: str) -> None:
        """Run ``body`` before a tool of the system's own, which it may leave out with ``exit``."""
        real = shutil.which(tool)
        path = self.fake / "bin" / tool
        path.write_text(f'#!/bin/sh\n{body}\nexec {real} "$@"\n')
        path.chmod(0o755)

    def install(self, version: str, *words: str) -> subprocess.CompletedProcess[str]:
        """Install, or upgrade to, that version."""
        return self.run(self.tree(version) / "systemd/install", *words)

    @property
    def in_use(self) -> str:
        """The release in use, empty where there is none."""
        link = self.root / "opt/howl-lantern/venv"
        return link.readlink().name if link.is_symlink() else ""

    def releases(self) -> set[str]:
        """Return the names of the releases that are there."""
        return {path.name for path in (self.root / "opt/howl-lantern/releases").iterdir()}

    def files(self) -> set[str]:
        """Return every file and folder of the box."""
        return {str(path.relative_to(self.root)) for path in self.root.rglob("*")}
