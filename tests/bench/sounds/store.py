"""Packages the sounds come from: fetched and unpacked beside the sounds, never installed."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tarfile
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from tests.bench.sounds.shelf import SAMPLE_RATE_HZ

AUDIO = tuple("ogg oga wav flac opus aif aiff g722 mp3 mod xm it s3m".split())


class Missing(Exception):
    """A package or a tool that cannot be had; the text names it and says what to do."""


def run(
    words: Sequence[str | Path], cwd: Path | None = None, env: dict[str, str] | None = None
) -> bytes:
    """What a command prints, its complaints left out; where and with which environment it runs.

    Raises
    ------
    Missing
        If there is no such command or it fails.
    """
    try:
        quiet = subprocess.DEVNULL
        done = subprocess.run(
            words, check=True, stdout=subprocess.PIPE, stderr=quiet, cwd=cwd, env=env
        )
    except FileNotFoundError:
        raise Missing(f"command {words[0]}: not found, install the package that has it") from None
    except subprocess.CalledProcessError as error:
        what = " ".join(map(str, words[:4]))
        raise Missing(f"command {what} ...: ended with {error.returncode}") from None
    return done.stdout


class Store:
    """Where packages lie unpacked: one folder a package, made when it is asked for."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._renewed = False

    def _renew(self) -> None:
        """Ask for the present list of packages, once."""
        if not self._renewed:
            run(["apt-get", "update", "-q"])
            self._renewed = True

    def tools(self, *packages: str) -> None:
        """Install the Debian packages of tools that are not there yet; needs root.

        Raises
        ------
        Missing
            If they cannot be installed, or this is not Debian.
        """
        if shutil.which("dpkg-query") is None:
            raise Missing(f"tools {' '.join(packages)}: can only be looked for on Debian")
        state = ["dpkg-query", "-W", "-f", "${db:Status-Status}"]
        needed = []
        for name in packages:
            found = subprocess.run([*state, name], capture_output=True, text=True, check=False)
            if found.stdout != "installed":
                needed.append(name)
        if not needed:
            return
        self._renew()
        quiet = dict(os.environ, DEBIAN_FRONTEND="noninteractive")
        try:
            run(["apt-get", "install", "-y", "--no-install-recommends", *needed], env=quiet)
        except Missing:
            raise Missing(f"tools {' '.join(needed)}: cannot be installed (root?)") from None

    def debian(self, package: str) -> Path:
        """The folder with a Debian package's files.

        Raises
        ------
        Missing
            If it cannot be fetched.
        """
        return self._unpacked(package, self._fetch_debian)

    def npm(self, package: str) -> Path:
        """The folder with an npm package's files; ``package`` is ``name@version``.

        Raises
        ------
        Missing
            If it cannot be fetched.
        """
        return self._unpacked(package, self._fetch_npm)

    def _unpacked(self, package: str, fetch: Callable[[str, Path], None]) -> Path:
        goal = self.folder / re.sub(r"[^A-Za-z0-9.+-]+", "_", package)
        if not goal.is_dir():
            half = goal.with_name(goal.name + ".part")
            shutil.rmtree(half, ignore_errors=True)
            half.mkdir(parents=True)
            try:
                fetch(package, half)
            except Missing as error:
                shutil.rmtree(half)
                raise Missing(f"package {package}: cannot be fetched ({error})") from None
            half.rename(goal)
        return goal

    def _fetch_debian(self, package: str, folder: Path) -> None:
        self._renew()
        run(["apt-get", "download", "-q", package], cwd=folder)
        (archive,) = folder.glob("*.deb")
        run(["dpkg", "-x", archive, folder])
        archive.unlink()

    def _fetch_npm(self, package: str, folder: Path) -> None:
        run(["npm", "pack", "--silent", package], cwd=folder)
        (archive,) = folder.glob("*.tgz")
        with tarfile.open(archive) as tar:
            tar.extractall(folder, filter="data")
        archive.unlink()


def files(
    folder: Path, pattern: str = "", suffixes: Sequence[str] = AUDIO, least_bytes: int = 0
) -> list[Path]:
    """Files below ``folder`` whose path matches ``pattern``, sorted."""
    return sorted(
        path
        for path in folder.rglob("*")
        if path.suffix[1:].lower() in suffixes
        and not path.is_symlink()
        and path.is_file()
        and re.search(pattern, str(path))
        and path.stat().st_size >= least_bytes
    )


def decoded(path: Path, start_s: float = 0.0, longest_s: float | None = None) -> np.ndarray:
    """A file's sound, mixed to mono, float32 [n] at 48 kHz; empty if it holds none."""
    words: list[str | Path] = ["ffmpeg", "-v", "error", "-nostdin"]
    if path.suffix == ".g722":  # has no header to know it by
        words += ["-f", "g722"]
    if start_s:
        words += ["-ss", str(start_s)]
    words += ["-i", path]
    if longest_s:
        words += ["-t", str(longest_s)]
    words += ["-vn", "-ac", "1", "-ar", str(SAMPLE_RATE_HZ), "-f", "s16le", "-"]
    try:
        raw = run(words)
    except Missing:
        if shutil.which("ffmpeg") is None:
            raise
        return np.zeros(0, np.float32)  # one damaged file among hundreds is no reason to stop
    return np.frombuffer(raw[: len(raw) // 2 * 2], "<i2").astype(np.float32) / 32768.0
